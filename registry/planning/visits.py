"""In which weeks to go to each place, at given prices of the crews' time: a shortest way through the weeks."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from registry.planning.compiled import Number, compiled
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_THREADS = 2


def best_visits(waiting: Waiting, prices: Floats, visited: Flags, least: Floats, places: Integers) -> None:
    """Which weeks to visit `places` in, written into `visited`; into `least` what no choice of weeks costs less than.

    The cost is that of visits, of each check in its week, and of its minutes at the price (needs, weeks) of that week.
    From one visited week to the next a check costs

        T(a, b) = min(u, min of c over the weeks up to a, min of c over the weeks from b)

    where a and b are the visited weeks about its own best one, c is its cost by week with its minutes priced, and u
    that of leaving it out. The shortest way from before the first week to after the last over all pairs (a, b) is never
    dearer than the best choice, for each check is counted once, at no more than it costs with any choice that has a and
    b next to one another. It is the best choice where c rises on both sides of the check's best week, which prices
    disturb but little; so what it opens is nearly the best there is as well.
    """

    def part(some: Integers) -> None:
        _visits_of_places(
            some,
            waiting.begins,
            waiting.first_week,
            waiting.last_week,
            waiting.calendar,
            waiting.need,
            waiting.due_week,
            waiting.was_week,
            waiting.minutes,
            waiting.late_cost,
            waiting.early_cost,
            waiting.moved_cost,
            waiting.unplaced_cost,
            waiting.open_weeks,
            prices,
            waiting.visit_cost,
            visited,
            least,
        )

    _shared_out(waiting, places, part)


def best_weeks(
    waiting: Waiting, prices: Floats, visited: Flags, week: Integers, priced: Floats, places: Integers
) -> None:
    """The best week of each check of `places` among those visited, and its cost with its minutes at the price."""

    def part(some: Integers) -> None:
        _weeks_of_places(
            some,
            waiting.begins,
            waiting.first_week,
            waiting.last_week,
            waiting.calendar,
            waiting.need,
            waiting.due_week,
            waiting.was_week,
            waiting.minutes,
            waiting.late_cost,
            waiting.early_cost,
            waiting.moved_cost,
            waiting.unplaced_cost,
            waiting.open_weeks,
            prices,
            visited,
            week,
            priced,
        )

    _shared_out(waiting, places, part)


def _shared_out(waiting: Waiting, places: Integers, part: Callable[[Integers], None]) -> None:
    # Each place writes what is its own alone, so the threads do not change the outcome.
    work = np.cumsum(waiting.begins[places + 1] - waiting.begins[places])
    if len(places) < 2 * _THREADS or work[-1] < 20_000:
        part(places)
        return
    ends = np.searchsorted(work, work[-1] * np.arange(1, _THREADS) / _THREADS)
    with ThreadPoolExecutor(_THREADS) as threads:
        list(threads.map(part, np.split(places, ends)))


@compiled
def _cost_in(
    week: Number,
    due: Number,
    was: Number,
    minutes: Number,
    late: Number,
    early: Number,
    moved: Number,
    price: Number,
) -> Number:
    after = week - due
    cost = price * minutes + (late * after if after > 0 else -early * after)
    return cost if week == was else cost + moved


@compiled
def _visits_of_places(
    places: Integers,
    begins: Integers,
    first_week: Integers,
    last_week: Integers,
    calendar: Integers,
    need: Integers,
    due_week: Integers,
    was_week: Integers,
    minutes: Floats,
    late: Floats,
    early: Floats,
    moved: Floats,
    unplaced: Floats,
    open_weeks: Flags,
    prices: Floats,
    visit_cost: Floats,
    visited: Flags,
    least: Floats,
) -> None:
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
            first, last, out = first_week[i], last_week[i], unplaced[i]
            best, own = out, first
            for week in range(first, last + 1):
                cost[week] = out
                if open_weeks[calendar[i], week]:
                    priced = _cost_in(
                        week, due_week[i], was_week[i], minutes[i], late[i], early[i], moved[i], prices[need[i], week]
                    )
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
def _weeks_of_places(
    places: Integers,
    begins: Integers,
    first_week: Integers,
    last_week: Integers,
    calendar: Integers,
    need: Integers,
    due_week: Integers,
    was_week: Integers,
    minutes: Floats,
    late: Floats,
    early: Floats,
    moved: Floats,
    unplaced: Floats,
    open_weeks: Flags,
    prices: Floats,
    visited: Flags,
    chosen: Integers,
    priced: Floats,
) -> None:
    for place in places:
        for i in range(begins[place], begins[place + 1]):
            best, own = unplaced[i], UNPLACED
            for week in range(first_week[i], last_week[i] + 1):
                if visited[place, week] and open_weeks[calendar[i], week]:
                    cost = _cost_in(
                        week, due_week[i], was_week[i], minutes[i], late[i], early[i], moved[i], prices[need[i], week]
                    )
                    if cost < best:
                        best, own = cost, week
            chosen[i], priced[i] = own, best
