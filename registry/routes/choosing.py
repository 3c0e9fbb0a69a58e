"""Which stops are worth the shift, and in which order: a solver chooses, a local search of our own polishes.

Both are stopped by counting steps, never by the clock, so the same input gives the same route on any machine.
"""

from dataclasses import dataclass

import numpy as np
from pyvrp import Activity, ActivityType, Location, Model, Route, Solution, solve
from pyvrp.stop import MaxIterations, MultipleCriteria, NoImprovement

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.routes.filling import Shift, filled_round, refilled_round
from registry.routes.polish import polished_round

# Measured on 400 stops, of which a shift holds 50: four times these steps find 0.2 % more.
MOST_STEPS = 3_000
PATIENCE_STEPS = 800
REFILLS = 400
# An order alone is found faster, and takes the steps that the last per cent needs.
ROUND_STEPS, ROUND_PATIENCE = 8_000, 2_000
# The smallest prize must outweigh a shift of seconds, so that walking time only settles between equal choices.
PRIZE_SCALE = 1_000_000
LEAST_PRIZE = 0.05
LATEST_DAYS = 90.0


@dataclass(frozen=True, slots=True)
class StopRule:
    """When the search stops: the solver after so many steps, or so many without a better walk; then so many refills."""

    most_steps: int = MOST_STEPS
    patience_steps: int = PATIENCE_STEPS
    refills: int = REFILLS


def stop_prizes(risk_reduced: Floats, overdue_days: Floats) -> Floats:
    """What it is worth to visit each stop in one shift.

    prize = max(0.05, risk reduced / mean risk reduced + min(days overdue, 90) / 30)

    Parameters
    ----------
    risk_reduced : (n,) detection probability x risk now [weighted leaks per year].
    overdue_days : (n,) days past due; below nought counts as nought [days].

    Returns
    -------
    (n,) dimensionless.

    References
    ----------
    Own method: a month overdue weighs as much as the average risk of the stops it competes with, and lateness stops
    counting after three months, when only risk should decide.

    >>> import numpy as np
    >>> stop_prizes(np.array([0.2, 0.1]), np.array([-5.0, 30.0])).round(3).tolist()
    [1.333, 1.667]
    """
    mean = float(np.mean(risk_reduced)) if len(risk_reduced) else 0.0
    share = risk_reduced / mean if mean > 0 else np.zeros_like(risk_reduced)
    return np.maximum(LEAST_PRIZE, share + np.clip(overdue_days, 0.0, LATEST_DAYS) / 30.0)


def chosen_stops(
    walking_s: Floats, working_s: Floats, prizes: Floats, shift_s: float, *, seed: int, rule: StopRule | None = None
) -> list[int]:
    """The stops to visit within a shift, in walking order; the walk begins and ends at stop 0, which is not listed.

    `walking_s` (n, n) is symmetric; `working_s` and `prizes` (n,) hold nought for stop 0.
    """
    rule = rule or StopRule()
    # Whole seconds, rounded up, so that the shift holds in the end.
    walk, work = np.ceil(walking_s).astype(np.int64), np.ceil(working_s).astype(np.int64)
    possible = np.flatnonzero((2 * walk[0] + work <= int(shift_s)) & (np.arange(len(walk)) > 0))
    if not len(possible):
        return []
    shift = Shift(walk, work, prizes, possible, int(shift_s))
    # From a random walk the solver ends up to 8 % lower (measured), so it starts from a greedy one.
    greedy = filled_round(shift, polished_round(walk, filled_round(shift, [])))
    solved = _solved(shift, greedy, seed=seed, rule=rule)
    order = filled_round(shift, polished_round(walk, solved))
    return polished_round(walk, refilled_round(shift, order, seed=seed, rounds=rule.refills))


def shortest_round(distances: Integers, *, seed: int, rule: StopRule | None = None) -> list[int]:
    """All places of a symmetric matrix in a round from place 0, which is not listed, as short as we find it."""
    rule = rule or StopRule(ROUND_STEPS, ROUND_PATIENCE)
    model = Model()
    locations = [model.add_location(0, 0) for _ in distances]
    depot = model.add_depot(locations[0])
    for place in locations[1:]:
        model.add_client(place)
    model.add_vehicle_type(1, start_depot=depot, end_depot=depot)
    _add_edges(model, locations, distances, with_duration=False)
    best = model.solve(_stop(rule), seed=seed, display=False, collect_stats=False).best
    return polished_round(distances, _visited(best))


def _solved(shift: Shift, first: list[int], *, seed: int, rule: StopRule) -> list[int]:
    model = Model()
    nodes = [0, *(int(stop) for stop in shift.possible)]
    locations = [model.add_location(0, 0) for _ in nodes]
    depot = model.add_depot(locations[0])
    for place, stop in zip(locations[1:], nodes[1:], strict=True):
        prize = max(1, round(float(shift.prizes[stop]) * PRIZE_SCALE))
        model.add_client(place, service_duration=int(shift.work[stop]), prize=prize, required=False)
    model.add_vehicle_type(
        1, start_depot=depot, end_depot=depot, shift_duration=shift.seconds, unit_distance_cost=0, unit_duration_cost=1
    )
    _add_edges(model, locations, shift.walk[np.ix_(nodes, nodes)], with_duration=True)
    data = model.data()
    client = {stop: number for number, stop in enumerate(nodes[1:])}
    walk = [Activity(ActivityType.CLIENT, client[stop]) for stop in first]
    start = Solution(data, [Route(data, walk, 0)] if walk else [])
    best = solve(data, _stop(rule), seed=seed, collect_stats=False, initial_solution=start).best
    if not best.is_feasible():
        return first
    return [nodes[number] for number in _visited(best)]


def _stop(rule: StopRule) -> MultipleCriteria:
    return MultipleCriteria([MaxIterations(rule.most_steps), NoImprovement(rule.patience_steps)])


def _add_edges(model: Model, locations: list[Location], walk: Integers, *, with_duration: bool) -> None:
    seconds: list[list[int]] = walk.tolist()
    for start, row in zip(locations, seconds, strict=True):
        for end, value in zip(locations, row, strict=True):
            if start is not end:
                model.add_edge(start, end, value, value if with_duration else 0)


def _visited(solution: Solution) -> list[int]:
    """The places of the one walk in order, counted from 1 as the depot is 0."""
    routes = solution.routes()
    return [visit.idx + 1 for visit in routes[0] if visit.is_client()] if routes else []
