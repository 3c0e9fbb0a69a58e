"""Making a route: what is due and can be reached, the stops worth most for the shift, and the way between them."""

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.db import Connection
from registry.intervals.service import current_run
from registry.plant.model import Area, AreaUnknown, Floats, Gate, PlotPlan
from registry.plant.service import current_plan
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.candidates import weighed_candidates
from registry.routes.choosing import StopRule, chosen_stops, stop_prizes
from registry.routes.distances import Walks, walks_between
from registry.routes.hanging import INSIDE, NO_WAY, hung, mainland_from
from registry.routes.model import (
    LONGEST_SHIFT_MINUTES,
    SHORTEST_SHIFT_MINUTES,
    GateUnknown,
    NothingToWalk,
    Route,
    RouteRefused,
    RouteStop,
    RouteSummary,
    RouteUnknown,
    StopOnSheet,
)
from registry.routes.walkways import WalkingGround, walking_ground

# Beyond this many due joints only the riskiest are looked at: no shift gets near the rest.
MOST_HUNG = 20_000


@dataclass(frozen=True, slots=True)
class _Due:
    """What there is to walk to, as columns, and where it comes from."""

    columns: Columns
    source: str
    waiting_for_outage: int

    def __len__(self) -> int:
        return len(self.columns["joint_id"])

    def taken(self, which: npt.NDArray[np.int64]) -> "_Due":
        return _Due(
            {name: values[which] for name, values in self.columns.items()}, self.source, self.waiting_for_outage
        )

    @property
    def points(self) -> Floats:
        return np.column_stack([self.columns["location"], self.columns["elevation_m"]])

    def prizes(self, walk_on: date) -> Floats:
        overdue = (np.datetime64(walk_on, "D") - self.columns["due_on"]).astype(np.float64)
        return stop_prizes(self.columns["detection_probability"] * self.columns["risk_now"], overdue)


def make_route(
    connection: Connection,
    walk_on: date,
    crew: str,
    area: str | None,
    shift_minutes: float,
    start_gate: str | None,
    seed: int,
    *,
    rule: StopRule | None = None,
) -> Route:
    """Choose and order the stops of one crew's shift, and record the route.

    The joints come from the newest plan's week (and its weeks before, as far as not checked since), or where it has
    none from the due list of that week. Those that need an outage and those on another crew's walk of that day are left
    out. The same input gives the same route. `start_gate` None is the plan's first gate.

    Raises RouteRefused, PlanMissing, AreaUnknown, GateUnknown, NotScored, or NothingToWalk.
    """
    crew = " ".join(crew.split())
    if not crew:
        raise RouteRefused("a route needs the name of a crew")
    if not SHORTEST_SHIFT_MINUTES <= shift_minutes <= LONGEST_SHIFT_MINUTES:
        bounds = f"{SHORTEST_SHIFT_MINUTES:.0f} to {LONGEST_SHIFT_MINUTES:.0f}"
        raise RouteRefused(f"a shift has {bounds} minutes, not {shift_minutes:g}")
    current_run(connection)
    plan = current_plan(connection)
    ground = walking_ground(plan, current_policy(connection).walking)
    gate, chosen_area = _gate(ground, start_gate), _area(plan, area)
    due = _due_for(connection, walk_on, crew, chosen_area)
    considered = len(due)
    if not considered:
        raise NothingToWalk(f"{due.source} has nothing {'in ' + chosen_area.name if chosen_area else 'anywhere'}")
    start = np.array([gate.east_m, gate.north_m, gate.elevation_m])
    weighed, walks, unreachable = _weighed(ground, start, due, walk_on)
    if not len(weighed):
        raise NothingToWalk(f"none of the {considered:,} joints of {due.source} can be walked to from {gate.name}")
    prizes = np.concatenate([[0.0], weighed.prizes(walk_on)])
    working_s = np.concatenate([[0.0], weighed.columns["check_minutes"] * 60.0])
    order = chosen_stops(walks.seconds, working_s, prizes, shift_minutes * 60.0, seed=seed, rule=rule)
    if not order:
        raise NothingToWalk(f"no due joint can be walked to, checked and left within {shift_minutes:g} minutes")
    stops, back = _legs(walks, order, weighed)
    route_id = store.add_route(
        connection,
        walk_on=walk_on,
        crew=crew,
        area_id=None if chosen_area is None else chosen_area.area_id,
        start_gate=gate.name,
        shift_minutes=shift_minutes,
        considered=considered,
        unreachable=unreachable,
        stops=[*stops, back],
    )
    return Route(
        route_id=route_id,
        walk_on=walk_on,
        crew=crew,
        area=None if chosen_area is None else chosen_area.name,
        start_gate=gate.name,
        shift_minutes=shift_minutes,
        walking_minutes=sum(stop.walking_minutes for stop in (*stops, back)),
        working_minutes=sum(stop.working_minutes for stop in stops),
        considered=considered,
        unreachable=unreachable,
        weighed=len(weighed),
        waiting_for_outage=due.waiting_for_outage,
        source=due.source,
        stops=stops,
        back=back,
    )


