"""Making routes: what is due and can be reached, the stops worth most for the crews' shifts, and the ways between."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from registry.db import Connection
from registry.intervals.service import current_run
from registry.plant.model import Area, AreaUnknown, Gate, PlotPlan
from registry.plant.service import current_plan
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.choosing import StopRule, chosen_rounds
from registry.routes.demand import Demand, Walker, Wanted
from registry.routes.demand_service import demand_on, joints_named, refuse_unknown_tools, walker_of
from registry.routes.hanging import INSIDE, NO_WAY, REASONS, hung, mainland_from
from registry.routes.legs import Visit, walk_of
from registry.routes.model import (
    LONGEST_SHIFT_MINUTES,
    MOST_CREWS,
    SHORTEST_SHIFT_MINUTES,
    CrewShift,
    GateUnknown,
    NothingToWalk,
    PinLeftOut,
    Route,
    RouteRefused,
    RouteSummary,
    RouteUnknown,
    StopOnSheet,
    Unreachable,
)
from registry.routes.reaching import Reach, reach_of
from registry.routes.walkways import WalkingGround, walking_ground


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
    """Make the route of one crew's shift: `make_routes` for it alone."""
    shift = CrewShift(crew, shift_minutes, start_gate)
    return make_routes(connection, walk_on, [shift], area, seed, rule=rule)[0]


def make_routes(
    connection: Connection,
    walk_on: date,
    shifts: Sequence[CrewShift],
    area: str | None,
    seed: int,
    *,
    pinned_tags: Sequence[str] = (),
    left_out_tags: Sequence[str] = (),
    today: date | None = None,
    rule: StopRule | None = None,
) -> list[Route]:
    """Choose the stops of the crews' shifts so that together they are worth most, order them, and record the routes.

    Of a crew that the crews list has, the joints are what the newest plan has for it in that week (and had before, as
    far as not checked since); where nothing of that is free, or for any other name, all of the plan's; where that is
    nothing either, what falls due until the end of the week. Those on another crew's walk of that day are left out,
    with `today` also those on walks of other days to come, and those that need an outage while there is none. A pinned
    joint is walked to, due or not, if it can be. A crew for which nothing is left has no route in the answer. The same
    input gives the same routes.

    Raises RouteRefused, PlanMissing, AreaUnknown, GateUnknown, NotScored, or NothingToWalk where no crew has a stop.
    """
    shifts = _checked(shifts)
    wanted = _wanted(connection, pinned_tags, left_out_tags)
    current_run(connection)
    plan = current_plan(connection)
    policy = current_policy(connection)
    refuse_unknown_tools(connection, policy, [tool for shift in shifts for tool in shift.tools or ()])
    ground = walking_ground(plan, policy.walking)
    gates, chosen_area = [gate_named(ground, shift.start_gate) for shift in shifts], _area(plan, area)
    area_id = None if chosen_area is None else chosen_area.area_id
    walkers = [walker_of(connection, shift.crew, shift.tools) for shift in shifts]
    if len({walker.name for walker in walkers}) < len(walkers):
        raise RouteRefused("each crew walks once")
    demand, out = demand_on(connection, walk_on, walkers, area_id, wanted, policy, today)
    sources, count, told = " and ".join(dict.fromkeys(demand.sources)), len(demand), _told(out)
    if not count:
        raise NothingToWalk(f"{sources} has nothing {'in ' + chosen_area.name if chosen_area else 'anywhere'}{told}")
    if not demand.able.any():
        raise NothingToWalk(f"none of the {count:,} joints of {sources} can be done with the tools held{told}")
    starts = np.array([[gate.east_m, gate.north_m, gate.elevation_m] for gate in gates])
    reach = reach_of(ground, starts, demand, walk_on)
    if not len(reach.weighed):
        names = " or ".join(dict.fromkeys(gate.name for gate in gates))
        raise NothingToWalk(f"none of the {count:,} joints of {sources} can be walked to from {names}{told}")
    orders = _chosen(reach, shifts, walk_on, seed=seed, rule=rule)
    out += _pins_not_walked(demand, reach, orders, wanted)
    if not any(orders):
        minutes = " or ".join(dict.fromkeys(f"{shift.shift_minutes:g}" for shift in shifts))
        raise NothingToWalk(f"no due joint can be walked to, checked and left within {minutes} minutes{_told(out)}")
    made: list[Route] = []
    for crew, (shift, gate) in enumerate(zip(shifts, gates, strict=True)):
        if orders[crew]:
            route = _route(demand, reach, orders, crew, walkers[crew], replace(shift, start_gate=gate.name), walk_on)
            route = replace(route, area=None if chosen_area is None else chosen_area.name, pins_left_out=tuple(out))
            made.append(replace(route, route_id=_kept(connection, route, area_id)))
    return made


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


