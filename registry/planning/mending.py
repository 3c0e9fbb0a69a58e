"""Checks that found no room are fitted in, and every check moves for as long as that makes it cheaper."""

from dataclasses import dataclass

import numpy as np

from registry.planning.compiled import Number, compiled
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_ROUNDS = 3
_PASSES = 3
_MOST_FITTED = 1_500
_LEAST_GAIN = 1e-6


@dataclass(frozen=True)
class Placing:
    """Week and crew of each free check, and the time that is left to each crew in each week [min]. Changed in place."""

    week: Integers
    crew: Integers
    left: Floats

    def cost(self, waiting: Waiting) -> float:
        """What it costs, with its visits [min]."""
        there = self.week != UNPLACED
        visited = np.zeros(waiting.visit_cost.shape, dtype=np.bool_)
        visited[waiting.place[there], self.week[there]] = True
        checks = waiting.costs(np.arange(len(waiting)), self.week)
        return float(checks.sum() + waiting.visit_cost[visited].sum())


def mended(waiting: Waiting, week: Integers, crew: Integers, left: Floats) -> Placing:
    """Fit in what has no crew, dearest first, and let every check move to where it costs less.

    A visit is paid by the check that opens it, and saved by the last one that leaves it. A check for which no crew has
    time takes that of another one, if that can go elsewhere for less than it saves.
    """
    placing = Placing(np.where(crew == UNPLACED, UNPLACED, week), crew.copy(), left.copy())
    visits = np.zeros(waiting.visit_cost.shape, dtype=np.int64)
    there = placing.week != UNPLACED
    np.add.at(visits, (waiting.place[there], placing.week[there]), 1)
    dear = waiting.unplaced_cost / np.maximum(waiting.minutes, 1e-9)
    # What had a week before any that had none: it is known to have been worth a place.
    first = np.lexsort((-dear, week == UNPLACED))
    of_checks = (
        waiting.first_week,
        waiting.last_week,
        waiting.calendar,
        waiting.place,
        waiting.need,
        waiting.due_week,
        waiting.was_week,
        waiting.minutes,
        waiting.late_cost,
        waiting.early_cost,
        waiting.moved_cost,
        waiting.unplaced_cost,
        waiting.open_weeks,
        waiting.able,
        waiting.visit_cost,
        visits,
        placing.left,
        placing.week,
        placing.crew,
    )
    for _ in range(_ROUNDS):
        out = first[placing.week[first] == UNPLACED][:_MOST_FITTED]
        changed = _fitted(out, *of_checks)
        for _ in range(_PASSES):
            moved = _moved(first, *of_checks)
            changed += moved
            if not moved:
                break
        if not changed:
            break
    return placing


@compiled
def _cost_in(week: Number, due: Number, was: Number, late: Number, early: Number, moved: Number) -> Number:
    after = week - due
    cost = late * after if after > 0 else -early * after
    return cost if week == was else cost + moved


@compiled
def _moved(
    order: Integers,
    first_week: Integers,
    last_week: Integers,
    calendar: Integers,
    place: Integers,
    need: Integers,
    due: Integers,
    was: Integers,
    minutes: Floats,
    late: Floats,
    early: Floats,
    moved: Floats,
    unplaced: Floats,
    open_weeks: Flags,
    able: Flags,
    visit_cost: Floats,
    visits: Integers,
    left: Floats,
    week: Integers,
    crew: Integers,
) -> int:
    count = 0
    for i in order:
        now, p = week[i], place[i]
        stays = unplaced[i]
        if now != UNPLACED:
            stays = _cost_in(now, due[i], was[i], late[i], early[i], moved[i])
            if visits[p, now] == 1:
                stays += visit_cost[p, now]
        best, to, whose = stays - _LEAST_GAIN, UNPLACED, UNPLACED
        leaves = now != UNPLACED and unplaced[i] < best
        if leaves:
            best = unplaced[i]
        for w in range(first_week[i], last_week[i] + 1):
            if w == now or not open_weeks[calendar[i], w]:
                continue
            cost = _cost_in(w, due[i], was[i], late[i], early[i], moved[i])
            if visits[p, w] == 0:
                cost += visit_cost[p, w]
            if cost >= best:
                continue
            who, most = UNPLACED, minutes[i]
            for k in range(len(able)):
                if able[k, need[i]] and left[k, w] >= most:
                    who, most = k, left[k, w]
            if who != UNPLACED:
                best, to, whose = cost, w, who
        if to == UNPLACED and not leaves:
            continue
        if now != UNPLACED:
            visits[p, now] -= 1
            left[crew[i], now] += minutes[i]
        if to != UNPLACED:
            visits[p, to] += 1
            left[whose, to] -= minutes[i]
        week[i], crew[i] = to, whose
        count += 1
    return count