def route_with_stops(connection: Connection, route_id: int) -> tuple[RouteSummary, list[StopOnSheet]]:
    """A route and its stops in walking order, the way back last. Raises RouteUnknown."""
    route = store.read_route(connection, route_id)
    if route is None:
        raise RouteUnknown(f"no route {route_id} in this site")
    return route, store.list_stops(connection, route_id)


def start_names(connection: Connection) -> list[str]:
    """The names of the places where a walk may start, the usual one first. Raises PlanMissing."""
    plan = current_plan(connection)
    return [gate.name for gate in plan.gates] or [
        walking_ground(plan, current_policy(connection).walking).start(None).name
    ]


def _gate(ground: WalkingGround, name: str | None) -> Gate:
    try:
        return ground.start(name)
    except KeyError as exc:
        known = ", ".join(gate.name for gate in ground.plan.gates) or ground.start(None).name
        raise GateUnknown(f"no gate '{name}': a walk can start at {known}") from exc


def _area(plan: PlotPlan, name: str | None) -> Area | None:
    if name is None:
        return None
    area = plan.area_named(name)
    if area is None:
        raise AreaUnknown(f"no area '{name}'; the plan has {', '.join(known.name for known in plan.areas)}")
    return area


def _due_for(connection: Connection, walk_on: date, crew: str, area: Area | None) -> _Due:
    monday = walk_on - timedelta(days=walk_on.weekday())
    area_id = None if area is None else area.area_id
    planned = store.read_planned_week(connection, monday)
    if planned is None:
        until_on = monday + timedelta(days=6)
        columns = store.list_due(connection, until_on, walk_on, crew, area_id)
        source = f"the due list to {until_on}"
    else:
        columns = store.list_planned(connection, *planned, monday, walk_on, crew, area_id)
        source = f"the plan for the week of {monday}"
    waits = columns.pop("requires_outage")
    return _Due({name: values[~waits] for name, values in columns.items()}, source, int(waits.sum()))


def _weighed(ground: WalkingGround, start: Floats, due: _Due, walk_on: date) -> tuple[_Due, Walks, int]:
    """The joints to choose from, the walks between the start (0) and them, and how many cannot be reached."""
    if len(due) > MOST_HUNG:
        due = due.taken(np.sort(np.argsort(-due.prizes(walk_on), kind="stable")[:MOST_HUNG]))
    mainland = mainland_from(ground, start)
    hanging = hung(ground, due.points, mainland)
    reached = ~np.isin(hanging.state, (INSIDE, NO_WAY))
    unreachable = int((~reached).sum())
    while True:
        inside = np.flatnonzero(reached)
        which = inside[weighed_candidates(due.prizes(walk_on)[inside], due.points[inside, :2])]
        weighed = due.taken(which)
        points = np.concatenate([start[None, :], weighed.points])
        walks = walks_between(ground, points, hung(ground, points, mainland))
        cut_off = ~np.isfinite(walks.seconds[0, 1:])
        if not cut_off.any():
            return weighed, walks, unreachable
        # Seen only now: a joint that hangs on clear ground nobody can get to. Others may take its place.
        unreachable += int(cut_off.sum())
        reached[which[cut_off]] = False


def _legs(walks: Walks, order: list[int], weighed: _Due) -> tuple[tuple[RouteStop, ...], RouteStop]:
    way = [0, *order, 0]
    legs = [
        (walks.seconds[before, after] / 60.0, np.round(walks.leg(before, after), 3).ravel().tolist())
        for before, after in pairwise(way)
    ]
    joint_id, minutes = weighed.columns["joint_id"], weighed.columns["check_minutes"]
    stops = tuple(
        RouteStop(position, int(joint_id[stop - 1]), float(walking), float(minutes[stop - 1]), leg)
        for position, (stop, (walking, leg)) in enumerate(zip(order, legs[:-1], strict=True), start=1)
    )
    walking, leg = legs[-1]
    return stops, RouteStop(0, None, float(walking), 0.0, leg)
