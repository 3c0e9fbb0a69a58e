"""Which stops are worth the crews' shifts, whose they are and in which order: a solver chooses, our search polishes.

Both are stopped by counting steps, never by the clock, so the same input gives the same routes on any machine.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from pyvrp import (
    Activity,
    ActivityType,
    Client,
    Depot,
    Location,
    ProblemData,
    Route,
    Solution,
    VehicleType,
    solve,
)
from pyvrp.stop import MaxIterations, MultipleCriteria, NoImprovement

from registry.plant.model import Floats
from registry.routes.filling import Rounds, Shifts, filled_rounds, refilled_rounds
from registry.routes.ordering import RoundRule, as_short

# Measured on 400 stops, of which a shift holds 50: four times these steps find 0.2 % more.
MOST_STEPS = 3_000
PATIENCE_STEPS = 800
REFILLS = 400
# The smallest prize must outweigh a shift of seconds, so that walking time only settles between equal choices.
PRIZE_SCALE = 1_000_000
LEAST_PRIZE = 0.05
LATEST_DAYS = 90.0

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StopRule:
    """When the search stops: the solver after so many steps, or so many without a better choice; then so many refills.

    `order` says when the search for each crew's order does.
    """

    most_steps: int = MOST_STEPS
    patience_steps: int = PATIENCE_STEPS
    refills: int = REFILLS
    order: RoundRule = field(default_factory=RoundRule)


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


def chosen_rounds(
    walking_s: Floats,
    working_s: Floats,
    prizes: Floats,
    shifts_s: Sequence[float],
    may: Flags,
    *,
    seed: int,
    rule: StopRule | None = None,
    pinned: Sequence[int] = (),
) -> Rounds:
    """The stops that each crew visits within its shift, in walking order, no stop twice.

    Places 0, 1, … are where the crews start and end, one each, and are not listed. `walking_s` (n, n) is symmetric, and
    infinite where there is no way; `working_s` and `prizes` (n,) hold nought for the starts; `may` (crews, n) says who
    may visit what. Of the `pinned` stops as many are visited as the shifts hold, whatever they are worth.
    """
    rule = rule or StopRule()
    seconds = np.array([int(shift) for shift in shifts_s], dtype=np.int64)
    never = 10 * int(seconds.max()) + 1
    # Whole seconds, rounded up, so that the shifts hold in the end.
    walk = np.ceil(np.where(np.isfinite(walking_s), walking_s, never)).astype(np.int64)
    work = np.ceil(working_s).astype(np.int64)
    crews = np.arange(len(seconds))
    possible = may & (2 * walk[crews] + work <= seconds[:, None])
    possible[:, crews] = False
    if not possible.any():
        return [[] for _ in crews]
    shifts = Shifts(walk, work, prizes, seconds, possible)
    held = _held(shifts, pinned, seed=seed, rule=rule)
    must = sorted(stop for order in held for stop in order)
    valued = prizes.copy()
    valued[must] += prizes.sum() + 1.0
    shifts = replace(shifts, prizes=valued)
    # From a random walk the solver ends up to 8 % lower (measured), so it starts from a greedy one.
    greedy = filled_rounds(shifts, shifts.polished(filled_rounds(shifts, held)))
    solved = _solved(replace(shifts, prizes=prizes), greedy, must, seed=seed, rule=rule)
    filled = filled_rounds(shifts, shifts.polished(solved))
    return _settled(shifts, refilled_rounds(shifts, filled, seed=seed, rounds=rule.refills), seed=seed, rule=rule)


def _held(shifts: Shifts, pinned: Sequence[int], *, seed: int, rule: StopRule) -> Rounds:
    """As many of the pinned stops as the shifts hold, each worth the same."""
    nothing: Rounds = [[] for _ in range(shifts.crews)]
    if not len(pinned):
        return nothing
    only = np.zeros(len(shifts.work), dtype=bool)
    only[list(pinned)] = True
    alone = replace(shifts, prizes=np.where(only, 1.0, 0.0), may=shifts.may & only)
    filled = filled_rounds(alone, alone.polished(filled_rounds(alone, nothing)))
    if alone.prize(filled) == int(only.sum()):
        return filled
    return refilled_rounds(alone, filled, seed=seed, rounds=rule.refills)


def _settled(shifts: Shifts, orders: Rounds, *, seed: int, rule: StopRule) -> Rounds:
    """Each crew's round in the best order found; what that frees of the shift is filled again."""
    while True:
        ordered = [_shortest(shifts, crew, order, seed=seed, rule=rule) for crew, order in enumerate(orders)]
        orders = filled_rounds(shifts, ordered)
        if orders == ordered:
            return orders


def _shortest(shifts: Shifts, crew: int, order: list[int], *, seed: int, rule: StopRule) -> list[int]:
    places = np.array([crew, *order])
    found = as_short(shifts.walk[np.ix_(places, places)], list(range(1, len(places))), seed=seed, rule=rule.order)
    return [int(places[place]) for place in found]


def _solved(shifts: Shifts, first: Rounds, must: Sequence[int], *, seed: int, rule: StopRule) -> Rounds:
    crews = shifts.crews
    stops = np.flatnonzero(shifts.may.any(axis=0))
    nodes = np.concatenate([np.arange(crews), stops])
    needed = set(must)
    clients = [
        Client(
            location=crews + number,
            service_duration=int(shifts.work[stop]),
            prize=max(1, round(float(shifts.prizes[stop]) * PRIZE_SCALE)),
            required=int(stop) in needed,
        )
        for number, stop in enumerate(stops)
    ]
    # Crews that may do the same share one matrix; in it, what they may not visit is farther off than any shift.
    abilities, profile = np.unique(shifts.may[:, stops], axis=0, return_inverse=True)
    far = 10 * int(shifts.seconds.max()) + 1
    durations: list[Any] = [
        _beyond(shifts.walk[np.ix_(nodes, nodes)], crews + np.flatnonzero(~able), far) for able in abilities
    ]
    nowhere: list[Any] = [np.zeros_like(matrix) for matrix in durations]
    data = ProblemData(
        [Location(0, 0) for _ in nodes],
        clients,
        [Depot(location=crew) for crew in range(crews)],
        [
            VehicleType(
                1,
                start_depot=crew,
                end_depot=crew,
                shift_duration=int(shifts.seconds[crew]),
                unit_distance_cost=0,
                unit_duration_cost=1,
                profile=int(np.ravel(profile)[crew]),
            )
            for crew in range(crews)
        ],
        nowhere,
        durations,
    )
    client = {int(stop): number for number, stop in enumerate(stops)}
    start = Solution(
        data,
        [
            Route(data, [Activity(ActivityType.CLIENT, client[stop]) for stop in order], crew)
            for crew, order in enumerate(first)
            if order
        ],
    )
    stop = MultipleCriteria([MaxIterations(rule.most_steps), NoImprovement(rule.patience_steps)])
    best = solve(data, stop, seed=seed, collect_stats=False, initial_solution=start).best
    if not best.is_feasible():
        return first
    orders: Rounds = [[] for _ in range(crews)]
    for route in best.routes():
        orders[route.vehicle_type()] = [int(stops[visit.idx]) for visit in route if visit.is_client()]
    return orders


def _beyond(walk: npt.NDArray[np.int64], out: npt.NDArray[np.int64], far: int) -> npt.NDArray[np.int64]:
    """A matrix in which some places are too far from all others."""
    matrix = walk.copy()
    matrix[out, :] = far
    matrix[:, out] = far
    np.fill_diagonal(matrix, 0)
    return matrix
