"""A route from what is due: stored, the same every time, through no obstacle, with what was recorded at its stops."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from uuid import UUID

import numpy as np
import pytest
from shapely import LineString

from registry.checks.model import CheckReport
from registry.checks.service import record_result
from registry.crews.model import CrewRequest
from registry.crews.service import add_crew
from registry.db import Connection
from registry.intervals.service import NotScored, score_plant
from registry.joints.store import add_new_families, add_new_services
from registry.planning.model import PlanRequest
from registry.planning.service import make_plan
from registry.plant.model import AreaUnknown, PlanMissing
from registry.plant.service import import_plan_file
from registry.policy.service import publish_first
from registry.routes import store
from registry.routes.model import GateUnknown, NothingToWalk, Route, RouteRefused, RouteUnknown
from registry.routes.service import make_route, route_with_stops, start_names
from tests.database.small_site import number
from tests.database.walked_site import HUT, PLAN, QUICK, WALK_ON, fill_walked_site, plan_bytes


@pytest.fixture
def plant(connection: Connection) -> Connection:
    """A small plant to walk."""
    fill_walked_site(connection)
    return connection


def made(
    connection: Connection,
    crew: str = "Crew 1",
    area: str | None = None,
    gate: str | None = "West gate",
    walk_on: date = WALK_ON,
) -> Route:
    return make_route(connection, walk_on, crew, area, 240.0, gate, 1, rule=QUICK)


def legs(connection: Connection, route: Route) -> Iterator[np.ndarray]:
    for stop in route_with_stops(connection, route.route_id)[1]:
        yield np.array(stop.leg).reshape(-1, 3)


def test_a_route_is_stored_as_it_was_made(plant: Connection) -> None:
    route = made(plant)
    kept, stops = route_with_stops(plant, route.route_id)
    assert (kept.crew, kept.walk_on, kept.start_gate, kept.shift_minutes) == ("Crew 1", WALK_ON, "West gate", 240)
    assert kept.walking_minutes == pytest.approx(route.walking_minutes)
    assert (kept.considered, kept.unreachable, kept.stops, kept.recorded) == (57, 2, len(route.stops), 0)
    assert route.waiting_for_outage == 3
    assert route.left_out == 57 - 2 - len(route.stops)
    assert [stop.position for stop in stops] == [*range(1, len(route.stops) + 1), 0]
    assert [stop.joint_id for stop in stops[:-1]] == [stop.joint_id for stop in route.stops]
    assert kept.walking_minutes + kept.working_minutes <= 240
    assert kept.walking_minutes == pytest.approx(sum(stop.walking_minutes for stop in stops))
    assert all(stop.tag and stop.family and stop.due_reason is not None for stop in stops[:-1])
    assert not {"J-00", "J-01", "J-57", "J-58", "J-59"} & {stop.tag for stop in stops}


def test_the_same_input_gives_the_same_route(plant: Connection) -> None:
    one, two = made(plant), made(plant)
    assert one.route_id != two.route_id
    assert one.stops == two.stops
    assert one.back == two.back


def test_the_walk_is_unbroken_from_the_gate_and_back_and_goes_through_no_obstacle(plant: Connection) -> None:
    route = made(plant)
    walked = list(legs(plant, route))
    assert walked[0][0].tolist() == [0, 5, 0]
    assert walked[-1][-1].tolist() == [0, 5, 0]
    for before, after in pairwise(walked):
        assert before[-1].tolist() == after[0].tolist()
    assert any(leg[:, 2].max() == 5.5 for leg in walked)
    for leg in walked:
        assert LineString(leg[:, :2]).intersection(HUT.buffer(-0.02)).length < 1e-6


def test_an_area_and_another_gate_may_be_chosen(plant: Connection) -> None:
    route = made(plant, area="yard", gate="east gate")
    assert (route.area, route.start_gate) == ("20 Yard", "East gate")
    _, stops = route_with_stops(plant, route.route_id)
    assert {stop.area for stop in stops[:-1]} == {"20 Yard"}
    assert next(legs(plant, route))[0].tolist() == [200, 5, 0]


def test_two_crews_on_one_day_share_no_joint(plant: Connection) -> None:
    first, second = made(plant), made(plant, crew="Crew 2")
    assert not {stop.joint_id for stop in first.stops} & {stop.joint_id for stop in second.stops}
    assert second.considered == first.considered - len(first.stops)


def plan_weeks(connection: Connection, monday: date, weeks: int, hours: float) -> None:
    """A plan as made on its first day, for one crew of so many hours a week."""
    add_crew(connection, CrewRequest("Planned crew", (hours * 12.0,) * 5 + (0.0, 0.0)))
    make_plan(connection, PlanRequest(monday, weeks), monday, "P. Planner")


def test_a_plan_says_what_is_walked_in_its_week_and_what_was_checked_since_is_not(plant: Connection) -> None:
    monday = WALK_ON - timedelta(days=WALK_ON.weekday())
    plan_weeks(plant, monday, 8, 3.0)
    # A permit takes a week, so that the first one that holds checks is the next.
    monday += timedelta(weeks=1)
    planned = {
        row[0]
        for row in plant.execute(
            "SELECT joint_id FROM planned_check WHERE week_starting_on = %s AND occurrence = 0", [monday]
        ).fetchall()
    }
    route = made(plant, walk_on=WALK_ON + timedelta(weeks=1))
    assert route.source == f"the plan for the week of {monday}"
    assert {stop.joint_id for stop in route.stops} <= planned
    assert route.considered + route.waiting_for_outage == len(planned)
    # The plan is of this moment, so a check of now comes after it.
    report = CheckReport(
        joint_id=route.stops[0].joint_id,
        observed_at=datetime.now(UTC) + timedelta(seconds=5),
        result="tight",
        client_uuid=UUID(int=1),
    )
    assert number(plant, "SELECT count(*) FROM plan_run WHERE site_id = current_site()") == 1
    plant.execute("UPDATE plan_run SET recorded_at = now() - interval '1 day' WHERE site_id = current_site()")
    record_result(plant, report, datetime.now(UTC).date())
    again = made(plant, walk_on=WALK_ON + timedelta(weeks=1))
    assert route.stops[0].joint_id not in {stop.joint_id for stop in again.stops}
    assert again.considered == route.considered - 1


def test_a_week_that_no_plan_covers_is_walked_from_the_due_list(plant: Connection) -> None:
    plan_weeks(plant, WALK_ON - timedelta(days=WALK_ON.weekday() + 28), 1, 1.0)
    route = made(plant)
    assert route.source == "the due list to 2026-11-29"
    assert route.considered == 57


def test_stops_show_what_was_recorded_at_them_on_this_route(plant: Connection) -> None:
    route = made(plant)
    first, second = route.stops[:2]
    for turn, (joint_id, result, route_id) in enumerate(
        [(first.joint_id, "not_reached", route.route_id), (first.joint_id, "weeping", route.route_id),
         (second.joint_id, "tight", None)]
    ):  # fmt: skip
        report = CheckReport(
            joint_id=joint_id,
            observed_at=datetime(2026, 11, 26, 8 + turn, tzinfo=UTC),
            result=result,  # type: ignore[arg-type]  # a tuple of texts
            client_uuid=UUID(int=turn + 1),
            checked_by="C. Checker",
            route_id=route_id,
        )
        record_result(plant, report, WALK_ON)
    kept, stops = route_with_stops(plant, route.route_id)
    assert (stops[0].result, stops[0].checked_by) == ("weeping", "C. Checker")
    assert stops[1].result is None
    assert kept.recorded == 1


def test_routes_are_listed_newest_first_and_page_by_page(plant: Connection) -> None:
    numbers = [made(plant, area=area).route_id for area in (None, "10", "20")]
    listed = store.list_routes(plant, 10)
    assert [route.route_id for route in listed] == numbers[::-1]
    page = store.list_routes(plant, 10, after=(listed[0].walk_on, listed[0].route_id))
    assert [route.route_id for route in page] == numbers[1::-1]
    assert store.list_routes(plant, 10, crew="Nobody") == []


def test_what_cannot_be_walked_is_refused_with_what_can(plant: Connection) -> None:
    with pytest.raises(GateUnknown, match="West gate, East gate"):
        made(plant, gate="South gate")
    with pytest.raises(AreaUnknown, match="10 Hall, 20 Yard"):
        made(plant, area="30 Jetty")
    with pytest.raises(RouteRefused, match="name of a crew"):
        made(plant, crew="  ")
    with pytest.raises(RouteRefused, match="15 to 1440 minutes"):
        make_route(plant, WALK_ON, "Crew 1", None, 5.0, None, 1)
    with pytest.raises(RouteRefused, match="15 to 1440 minutes"):
        make_route(plant, WALK_ON, "Crew 1", None, float("nan"), None, 1)
    with pytest.raises(RouteUnknown):
        route_with_stops(plant, 999_999)
    with pytest.raises(NothingToWalk, match="the due list"):
        make_route(plant, date(2020, 1, 1), "Crew 1", None, 240.0, None, 1)


def test_a_site_without_scores_or_without_a_plan_says_so(connection: Connection) -> None:
    publish_first(connection)
    with pytest.raises(NotScored):
        made(connection)
    add_new_families(connection)
    add_new_services(connection)
    score_plant(connection, WALK_ON)
    with pytest.raises(PlanMissing):
        made(connection)


def test_a_plan_without_gates_is_entered_at_its_south_western_walkway_end(plant: Connection) -> None:
    import_plan_file(plant, plan_bytes(*(part for part in PLAN if part["properties"]["kind"] != "gate")), "no gates")
    (start,) = start_names(plant)
    assert start.startswith("walkway end ")
    route = made(plant, gate=None)
    assert route.start_gate == start
    assert next(legs(plant, route))[0].tolist() == [0, 5, 0]
    assert made(plant, gate=start).stops == route.stops


def test_a_plan_without_walkways_is_walked_over_clear_ground(plant: Connection) -> None:
    bare = [part for part in PLAN if part["properties"]["kind"] in ("area", "gate", "obstacle")]
    import_plan_file(plant, plan_bytes(*bare), "bare")
    route = made(plant)
    assert route.unreachable == 2
    assert len(route.stops) > 5
    for leg in legs(plant, route):
        assert LineString(leg[:, :2]).intersection(HUT.buffer(-0.02)).length < 1e-6
