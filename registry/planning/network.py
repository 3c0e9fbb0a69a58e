"""Checks, weeks and crews as a network through which minutes flow to where they cost least."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from registry.planning.problem import Floats, Integers
from registry.planning.waiting import Waiting

_TICKS_PER_MINUTE = 10
_FINEST_COST = 1_000.0
_LARGEST = 2.0**61
LEAST_MINUTES = 0.1


@dataclass(frozen=True)
class Flow:
    """Minutes by way: `into_weeks` of each pair given, `left_out` of each check, `to_crews` (needs, crews, weeks).

    `beyond` (needs, weeks) is what of the minutes taken before has no crew.
    """

    into_weeks: Floats
    left_out: Floats
    to_crews: Floats
    beyond: Floats


def cheapest_flow(
    waiting: Waiting, checks: Integers, at: Integers, week: Integers, cost: Floats, capacity: Floats, taken: Floats
) -> Flow:
    """Let the minutes of `checks` flow through weeks and crews at least cost.

    Pair j says that the check at `at[j]` of `checks` may stand in `week[j]` for `cost[j]`; leaving it out is a way as
    well. `taken` (needs, weeks) are minutes that are in their week already and only need a crew, `capacity` (crews,
    weeks) is the crews' time.
    """
    needs, (crews, weeks) = waiting.needs, waiting.capacity.shape
    minutes = np.maximum(waiting.minutes[checks], LEAST_MINUTES)
    ticks = _ticks(minutes)
    begun = _ticks(taken).ravel()
    dearest = max(float(np.max(waiting.unplaced_cost[checks] / minutes, initial=1.0)), 1.0)
    need_node = len(checks)
    crew_node = need_node + needs * weeks
    end = crew_node + crews * weeks
    # The solver multiplies costs by the number of nodes, and past all time is dearer than left out.
    scale = min(_FINEST_COST, _LARGEST / (8.0 * dearest * (end + 2)))
    need, crew = np.nonzero(waiting.able.T)
    every = np.arange(weeks)
    total = int(ticks.sum() + begun.sum())
    ways = (
        (at, need_node + waiting.need[checks[at]] * weeks + week, ticks[at], _unit(cost, minutes[at], scale)),
        (np.arange(len(checks)), end, ticks, _unit(waiting.unplaced_cost[checks], minutes, scale)),
        (
            (need_node + need[:, None] * weeks + every).ravel(),
            (crew_node + crew[:, None] * weeks + every).ravel(),
            total,
            0,
        ),
        (np.arange(crew_node, end), end, np.floor(capacity * _TICKS_PER_MINUTE).astype(np.int64).ravel(), 0),
        (np.arange(need_node, crew_node), end, begun, int(2 * dearest * scale) + 1),
    )
    lengths = [len(tails) for tails, _, _, _ in ways]
    columns = [
        [np.broadcast_to(way[column], size) for way, size in zip(ways, lengths, strict=True)] for column in range(4)
    ]
    solver: Any = SimpleMinCostFlow()  # its stubs take no array of any shape
    solver.add_arcs_with_capacity_and_unit_cost(*(np.concatenate(column).astype(np.int64) for column in columns))
    supply = np.concatenate((ticks, begun, np.zeros(crews * weeks, dtype=np.int64), [-total]))
    solver.set_nodes_supplies(np.arange(end + 1), supply)
    status = solver.solve()
    if status != solver.OPTIMAL:
        raise AssertionError(f"every minute has a way to the end, yet the flow came back as {status}")
    flows = solver.flows(np.arange(sum(lengths))) / _TICKS_PER_MINUTE
    into_weeks, left_out, between, _, beyond = np.split(flows, np.cumsum(lengths)[:-1])
    to_crews = np.zeros((needs, crews, weeks))
    to_crews[need, crew] = between.reshape(len(need), weeks)
    return Flow(into_weeks, left_out, to_crews, beyond.reshape(needs, weeks))


def _ticks(minutes: Floats) -> Integers:
    return np.rint(minutes * _TICKS_PER_MINUTE).astype(np.int64)


def _unit(cost: Floats, minutes: Floats, scale: float) -> Integers:
    return np.rint(cost / minutes * scale).astype(np.int64)
