"""A route changed by hand: legs and totals anew, what it costs, what is refused, and nothing of a preview kept."""

from datetime import UTC, datetime
from itertools import pairwise, permutations
from uuid import UUID

import pytest

from registry.checks.model import CheckReport, StopUnknown
from registry.checks.service import joint_at_stop, record_result
from registry.crews.model import CrewRequest
from registry.crews.service import add_crew
from registry.db import Connection
from registry.routes.mending_service import mend_route, preview_mend
from registry.routes.model import (
    BEST,
    CrewShift,
    Mended,
    Route,
    RouteChangedSince,
    RouteMend,
    RouteRefused,
    RouteUnknown,
    StopTaken,
)
from registry.routes.ordering import RoundRule
from registry.routes.service import make_routes, route_with_stops
from registry.routes.store import list_joint_ids, list_tags
from tests.database.walked_site import QUICK, WALK_ON, fill_walked_site

RULE = RoundRule(rounds=3, kicks_a_place=2)


@pytest.fixture
def plant(connection: Connection) -> Connection:
    """A small plant to walk."""
    fill_walked_site(connection)
    return connection


def route_of(connection: Connection, crew: str = "Crew 1", minutes: float = 70.0) -> Route:
    return make_routes(connection, WALK_ON, [CrewShift(crew, minutes, "West gate")], None, 1, rule=QUICK)[0]


def joints(route: Route | Mended) -> list[int]:
    return [stop.joint_id for stop in route.stops if stop.joint_id is not None]


def mended(connection: Connection, route: Route, mend: RouteMend, revision: int | None = None) -> Mended:
    return mend_route(connection, route.route_id, revision, mend, rule=RULE)


def joint(connection: Connection, tag: str) -> int:
    return list_joint_ids(connection, [tag])[tag]


def free_joint(connection: Connection, route: Route) -> int:
    """A joint that is on no route and can be walked to."""
    row = connection.execute(
        "SELECT joint_id FROM joint WHERE tag BETWEEN 'J-02' AND 'J-56' AND joint_id NOT IN"
        " (SELECT joint_id FROM route_stop WHERE joint_id IS NOT NULL) ORDER BY joint_id LIMIT 1"
    ).fetchone()
    assert row is not None
    assert row[0] not in joints(route)
    return int(row[0])


def test_a_dropped_and_an_added_stop_change_legs_and_totals(plant: Connection) -> None:
    route = route_of(plant)
    new, old = free_joint(plant, route), joints(route)[2]
    done = mended(plant, route, RouteMend(drop=(old,), add=(new,)), 1)
    assert done.revision == 2
    assert set(joints(done)) == set(joints(route)) - {old} | {new}
    kept = [joint_id for joint_id in joints(done) if joint_id != new]
    assert kept == [joint_id for joint_id in joints(route) if joint_id != old]
    summary, stops = route_with_stops(plant, route.route_id)
    assert [stop.joint_id for stop in stops[:-1]] == joints(done)
    assert summary.revision == 2
    assert summary.walking_minutes == pytest.approx(done.walking_minutes)
    assert summary.walking_minutes == pytest.approx(sum(stop.walking_minutes for stop in stops))
    assert summary.working_minutes == pytest.approx(sum(stop.working_minutes for stop in stops))
    assert summary.best_walking_minutes == pytest.approx(done.best_walking_minutes)
    for before, after in pairwise(stops):
        assert before.leg[-3:] == after.leg[:3]


def test_an_order_by_hand_is_kept_and_its_cost_is_said(plant: Connection) -> None:
    route = route_of(plant)
    turned = tuple(joints(route)[1::2] + joints(route)[::2])
    done = mended(plant, route, RouteMend(order=turned))
    assert tuple(joints(done)) == turned
    assert done.order_costs_minutes > 0.5
    assert done.added_minutes == pytest.approx(done.walking_minutes - done.walking_minutes_before)
    assert route_with_stops(plant, route.route_id)[0].order_costs_minutes == pytest.approx(done.order_costs_minutes)
    back = mended(plant, route, RouteMend(order=BEST), 2)
    # As made, no matter which other joints were looked at then.
    assert back.walking_minutes <= route.walking_minutes + 1e-6
    assert done.walking_minutes_before == pytest.approx(route.walking_minutes)
    assert back.order_costs_minutes == pytest.approx(0, abs=1e-3)


