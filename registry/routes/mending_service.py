"""Routes changed by hand: stops dropped, added, pinned and put in another order, and what that costs in walking."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.crews.service import crew_by_name
from registry.db import Connection
from registry.errors import Issue
from registry.intervals.service import current_run
from registry.plant.service import current_plan
from registry.plant.walking_lines import Integers
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.demand_service import shut_down_on
from registry.routes.distances import Walks, walks_between
from registry.routes.hanging import REASONS, hung, mainland_from
from registry.routes.keeping import shortest_around
from registry.routes.legs import Visit, walk_of
from registry.routes.model import (
    BEST,
    Mended,
    RouteChangedSince,
    RouteMend,
    RouteRefused,
    RouteSummary,
    StopOnSheet,
    StopTaken,
)
from registry.routes.ordering import RoundRule, as_short
from registry.routes.reaching import CUT_OFF
from registry.routes.service import gate_named, route_with_stops
from registry.routes.walkways import walking_ground

_SEED = 1


def mend_route(
    connection: Connection, route_id: int, revision: int | None, mend: RouteMend, *, rule: RoundRule | None = None
) -> Mended:
    """Change a route by hand if it is still at the revision that was seen (None: whatever it is at).

    Legs and totals are worked out anew. A stop with a result of this route stays on it. A walk longer than its shift is
    kept; `overrun_minutes` says by how much.

    Raises RouteUnknown, RouteRefused with an issue for every joint that cannot be dropped, added, pinned or ordered,
    StopTaken for one that another crew walks to that day, or RouteChangedSince.
    """
    # A change of what somebody changed in between is no fault of its joints, so this comes first.
    seen = route_with_stops(connection, route_id)[0].revision
    if revision is not None and revision != seen:
        raise _changed(route_id, seen)
    mended = _mended(connection, route_id, mend, rule)
    saved = store.save_route(connection, route_id, seen, mended.best_walking_minutes, [*mended.stops, mended.back])
    if saved is None:
        raise _changed(route_id, None)
    return replace(mended, revision=saved)


def preview_mend(connection: Connection, route_id: int, mend: RouteMend, *, rule: RoundRule | None = None) -> Mended:
    """What a change by hand would make of a route; nothing is written. Raises as `mend_route`."""
    return _mended(connection, route_id, mend, rule)


@dataclass(frozen=True, slots=True)
class _Stop:
    """A stop of the route, or one to be added."""

    joint_id: int
    tag: str
    at: tuple[float, float, float | None]
    working_minutes: float
    done: bool


def _mended(connection: Connection, route_id: int, mend: RouteMend, rule: RoundRule | None) -> Mended:
    route, sheet = route_with_stops(connection, route_id)
    standing = [stop for stop in sheet if stop.joint_id is not None]
    stops = {stop.joint_id: stop for stop in map(_stop_of, standing)}
    _refuse(_faults(stops, mend, store.list_tags(connection, _named(mend))))
    stops |= {stop.joint_id: stop for stop in _added(connection, route, mend)}
    was_pinned = {stop.joint_id for stop in standing if stop.pinned and stop.joint_id is not None}
    pinned = (was_pinned | set(mend.pin)) - set(mend.unpin)
    places = {joint_id: place for place, joint_id in enumerate(stops, start=1)}
    walks = _walks(connection, route, stops, skipped=set(mend.drop))
    whole = _whole(walks)
    before = [places[joint_id] for stop in standing if (joint_id := stop.joint_id) is not None]
    order = _ordered(whole, stops, places, before, mend, pinned, rule)
    best = as_short(whole, order, seed=_SEED, rule=rule)
    joint_at = {place: joint_id for joint_id, place in places.items()}
    visits = [
        Visit(place, joint_at[place], stops[joint_at[place]].working_minutes, joint_at[place] in pinned)
        for place in order
    ]
    made, back = walk_of(walks, 0, visits)
    walking, walked_before = sum(stop.walking_minutes for stop in (*made, back)), _minutes(walks, before)
    return Mended(
        route_id=route_id,
        revision=route.revision,
        shift_minutes=route.shift_minutes,
        # Worked out as the new one is, so that they compare; what can no longer be walked is as it was recorded.
        walking_minutes_before=walked_before if np.isfinite(walked_before) else route.walking_minutes,
        working_minutes_before=route.working_minutes,
        walking_minutes=walking,
        working_minutes=sum(stop.working_minutes for stop in made),
        best_walking_minutes=min(walking, _minutes(walks, best)),
        stops=made,
        back=back,
    )


def _named(mend: RouteMend) -> list[int]:
    order = mend.order if isinstance(mend.order, tuple) else ()
    return sorted({*order, *mend.drop, *mend.add, *mend.pin, *mend.unpin})


def _stop_of(stop: StopOnSheet) -> _Stop:
    assert stop.joint_id is not None, "the way back is no stop"
    assert stop.east_m is not None, "a joint has a place"
    assert stop.north_m is not None, "a joint has a place"
    at = (stop.east_m, stop.north_m, stop.elevation_m)
    return _Stop(stop.joint_id, stop.tag or "", at, stop.working_minutes, stop.result is not None)


def _faults(stops: dict[int, _Stop], mend: RouteMend, tags: dict[int, str]) -> list[Issue]:
    """What is wrong with a change whatever the joints are."""

    def issue(what: str, joint_id: int, reason: str) -> Issue:
        return Issue(None, what, tags.get(joint_id, str(joint_id)), reason)

    faults = [issue("joint", joint_id, "there is no such joint") for joint_id in _named(mend) if joint_id not in tags]
    for joint_id in mend.drop:
        if joint_id not in stops:
            faults.append(issue("drop", joint_id, "is not on this route"))
        elif stops[joint_id].done:
            faults.append(issue("drop", joint_id, "has a result on this route, so it stays"))
    faults += [issue("add", joint_id, "is on this route already") for joint_id in mend.add if joint_id in stops]
    left = (set(stops) - set(mend.drop)) | set(mend.add)
    if not left and not faults:
        faults.append(Issue(None, "drop", None, "a route needs a stop"))
    faults += [issue("pin", joint_id, "is not on this route") for joint_id in mend.pin if joint_id not in left]
    faults += [issue("unpin", joint_id, "is not on this route") for joint_id in mend.unpin if joint_id not in left]
    faults += [issue("pin", joint_id, "is pinned and let go at once") for joint_id in set(mend.pin) & set(mend.unpin)]
    if isinstance(mend.order, tuple):
        faults += [issue("order", joint_id, "is not on this route") for joint_id in mend.order if joint_id not in left]
        missing = [joint_id for joint_id in stops | dict.fromkeys(mend.add) if joint_id in left - set(mend.order)]
        faults += [issue("order", joint_id, "is missing: an order names every stop") for joint_id in missing]
        twice = sorted({joint_id for joint_id in mend.order if mend.order.count(joint_id) > 1})
        faults += [issue("order", joint_id, "is named twice") for joint_id in twice]
    return faults


def _refuse(faults: Sequence[Issue]) -> None:
    if faults:
        told = "; ".join(f"{fault.value or 'the stops'}: {fault.reason}" for fault in faults)
        raise RouteRefused(f"the route was not changed: {told}", faults)


def _added(connection: Connection, route: RouteSummary, mend: RouteMend) -> list[_Stop]:
    """The stops to add. Raises StopTaken or RouteRefused for those that this crew cannot walk to that day."""
    wanted = list(dict.fromkeys(mend.add))
    if not wanted:
        return []
    current_run(connection)
    tags = store.list_tags(connection, wanted)
    for joint_id, (other, crew) in store.list_walkers(connection, wanted, route.walk_on, [route.crew.lower()]).items():
        raise StopTaken(f"{tags[joint_id]} is on route {other} of {crew} that day")
    columns, families = store.list_asked(connection, wanted), store.list_families(connection)
    row_of = {joint_id: row for row, joint_id in enumerate(columns["joint_id"].tolist())}
    waits = columns["requires_outage"] & ~shut_down_on(connection, route.walk_on).holds(columns["area_id"])
    crew = crew_by_name(connection, route.crew)
    faults: list[Issue] = []
    found: list[_Stop] = []
    for joint_id in wanted:
        row, tag = row_of.get(joint_id), tags[joint_id]
        if row is None:
            faults.append(Issue(None, "add", tag, "is not scored yet"))
            continue
        family = families[int(columns["family_id"][row])]
        if waits[row]:
            faults.append(Issue(None, "add", tag, "needs an outage, and there is none that day"))
        elif crew is not None and not crew.may_check(family):
            faults.append(Issue(None, "add", tag, f"is of the family {family}, which {crew.name} may not check"))
        else:
            east, north = (float(value) for value in columns["location"][row])
            at = (east, north, float(columns["elevation_m"][row]))
            found.append(_Stop(joint_id, tag, at, float(columns["check_minutes"][row]), done=False))
    _refuse(faults)
    return found


def _walks(connection: Connection, route: RouteSummary, stops: dict[int, _Stop], *, skipped: set[int]) -> Walks:
    """The walks between the start (0) and the stops on the present plan. Raises RouteRefused for a cut-off stop."""
    ground = walking_ground(current_plan(connection), current_policy(connection).walking)
    gate = gate_named(ground, route.start_gate)
    start = np.array([gate.east_m, gate.north_m, gate.elevation_m])
    floor = gate.elevation_m
    at = [(east, north, floor if up is None else up) for east, north, up in (stop.at for stop in stops.values())]
    points = np.concatenate([start[None, :], np.array(at, dtype=np.float64).reshape(-1, 3)])
    hanging = hung(ground, points, mainland_from(ground, start))
    walks = walks_between(ground, points, hanging)
    _refuse(
        [
            Issue(None, "joint", stop.tag, f"no walk reaches it: {REASONS[state] if state > 1 else CUT_OFF}")
            for stop, state, seconds in zip(
                stops.values(), hanging.state[1:].tolist(), walks.seconds[0, 1:].tolist(), strict=True
            )
            if not np.isfinite(seconds) and stop.joint_id not in skipped
        ]
    )
    return walks


def _ordered(
    whole: Integers,
    stops: dict[int, _Stop],
    places: dict[int, int],
    before: list[int],
    mend: RouteMend,
    pinned: set[int],
    rule: RoundRule | None,
) -> list[int]:
    """The places in the order that was asked for."""
    if isinstance(mend.order, tuple):
        return [places[joint_id] for joint_id in mend.order]
    dropped = {places[joint_id] for joint_id in mend.drop}
    order = [place for place in before if place not in dropped]
    for joint_id in dict.fromkeys(mend.add):
        order = _with(whole, order, places[joint_id])
    if mend.order != BEST:
        return order
    fixed = {places[stop.joint_id] for stop in stops.values() if stop.done or stop.joint_id in pinned}
    kept = {at for at, place in enumerate(order) if place in fixed}
    if not kept:
        return as_short(whole, order, seed=_SEED, rule=rule)
    return shortest_around(whole, order, kept, seed=_SEED)


def _with(whole: Integers, order: list[int], place: int) -> list[int]:
    """The order with a place put in where that costs the least walking."""
    way = np.array([0, *order, 0])
    extra = whole[way[:-1], place] + whole[place, way[1:]] - whole[way[:-1], way[1:]]
    at = int(extra.argmin())
    return [*order[:at], place, *order[at:]]


def _whole(walks: Walks) -> Integers:
    """Milliseconds, so that orders compare exactly; what cannot be reached is farther than any walk."""
    finite = np.isfinite(walks.seconds)
    far = 10 * float(walks.seconds[finite].sum()) + 1.0
    return np.rint(np.where(finite, walks.seconds, far) * 1000.0).astype(np.int64)


def _minutes(walks: Walks, order: list[int]) -> float:
    way = np.array([0, *order, 0])
    return float(walks.seconds[way[:-1], way[1:]].sum() / 60.0)


def _changed(route_id: int, revision: int | None) -> RouteChangedSince:
    now = "" if revision is None else f": it is at revision {revision} now"
    return RouteChangedSince(f"route {route_id} was changed in between{now}; look at it and change it again")
