"""Checks into the weeks that are visited, within the crews' time, at least cost."""

import numpy as np

from registry.planning.network import cheapest_flow
from registry.planning.prices import loads, need_prices
from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_FEWEST_OPEN = 20_000
_OPEN_SHARE = 0.1
_SPLIT_MINUTES = 1e-3


def filled_weeks(waiting: Waiting, visited: Flags, crew_prices: Floats, ceiling: Floats) -> Integers:
    """Week of each check in the visits given, so that the crews' time holds as far as minutes can be split.

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
        flow = cheapest_flow(
            waiting, open_, row[at[near]], week[near], cost[near], waiting.capacity, loads(waiting, chosen)
        )
        if count < len(waiting) and flow.beyond.any():
            count *= 3
            continue
        most = flow.left_out.copy()
        np.maximum.at(most, row[at[near]], flow.into_weeks)
        won = np.flatnonzero((flow.into_weeks > _SPLIT_MINUTES) & (flow.into_weeks >= most[row[at[near]]]))
        # The first of the weeks with most: the later ones are written before it.
        chosen[at[near][won[::-1]]] = week[near][won[::-1]]
        return chosen


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