def unreachable_joints(connection: Connection, start_gate: str | None, area: str | None) -> list[Unreachable]:
    """The scored joints that no walk from a gate reaches, by number, each with why.

    Joints that hang on clear ground behind walls are found out only when a route looks at them. Raises PlanMissing,
    AreaUnknown, GateUnknown or NotScored.
    """
    current_run(connection)
    plan = current_plan(connection)
    ground = walking_ground(plan, current_policy(connection).walking)
    gate, chosen_area = gate_named(ground, start_gate), _area(plan, area)
    columns = store.list_places(connection, area_id=None if chosen_area is None else chosen_area.area_id)
    points = np.column_stack([columns["location"], columns["elevation_m"]])
    start = np.array([gate.east_m, gate.north_m, gate.elevation_m])
    state = hung(ground, points, mainland_from(ground, start)).state
    which = np.flatnonzero(np.isin(state, (INSIDE, NO_WAY)))
    tags = store.list_tags(connection, columns["joint_id"][which].tolist())
    found: list[Unreachable] = []
    for at in which:
        east, north, elevation = (float(value) for value in points[at])
        tag, field = tags[int(columns["joint_id"][at])], plan.grid_reference(east, north)
        found.append(Unreachable(tag, east, north, elevation, field, REASONS[int(state[at])]))
    return found


def gate_named(ground: WalkingGround, name: str | None) -> Gate:
    """The gate of that name, or the first. Raises GateUnknown with the names that there are."""
    try:
        return ground.start(name)
    except KeyError as exc:
        known = ", ".join(gate.name for gate in ground.plan.gates) or ground.start(None).name
        raise GateUnknown(f"no gate '{name}': a walk can start at {known}") from exc


def _checked(shifts: Sequence[CrewShift]) -> list[CrewShift]:
    if not 0 < len(shifts) <= MOST_CREWS:
        raise RouteRefused(f"routes are made for 1 to {MOST_CREWS} crews at once, not {len(shifts)}")
    named = [replace(shift, crew=" ".join(shift.crew.split())) for shift in shifts]
    for shift in named:
        if not shift.crew:
            raise RouteRefused("a route needs the name of a crew")
        if not SHORTEST_SHIFT_MINUTES <= shift.shift_minutes <= LONGEST_SHIFT_MINUTES:
            bounds = f"{SHORTEST_SHIFT_MINUTES:.0f} to {LONGEST_SHIFT_MINUTES:.0f}"
            raise RouteRefused(f"a shift has {bounds} minutes, not {shift.shift_minutes:g}")
    if len({shift.crew.casefold() for shift in named}) < len(named):
        raise RouteRefused("each crew walks once")
    return named


def _wanted(connection: Connection, pinned_tags: Sequence[str], left_out_tags: Sequence[str]) -> Wanted:
    both = sorted(set(pinned_tags) & set(left_out_tags))
    if both:
        raise RouteRefused(f"{both[0]!r} cannot be pinned and left out")
    return Wanted(joints_named(connection, pinned_tags, "pinned"), joints_named(connection, left_out_tags, "left_out"))


def _area(plan: PlotPlan, name: str | None) -> Area | None:
    if name is None:
        return None
    area = plan.area_named(name)
    if area is None:
        raise AreaUnknown(f"no area '{name}'; the plan has {', '.join(known.name for known in plan.areas)}")
    return area


