"""The loops over single checks, compiled.

They stand in one file, for compiled code that is kept on disk is not made anew when only a function in another file has
changed.
"""

import numpy as np

from registry.planning.compiled import Number, compiled
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import FreeChecks

_LEAST_GAIN = 1e-6


@compiled
def _cost_in(checks: FreeChecks, check: Number, week: Number) -> Number:
    after = week - checks.due_week[check]
    cost = checks.late_cost[check] * after if after > 0 else -checks.early_cost[check] * after
    return cost if week == checks.was_week[check] else cost + checks.moved_cost[check]


@compiled
def visits_of_places(
    places: Integers,
    begins: Integers,
    checks: FreeChecks,
    open_weeks: Flags,
    prices: Floats,
    visit_cost: Floats,
    visited: Flags,
    least: Floats,
) -> None:
    """The shortest way through the weeks of each place, as `visits.best_visits` says."""
    weeks = visit_cost.shape[1]
    # between[a + 1, b]: what the checks whose best week lies from a on and before b cost when a and b are visited and
    # no week between. Filled with differences along both axes, then summed up. a = -1: before all, b = weeks: after.
    between = np.zeros((weeks + 1, weeks + 1))
    shortest = np.zeros(weeks + 1)
    before = np.zeros(weeks + 1, dtype=np.int64)
    cost = np.zeros(weeks)
    left = np.zeros(weeks + 1)
    right = np.zeros(weeks + 2)
    for place in places:
        between[:, :] = 0.0
        for i in range(begins[place], begins[place + 1]):
            first, last, out = checks.first_week[i], checks.last_week[i], checks.unplaced_cost[i]
            best, own = out, first
            for week in range(first, last + 1):
                cost[week] = out
                if open_weeks[checks.calendar[i], week]:
                    priced = _cost_in(checks, i, week) + prices[checks.need[i], week] * checks.minutes[i]
                    cost[week] = min(out, priced)
                    if priced < best:
                        best, own = priced, week
            # left[a + 1]: the least of cost up to a, for a from first - 1 (nothing there) to its own week.
            left[first] = out
            for week in range(first, own + 1):
                left[week + 1] = min(left[week], cost[week])
            right[last + 1] = out
            for week in range(last, own, -1):
                right[week] = min(right[week + 1], cost[week])
            above = 0.0
            for b in range(own + 1, last + 2):
                between[0, b] += right[b] - above
                above = right[b]
            for a in range(first + 1, own + 2):
                now, then = left[a], left[a - 1]
                if now == then:
                    continue
                above = 0.0
                for b in range(own + 1, last + 2):
                    change = min(now, right[b]) - min(then, right[b])
                    between[a, b] += change - above
                    above = change
            if own + 2 <= weeks:
                above = 0.0
                for b in range(own + 1, last + 2):
                    change = min(left[own + 1], right[b])
                    between[own + 2, b] -= change - above
                    above = change
        for a in range(weeks + 1):
            across = 0.0
            for b in range(weeks + 1):
                across += between[a, b]
                between[a, b] = across if a == 0 else across + between[a - 1, b]
        for b in range(weeks + 1):
            best, own = between[0, b], -1
            for a in range(b):
                way = shortest[a] + between[a + 1, b]
                if way < best:
                    best, own = way, a
            shortest[b] = best + visit_cost[place, b] if b < weeks else best
            before[b] = own
        least[place] = shortest[weeks]
        visited[place, :] = False
        week = before[weeks]
        while week >= 0:
            visited[place, week] = True
            week = before[week]


@compiled
def weeks_of_places(
    places: Integers,
    begins: Integers,
    checks: FreeChecks,
    open_weeks: Flags,
    prices: Floats,
    visited: Flags,
    chosen: Integers,
    priced: Floats,
) -> None:
    """The best visited week of each check of each place, as `visits.best_weeks` says."""
    for place in places:
        for i in range(begins[place], begins[place + 1]):
            best, own = checks.unplaced_cost[i], UNPLACED
            for week in range(checks.first_week[i], checks.last_week[i] + 1):
                if visited[place, week] and open_weeks[checks.calendar[i], week]:
                    cost = _cost_in(checks, i, week) + prices[checks.need[i], week] * checks.minutes[i]
                    if cost < best:
                        best, own = cost, week
            chosen[i], priced[i] = own, best


