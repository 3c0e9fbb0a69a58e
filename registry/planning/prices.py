"""Prices of the crews' time, and how the work of a week is shared among crews who can do it."""

import numpy as np

from registry.planning.problem import UNPLACED, Flags, Floats, Integers
from registry.planning.waiting import Waiting

_SWEEPS = 6


def ceilings(waiting: Waiting) -> Floats:
    """Price of a minute at which no check of a need would be worth placing."""
    dear = waiting.unplaced_cost / np.maximum(waiting.minutes, 1e-9)
    most = np.zeros(waiting.needs)
    np.maximum.at(most, waiting.need, dear)
    return 1.0 + most


def need_prices(waiting: Waiting, crew_prices: Floats, ceiling: Floats) -> Floats:
    """Price of a minute of each need and week: that of the cheapest able crew who is there at all."""
    there = waiting.able[:, :, None] & (waiting.capacity > 0)[:, None, :]
    dear = np.where(there, crew_prices[:, None, :], np.inf).astype(np.float64)
    cheapest: Floats = dear.min(axis=0, initial=np.inf)
    return np.where(cheapest < ceiling[:, None], cheapest, ceiling[:, None])


def loads(waiting: Waiting, week: Integers) -> Floats:
    """Minutes of each need in each week."""
    placed = week != UNPLACED
    at = waiting.need[placed] * waiting.weeks + week[placed]
    summed = np.bincount(at, waiting.minutes[placed], waiting.needs * waiting.weeks).astype(np.float64)
    return summed.reshape(waiting.needs, waiting.weeks)


def crew_loads(waiting: Waiting, load: Floats, crew_prices: Floats, slope: Floats) -> Floats:
    """Minutes that fall to each crew in each week when every need goes to the able crews who are cheapest.

    A crew's price rises by `slope` with each minute, so work settles where prices with it are level: the share that
    a step of prices along `slope` would leave as it is.
    """
    given = np.zeros((waiting.needs, *waiting.capacity.shape))
    there = waiting.able.T[:, :, None] & (waiting.capacity > 0)
    total = np.zeros(waiting.capacity.shape)
    for _ in range(_SWEEPS):
        for need in range(waiting.needs):
            others = total - given[need]
            given[need] = _levelled(load[need], crew_prices + slope * others, slope, there[need])
            total = others + given[need]
    return total


def _levelled(work: Floats, price: Floats, slope: Floats, there: Flags) -> Floats:
    """Share `work` (weeks) among crews (crews, weeks): price + slope × share is level among those who get any."""
    if not len(price):
        return price
    price = np.where(there, price, np.inf)
    order = np.argsort(price, axis=0, kind="stable")
    cheap = np.take_along_axis(price, order, axis=0)
    known = np.isfinite(cheap)
    give = np.where(known, 1.0 / np.take_along_axis(slope, order, axis=0), 0.0)
    takers = np.cumsum(give, axis=0)
    level = (work + np.cumsum(give * np.where(known, cheap, 0.0), axis=0)) / np.where(takers > 0, takers, 1.0)
    # The last of the crews whose price is not above the level that they and the cheaper ones come to.
    count = (known & (level >= cheap)).sum(axis=0)
    reached = np.take_along_axis(level, np.maximum(count - 1, 0)[None], axis=0)
    share = np.maximum(reached - price, 0.0) / slope
    return np.where(there & (count > 0), share, 0.0)