def test_the_best_order_leaves_pinned_and_checked_stops_where_they_are(plant: Connection) -> None:
    route = route_of(plant, minutes=50.0)
    turned = joints(route)[::2] + joints(route)[1::2]
    mended(plant, route, RouteMend(order=tuple(turned), pin=(turned[1],)))
    report = CheckReport(
        joint_id=turned[3],
        observed_at=datetime(2026, 11, 26, 8, tzinfo=UTC),
        result="not_reached",
        client_uuid=UUID(int=1),
        route_id=route.route_id,
    )
    record_result(plant, report, WALK_ON)
    best = mended(plant, route, RouteMend(order=BEST))
    assert (joints(best)[1], joints(best)[3]) == (turned[1], turned[3])
    assert best.walking_minutes <= best.walking_minutes_before
    assert best.walking_minutes >= best.best_walking_minutes
    assert [stop.pinned for stop in best.stops].index(True) == 1
    with pytest.raises(RouteRefused, match="has a result on this route, so it stays"):
        mended(plant, route, RouteMend(drop=(turned[3],)))
    free = mended(plant, route, RouteMend(order=BEST, unpin=(turned[1],)))
    assert free.walking_minutes <= best.walking_minutes
    # Every order of what is left free, looked at.
    small = mended(plant, route, RouteMend(drop=tuple(joints(free)[5:]))) if turned[3] in joints(free)[:5] else None
    if small is not None:
        at = joints(small).index(turned[3])
        found = preview_mend(plant, route.route_id, RouteMend(order=BEST), rule=RULE).walking_minutes
        others = [joint_id for joint_id in joints(small) if joint_id != turned[3]]
        for order in permutations(others):
            tried = (*order[:at], turned[3], *order[at:])
            assert (
                preview_mend(plant, route.route_id, RouteMend(order=tried), rule=RULE).walking_minutes >= found - 1e-3
            )


def test_a_preview_says_the_same_and_keeps_nothing(plant: Connection) -> None:
    route = route_of(plant)
    before = route_with_stops(plant, route.route_id)
    mend = RouteMend(drop=(joints(route)[0],))
    seen = preview_mend(plant, route.route_id, mend, rule=RULE)
    assert route_with_stops(plant, route.route_id) == before
    done = mended(plant, route, mend)
    assert (done.stops, done.back, done.walking_minutes) == (seen.stops, seen.back, seen.walking_minutes)


def test_a_walk_over_its_shift_is_kept_and_said(plant: Connection) -> None:
    route = route_of(plant)
    others = [joint(plant, f"J-{number}") for number in range(10, 57)]
    add = tuple(joint_id for joint_id in others if joint_id not in joints(route))
    done = mended(plant, route, RouteMend(add=add))
    assert done.overrun_minutes == pytest.approx(done.walking_minutes + done.working_minutes - 70)
    assert done.overrun_minutes > 30
    assert route_with_stops(plant, route.route_id)[0].overrun_minutes == pytest.approx(done.overrun_minutes)


def test_what_cannot_be_is_refused_and_changes_nothing(plant: Connection) -> None:
    add_crew(plant, CrewRequest("Crew 1", (60.0,) * 7, ("flanged",)))
    route, other = route_of(plant), route_of(plant, "Crew 2")
    before = route_with_stops(plant, route.route_id)
    mine = joints(route)
    fitting = plant.execute(
        "SELECT j.joint_id FROM joint j WHERE j.family_id = 3 AND j.tag BETWEEN 'J-02' AND 'J-56' AND j.joint_id NOT IN"
        " (SELECT joint_id FROM route_stop WHERE joint_id IS NOT NULL) LIMIT 1"
    ).fetchone()
    assert fitting is not None
    for mend, said in (
        (RouteMend(drop=(joint(plant, "J-57"),)), "J-57: is not on this route"),
        (RouteMend(drop=(999_999,)), "there is no such joint"),
        (RouteMend(add=(mine[0],)), "is on this route already"),
        (RouteMend(drop=tuple(mine)), "a route needs a stop"),
        (RouteMend(pin=(joint(plant, "J-57"),)), "is not on this route"),
        (RouteMend(pin=(mine[0],), unpin=(mine[0],)), "is pinned and let go at once"),
        (RouteMend(order=tuple(mine[1:])), "is missing: an order names every stop"),
        (RouteMend(order=(*mine, mine[0])), "is named twice"),
        (RouteMend(add=(joint(plant, "J-00"),)), "J-00: no walk reaches it: inside an obstacle"),
        (RouteMend(add=(joint(plant, "J-57"),)), "J-57: needs an outage"),
        (RouteMend(add=(fitting[0],)), "of the family twin_ferrule, which Crew 1 may not check"),
    ):
        with pytest.raises(RouteRefused, match=said):
            mended(plant, route, mend)
    with pytest.raises(StopTaken, match=f"on route {other.route_id} of Crew 2 that day"):
        mended(plant, route, RouteMend(add=(joints(other)[0],)))
    with pytest.raises(RouteChangedSince, match="at revision 1 now"):
        mended(plant, route, RouteMend(drop=(mine[0],)), 7)
    with pytest.raises(RouteUnknown):
        mend_route(plant, 999_999, None, RouteMend())
    assert route_with_stops(plant, route.route_id) == before


def test_a_result_goes_to_the_joint_that_was_seen_although_the_route_was_mended_since(plant: Connection) -> None:
    route = route_of(plant)
    first, second, third = joints(route)[:3]
    mended(plant, route, RouteMend(drop=(first,)))
    assert joint_at_stop(plant, route.route_id, 2) == third
    assert joint_at_stop(plant, route.route_id, 2, seen=second) == second
    tags = list_tags(plant, [first, second])
    assert joint_at_stop(plant, route.route_id, 2, seen_tag=tags[second]) == second
    with pytest.raises(StopUnknown, match="look at the route again"):
        joint_at_stop(plant, route.route_id, 1, seen_tag=tags[first])
