"""Checks that found no room are fitted in, and every check moves for as long as that makes it cheaper."""

from dataclasses import dataclass

import numpy as np

from registry.planning.compiled import compiled
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_PASSES = 4
_LEAST_GAIN = 1e-6


@dataclass(frozen=True)
class Placing:
    """Week and crew of each free check, and the time that is left to each crew in each week [min]. Changed in place."""

    week: Integers
    crew: Integers
    left: Floats


def mended(waiting: Waiting, week: Integers, crew: Integers, left: Floats) -> Placing:
    """Fit in what has no crew, dearest first, and let every check move to where it costs less.

    A visit is paid by the check that opens it, and saved by the last one that leaves it.
    """
    placing = Placing(np.where(crew == UNPLACED, UNPLACED, week), crew.copy(), left.copy())
    out = np.flatnonzero(placing.crew == UNPLACED)
    dear = waiting.unplaced_cost[out] / np.maximum(waiting.minutes[out], 1e-9)
    order = np.concatenate((out[np.argsort(-dear, kind="stable")], np.flatnonzero(placing.crew != UNPLACED)))
    visits = np.zeros(waiting.visit_cost.shape, dtype=np.int64)
    there = placing.week != UNPLACED
    np.add.at(visits, (waiting.place[there], placing.week[there]), 1)
    for _ in range(_PASSES):
        moved = _moved(
            order,
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
        if not moved:
            break
    return placing


@compiled
def _moved(
    order: Integers,
    first_week: Integers,
    last_week: Integers,
    calendar: Integers,
    place: Integers,
    need: Integers,
    due_week: Integers,
    was_week: Integers,
    minutes: Floats,
    late: Floats,
    early: Floats,
    moved_cost: Floats,
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
            after = now - due_week[i]
            stays = late[i] * after if after > 0 else -early[i] * after
            if now != was_week[i]:
                stays += moved_cost[i]
            if visits[p, now] == 1:
                stays += visit_cost[p, now]
        best, to, whose = stays - _LEAST_GAIN, UNPLACED, UNPLACED
        if unplaced[i] < best:
            best = unplaced[i]
        for w in range(first_week[i], last_week[i] + 1):
            if w == now or not open_weeks[calendar[i], w]:
                continue
            after = w - due_week[i]
            cost = late[i] * after if after > 0 else -early[i] * after
            if w != was_week[i]:
                cost += moved_cost[i]
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
        if to == UNPLACED and best >= stays - _LEAST_GAIN:
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
