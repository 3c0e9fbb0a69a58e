"""Checks into the weeks that are visited, within the crews' time, at least cost."""

import numpy as np

from registry.planning.network import Flow, cheapest_flow
from registry.planning.prices import loads, need_prices
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_FEWEST_OPEN = 20_000
_OPEN_SHARE = 0.1


def filled_weeks(waiting: Waiting, visited: Flags, crew_prices: Floats, ceiling: Floats, capacity: Floats) -> Integers:
    """Week of each check in the visits given, so that `capacity` (crews, weeks) holds as far as minutes can be split.

    Least cost, but for checks that are split between weeks: they count for the week with most of them. Where the prices
    leave no doubt, a check has its week beforehand, which keeps the network small; more are open if time is short so.
    """
    everyone = np.arange(len(waiting))
    at, week = waiting.pairs(everyone, visited)
    cost = waiting.costs(at, week)
    priced = cost + need_prices(waiting, crew_prices, ceiling)[waiting.need[at], week] * waiting.minutes[at]
    best, least, regret = _best_and_regret(waiting, at, week, priced)
    count = max(_FEWEST_OPEN, int(len(waiting) * _OPEN_SHARE))
    while True:
        limit = float(np.partition(regret, count)[count]) if count < len(waiting) else np.inf
        settled = regret > limit
        chosen = np.where(settled, best, UNPLACED)
        near = ~settled[at] & (priced - least[at] <= limit * np.maximum(waiting.minutes[at], 1.0))
        open_ = np.flatnonzero(~settled)
        row = np.cumsum(~settled) - 1
        flow = cheapest_flow(waiting, open_, row[at[near]], week[near], cost[near], capacity, loads(waiting, chosen))
        if count < len(waiting) and flow.beyond.any():
            count *= 3
            continue
        _settle(waiting, chosen, open_, at[near], week[near], flow)
        return chosen


def _settle(waiting: Waiting, chosen: Integers, open_: Integers, check: Integers, week: Integers, flow: Flow) -> None:
    """Give each check of the flow one week. One that is split goes where most of what was split is still to come."""
    used = np.flatnonzero(flow.into_weeks > 0)
    ways = np.bincount(check[used], minlength=len(waiting))
    ways[open_] += flow.left_out > 0
    whole = used[ways[check[used]] == 1]
    chosen[check[whole]] = week[whole]
    split = used[ways[check[used]] > 1]
    if not len(split):
        return
    share = flow.into_weeks[split]
    owed = np.zeros((waiting.needs, waiting.weeks))
    np.add.at(owed, (waiting.need[check[split]], week[split]), share)
    owed_out = np.zeros(len(waiting))
    owed_out[open_] = flow.left_out
    left_out = float(owed_out[ways > 1].sum())
    starts = np.flatnonzero(np.diff(check[split], prepend=-1))
    for one, weeks in zip(check[split][starts].tolist(), np.split(week[split], starts[1:]), strict=True):
        need, minutes = waiting.need[one], waiting.minutes[one]
        at = int(weeks[np.argmax(owed[need, weeks])])
        if owed_out[one] > 0 and left_out > owed[need, at]:
            left_out -= minutes
        else:
            owed[need, at] -= minutes
            chosen[one] = at


def _best_and_regret(waiting: Waiting, at: Integers, week: Integers, priced: Floats) -> tuple[Integers, Floats, Floats]:
    """The week that costs each check least (UNPLACED: none), that cost, and how much more a minute the next best is."""
    check = np.concatenate((at, np.arange(len(waiting))))
    weeks = np.concatenate((week, np.full(len(waiting), UNPLACED)))
    costs = np.concatenate((priced, waiting.unplaced_cost))
    order = np.lexsort((-weeks, costs, check))
    start = np.flatnonzero(np.diff(check[order], prepend=-1))
    alone = np.diff(np.append(start, len(order))) == 1
    least = costs[order[start]]
    second = np.where(alone, np.inf, costs[order[np.minimum(start + 1, len(order) - 1)]])
    return weeks[order[start]], least, (second - least) / np.maximum(waiting.minutes, 1.0)
