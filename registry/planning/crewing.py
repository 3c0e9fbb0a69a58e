"""Whose work each check of a week is: a place's checks with one crew where that can be, and nobody over their time."""

from itertools import combinations

import numpy as np

from registry.planning.compiled import compiled
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_MOST_NEEDS_IN_FULL = 8
_ROUNDING_MINUTES = 1e-7


def shared_among_crews(waiting: Waiting, week: Integers) -> tuple[Integers, Floats]:
    """Crew of each check in its week (UNPLACED where no able crew has time for it), and the time that is left to each.

    The places of a week, those first that are dear to go to again, then in order of their work: each to the crew who
    has the largest share of its time left and can do all of it, as long as the others can still do what remains (no set
    of needs may have more work than its crews have time). Where no crew can take a place whole, its needs are shared
    out, and then its checks.
    """
    crew = np.full(len(waiting), UNPLACED, dtype=np.int64)
    left = waiting.capacity.copy()
    placed = np.flatnonzero(week != UNPLACED)
    if not len(placed):
        return crew, left
    visit = waiting.place[placed] * waiting.weeks + week[placed]
    work = np.bincount(visit, waiting.minutes[placed], waiting.places * waiting.weeks)
    scarce = np.argsort(np.argsort(waiting.able.sum(axis=0), kind="stable"), kind="stable")
    order = placed[
        np.lexsort(
            (
                -waiting.minutes[placed],
                scarce[waiting.need[placed]],
                visit,
                -work[visit],
                -waiting.visit_cost.ravel()[visit],
                week[placed],
            )
        )
    ]
    sets = _sets_of_needs(waiting.needs)
    takers = np.array([waiting.able[:, members].any(axis=1) for members in sets], dtype=np.bool_)
    _share(
        order,
        week,
        waiting.place,
        waiting.need,
        waiting.minutes,
        waiting.able,
        waiting.capacity,
        sets,
        takers.reshape(len(sets), len(waiting.able)),
        left,
        crew,
    )
    return crew, left


def _sets_of_needs(needs: int) -> Flags:
    """Sets of needs whose work is held against the time of all who can do any of it: all sets, or the small ones."""
    most = needs if needs <= _MOST_NEEDS_IN_FULL else 2
    chosen = [members for size in range(1, most + 1) for members in combinations(range(needs), size)]
    rows = np.zeros((len(chosen) + 1, needs), dtype=np.bool_)
    for row, members in zip(rows, chosen, strict=False):
        row[list(members)] = True
    rows[-1] = True
    return rows


@compiled
def _share(
    order: Integers,
    week: Integers,
    place: Integers,
    need: Integers,
    minutes: Floats,
    able: Flags,
    capacity: Floats,
    sets: Flags,
    takers: Flags,
    left: Floats,
    crew: Integers,
) -> None:
    crews, needs = able.shape
    waits = np.zeros(needs)
    asked = np.zeros(needs)
    slack = np.zeros(len(sets))
    here = np.zeros(crews, dtype=np.bool_)
    start, total = 0, len(order)
    while start < total:
        now = week[order[start]]
        stop = start
        waits[:] = 0.0
        while stop < total and week[order[stop]] == now:
            waits[need[order[stop]]] += minutes[order[stop]]
            stop += 1
        # How far a set lacks time already: it may not lack more.
        for s in range(len(sets)):
            lacking = 0.0
            for n in range(needs):
                if sets[s, n]:
                    lacking += waits[n]
            for k in range(crews):
                if takers[s, k]:
                    lacking -= left[k, now]
            slack[s] = max(lacking, 0.0) + _ROUNDING_MINUTES
        while start < stop:
            whole = start
            while whole < stop and place[order[whole]] == place[order[start]]:
                whole += 1
            here[:] = False
            # All of the place, then what needs the same, then check by check.
            first, level = start, 0
            while first < whole:
                last = whole
                if level == 1:
                    last = first
                    while last < whole and need[order[last]] == need[order[first]]:
                        last += 1
                elif level == 2:
                    last = first + 1
                asked[:] = 0.0
                for j in range(first, last):
                    asked[need[order[j]]] += minutes[order[j]]
                best, best_share = UNPLACED, -1.0
                amount = asked.sum()
                for k in range(crews):
                    fits = left[k, now] + _ROUNDING_MINUTES >= amount and capacity[k, now] > 0
                    for n in range(needs):
                        if asked[n] > 0 and not able[k, n]:
                            fits = False
                    if not fits:
                        continue
                    share = left[k, now] / capacity[k, now] + (2.0 if here[k] else 0.0)
                    if share <= best_share:
                        continue
                    for s in range(len(sets)):
                        lacking = 0.0
                        for n in range(needs):
                            if sets[s, n]:
                                lacking += waits[n] - asked[n]
                        for other in range(crews):
                            if takers[s, other]:
                                lacking -= left[other, now]
                        if takers[s, k]:
                            lacking += amount
                        if lacking > slack[s]:
                            fits = False
                            break
                    if fits or level == 3:
                        best, best_share = k, share
                if best == UNPLACED and level < 2:
                    level += 1
                    continue
                for j in range(first, last):
                    crew[order[j]] = best
                    waits[need[order[j]]] -= minutes[order[j]]
                if best != UNPLACED:
                    left[best, now] = max(left[best, now] - amount, 0.0)
                    here[best] = True
                first = last
                if level == 2 and first < whole and need[order[first]] != need[order[first - 1]]:
                    level = 1
            start = whole