@compiled
def _fitted(
    order: Integers,
    first_week: Integers,
    last_week: Integers,
    calendar: Integers,
    place: Integers,
    need: Integers,
    due: Integers,
    was: Integers,
    minutes: Floats,
    late: Floats,
    early: Floats,
    moved: Floats,
    unplaced: Floats,
    open_weeks: Flags,
    able: Flags,
    visit_cost: Floats,
    visits: Integers,
    left: Floats,
    week: Integers,
    crew: Integers,
) -> int:
    crews, weeks = left.shape
    # The checks of each crew and week as linked lists.
    head = np.full((crews, weeks), -1, dtype=np.int64)
    after = np.full(len(week), -1, dtype=np.int64)
    for j in range(len(week)):
        if week[j] != UNPLACED:
            after[j] = head[crew[j], week[j]]
            head[crew[j], week[j]] = j
    count = 0
    for i in order:
        best, to, whose = unplaced[i] - _LEAST_GAIN, UNPLACED, UNPLACED
        other, other_to, other_crew = -1, UNPLACED, UNPLACED
        for w in range(first_week[i], last_week[i] + 1):
            if not open_weeks[calendar[i], w]:
                continue
            own = _cost_in(w, due[i], was[i], late[i], early[i], moved[i])
            if visits[place[i], w] == 0:
                own += visit_cost[place[i], w]
            for k in range(crews):
                if not able[k, need[i]]:
                    continue
                lacking = minutes[i] - left[k, w]
                if lacking <= 0:
                    if own < best:
                        best, to, whose, other = own, w, k, -1
                    continue
                j = head[k, w]
                while j >= 0:
                    if minutes[j] >= lacking:
                        saved = _cost_in(w, due[j], was[j], late[j], early[j], moved[j])
                        if visits[place[j], w] == 1 and place[j] != place[i]:
                            saved += visit_cost[place[j], w]
                        if own - saved + unplaced[j] < best:
                            best, to, whose = own - saved + unplaced[j], w, k
                            other, other_to, other_crew = j, UNPLACED, UNPLACED
                        for v in range(first_week[j], last_week[j] + 1):
                            if not open_weeks[calendar[j], v]:
                                continue
                            cost = own - saved + _cost_in(v, due[j], was[j], late[j], early[j], moved[j])
                            if v == w:
                                cost = own
                            elif visits[place[j], v] == 0:
                                cost += visit_cost[place[j], v]
                            if cost >= best:
                                continue
                            for m in range(crews):
                                if able[m, need[j]] and left[m, v] >= minutes[j] and (v != w or m != k):
                                    best, to, whose = cost, w, k
                                    other, other_to, other_crew = j, v, m
                                    break
                    j = after[j]
        if to == UNPLACED:
            continue
        count += 1
        if other >= 0:
            _unlink(other, head, after, crew[other], week[other])
            visits[place[other], to] -= 1
            left[whose, to] += minutes[other]
            week[other], crew[other] = other_to, other_crew
            if other_to != UNPLACED:
                visits[place[other], other_to] += 1
                left[other_crew, other_to] -= minutes[other]
                after[other] = head[other_crew, other_to]
                head[other_crew, other_to] = other
        visits[place[i], to] += 1
        left[whose, to] -= minutes[i]
        week[i], crew[i] = to, whose
        after[i] = head[whose, to]
        head[whose, to] = i
    return count


@compiled
def _unlink(check: Number, head: Integers, after: Integers, crew: Number, week: Number) -> None:
    if head[crew, week] == check:
        head[crew, week] = after[check]
        return
    before = head[crew, week]
    while after[before] != check:
        before = after[before]
    after[before] = after[check]