@compiled
def moved_to_better(
    order: Integers,
    checks: FreeChecks,
    open_weeks: Flags,
    able: Flags,
    visit_cost: Floats,
    visits: Integers,
    left: Floats,
    week: Integers,
    crew: Integers,
) -> int:
    """Let each check of `order` go where it costs less, with a crew that has time; returns how many went."""
    count = 0
    for i in order:
        now, p = week[i], checks.place[i]
        stays = checks.unplaced_cost[i]
        if now != UNPLACED:
            stays = _cost_in(checks, i, now)
            if visits[p, now] == 1:
                stays += visit_cost[p, now]
        best, to, whose = stays - _LEAST_GAIN, UNPLACED, UNPLACED
        leaves = now != UNPLACED and checks.unplaced_cost[i] < best
        if leaves:
            best = checks.unplaced_cost[i]
        for w in range(checks.first_week[i], checks.last_week[i] + 1):
            if w == now or not open_weeks[checks.calendar[i], w]:
                continue
            cost = _cost_in(checks, i, w)
            if visits[p, w] == 0:
                cost += visit_cost[p, w]
            if cost >= best:
                continue
            who, most = UNPLACED, checks.minutes[i]
            for k in range(len(able)):
                if able[k, checks.need[i]] and left[k, w] >= most:
                    who, most = k, left[k, w]
            if who != UNPLACED:
                best, to, whose = cost, w, who
        if to == UNPLACED and not leaves:
            continue
        if now != UNPLACED:
            visits[p, now] -= 1
            left[crew[i], now] += checks.minutes[i]
        if to != UNPLACED:
            visits[p, to] += 1
            left[whose, to] -= checks.minutes[i]
        week[i], crew[i] = to, whose
        count += 1
    return count


@compiled
def fitted_in(
    order: Integers,
    checks: FreeChecks,
    open_weeks: Flags,
    able: Flags,
    visit_cost: Floats,
    visits: Integers,
    left: Floats,
    week: Integers,
    crew: Integers,
) -> int:
    """Find each check of `order`, which has no week, a place or another's; returns for how many there was one."""
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
        best, to, whose = checks.unplaced_cost[i] - _LEAST_GAIN, UNPLACED, UNPLACED
        other, other_to, other_crew = -1, UNPLACED, UNPLACED
        for w in range(checks.first_week[i], checks.last_week[i] + 1):
            if not open_weeks[checks.calendar[i], w]:
                continue
            own = _cost_in(checks, i, w)
            if visits[checks.place[i], w] == 0:
                own += visit_cost[checks.place[i], w]
            for k in range(crews):
                if not able[k, checks.need[i]]:
                    continue
                lacking = checks.minutes[i] - left[k, w]
                if lacking <= 0:
                    if own < best:
                        best, to, whose, other = own, w, k, -1
                    continue
                j = head[k, w]
                while j >= 0:
                    if checks.minutes[j] >= lacking:
                        saved = _cost_in(checks, j, w)
                        if visits[checks.place[j], w] == 1 and checks.place[j] != checks.place[i]:
                            saved += visit_cost[checks.place[j], w]
                        if own - saved + checks.unplaced_cost[j] < best:
                            best, to, whose = own - saved + checks.unplaced_cost[j], w, k
                            other, other_to, other_crew = j, UNPLACED, UNPLACED
                        for v in range(checks.first_week[j], checks.last_week[j] + 1):
                            if not open_weeks[checks.calendar[j], v]:
                                continue
                            cost = own - saved + _cost_in(checks, j, v)
                            if v == w:
                                cost = own
                            elif visits[checks.place[j], v] == 0:
                                cost += visit_cost[checks.place[j], v]
                            if cost >= best:
                                continue
                            for m in range(crews):
                                if able[m, checks.need[j]] and left[m, v] >= checks.minutes[j] and (v != w or m != k):
                                    best, to, whose = cost, w, k
                                    other, other_to, other_crew = j, v, m
                                    break
                    j = after[j]
        if to == UNPLACED:
            continue
        count += 1
        if other >= 0:
            _unlink(other, head, after, crew[other], week[other])
            visits[checks.place[other], to] -= 1
            left[whose, to] += checks.minutes[other]
            week[other], crew[other] = other_to, other_crew
            if other_to != UNPLACED:
                visits[checks.place[other], other_to] += 1
                left[other_crew, other_to] -= checks.minutes[other]
                after[other] = head[other_crew, other_to]
                head[other_crew, other_to] = other
        visits[checks.place[i], to] += 1
        left[whose, to] -= checks.minutes[i]
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
