"""Prices of the crews' time to start from: those of a sample of the checks, as if visits cost nothing."""

import numpy as np

from registry.planning.network import LEAST_MINUTES, Flow, cheapest_flow
from registry.planning.problem import Floats, Integers
from registry.planning.waiting import Waiting

_MOST_SAMPLED = 10_000
_SPARE_MINUTES = 0.5
_MOST_ROUNDS = 300


def starting_prices(waiting: Waiting, ceiling: Floats) -> Floats:
    """Price of a minute of each crew and week (crews, weeks) at which a sample of the checks just fits.

    Every so-manieth check flows through a share of the crews' time as large as its share of all the minutes. One minute
    less of a crew costs what the cheapest chain of moves costs that ends in time to spare, or in a check left out.
    """
    chosen = np.arange(0, len(waiting), -(-len(waiting) // _MOST_SAMPLED))
    share = float(waiting.minutes[chosen].sum() / max(waiting.minutes.sum(), 1e-9))
    at, week = waiting.pairs(chosen)
    cost = waiting.costs(chosen[at], week)
    capacity = waiting.capacity * share
    flow = cheapest_flow(waiting, chosen, at, week, cost, capacity, np.zeros((waiting.needs, waiting.weeks)))
    return _prices(waiting, chosen, at, week, cost, capacity, flow, ceiling)


def _prices(
    waiting: Waiting,
    chosen: Integers,
    at: Integers,
    week: Integers,
    cost: Floats,
    capacity: Floats,
    flow: Flow,
    ceiling: Floats,
) -> Floats:
    needs, (crews, weeks) = waiting.needs, waiting.capacity.shape
    crew_node = needs * weeks
    end = crew_node + crews * weeks
    minutes = np.maximum(waiting.minutes[chosen], LEAST_MINUTES)
    unit, out = cost / minutes[at], waiting.unplaced_cost[chosen] / minutes
    node = waiting.need[chosen[at]] * weeks + week
    # What it costs a minute to go from one node to another, by the cheapest check that can.
    step = np.full((end + 1, end + 1), np.inf)
    first = np.searchsorted(at, np.arange(len(chosen)))
    width = np.searchsorted(at, np.arange(len(chosen)), side="right") - first
    there = np.flatnonzero(flow.into_weeks > 0)
    ways = width[at[there]]
    source = np.repeat(there, ways)
    target = np.arange(len(source)) - np.repeat(np.cumsum(ways) - ways - first[at[there]], ways)
    np.minimum.at(step, (node[source], node[target]), unit[target] - unit[source])
    np.minimum.at(step[:, end], node[there], out[at[there]] - unit[there])
    apart = np.flatnonzero(flow.left_out[at] > 0)
    np.minimum.at(step[end], node[apart], unit[apart] - out[at[apart]])
    every = np.arange(weeks)
    for need, crew in np.argwhere(waiting.able.T).tolist():
        step[need * weeks + every, crew_node + crew * weeks + every] = 0.0
        used = every[flow.to_crews[need, crew] > 0]
        step[crew_node + crew * weeks + used, need * weeks + used] = 0.0
    load = flow.to_crews.sum(axis=0).ravel()
    step[crew_node + np.flatnonzero(capacity.ravel() - load > _SPARE_MINUTES), end] = 0.0
    step[end, crew_node + np.flatnonzero(load > 0)] = 0.0
    price = _distances(step, end)[crew_node:end].reshape(crews, weeks)
    return np.clip(np.where(capacity > 0, price, 0.0), 0.0, ceiling.max(initial=0.0))


def _distances(step: Floats, end: int) -> Floats:
    """Length of the shortest way from every node to the end; roundings may leave cycles, so it stops in any case."""
    distance = np.full(len(step), np.inf)
    distance[end] = 0.0
    for _ in range(_MOST_ROUNDS):
        shorter = np.minimum(distance, (step + distance).min(axis=1))
        if np.array_equal(shorter, distance):
            break
        distance = shorter
    return distance