def _chosen(
    reach: Reach, shifts: Sequence[CrewShift], walk_on: date, *, seed: int, rule: StopRule | None
) -> list[list[int]]:
    weighed, crews = reach.weighed, len(shifts)
    nothing = np.zeros(crews)
    return chosen_rounds(
        reach.walks.seconds,
        np.concatenate([nothing, weighed.columns["check_minutes"] * 60.0]),
        np.concatenate([nothing, weighed.prizes(walk_on)]),
        [shift.shift_minutes * 60.0 for shift in shifts],
        np.concatenate([np.zeros((crews, crews), dtype=bool), weighed.able], axis=1),
        seed=seed,
        rule=rule,
        pinned=(crews + np.flatnonzero(weighed.pinned)).tolist(),
    )


def _pins_not_walked(demand: Demand, reach: Reach, orders: list[list[int]], wanted: Wanted) -> list[PinLeftOut]:
    """The pinned joints that are on no walk although somebody could do them."""
    crews = len(orders)
    walked = {int(reach.weighed.columns["joint_id"][stop - crews]) for order in orders for stop in order}
    full = "it does not fit into the shift with what else is pinned"
    return [
        PinLeftOut(wanted.pinned[joint_id], f"no walk reaches it: {reach.reasons.get(joint_id)}")
        if joint_id in reach.reasons
        else PinLeftOut(wanted.pinned[joint_id], full)
        for joint_id in demand.columns["joint_id"][demand.pinned].tolist()
        if joint_id not in walked
    ]


def _route(
    demand: Demand,
    reach: Reach,
    orders: list[list[int]],
    crew: int,
    walker: Walker,
    shift: CrewShift,
    walk_on: date,
) -> Route:
    weighed, crews = reach.weighed, len(orders)
    joint_id, minutes = weighed.columns["joint_id"], weighed.columns["check_minutes"]
    visits = [
        Visit(stop, int(joint_id[at]), float(minutes[at]), bool(weighed.pinned[at]))
        for stop, at in ((stop, stop - crews) for stop in orders[crew])
    ]
    stops, back = walk_of(reach.walks, crew, visits)
    others = [joint_id[stop - crews] for other, order in enumerate(orders) if other != crew for stop in order]
    own = [joint_id[stop - crews] for stop in orders[crew]]
    listed = demand.listed[crew] | np.isin(demand.columns["joint_id"], own)
    theirs = listed & np.isin(demand.columns["joint_id"], others)
    walking = sum(stop.walking_minutes for stop in (*stops, back))
    return Route(
        route_id=0,
        walk_on=walk_on,
        crew=walker.name,
        area=None,
        start_gate=shift.start_gate or "",
        shift_minutes=shift.shift_minutes,
        walking_minutes=walking,
        working_minutes=sum(stop.working_minutes for stop in stops),
        considered=int((listed & ~theirs).sum()),
        unreachable=reach.unreachable[crew],
        weighed=int(weighed.able[crew].sum()),
        waiting_for_outage=demand.waiting_for_outage[crew],
        source=demand.sources[crew],
        stops=stops,
        back=back,
        best_walking_minutes=walking,
        tools=walker.tools,
        lacking_tools=demand.lacking_tools[crew],
        without_tools=int((demand.listed[crew] & ~demand.able[crew]).sum()),
    )


def _kept(connection: Connection, route: Route, area_id: int | None) -> int:
    return store.add_route(
        connection,
        walk_on=route.walk_on,
        crew=route.crew,
        area_id=area_id,
        start_gate=route.start_gate,
        shift_minutes=route.shift_minutes,
        considered=route.considered,
        unreachable=route.unreachable,
        tools=route.tools,
        best_walking_minutes=route.best_walking_minutes,
        stops=[*route.stops, route.back],
    )


def _told(out: Sequence[PinLeftOut]) -> str:
    return "".join(f"; {pin.tag}: {pin.reason}" for pin in out)
