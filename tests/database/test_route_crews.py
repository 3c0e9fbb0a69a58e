"""Several crews' walks made at once: shared out by what each may check and which tools it holds; pins."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from registry.crews.model import CrewRequest, OutageRequest
from registry.crews.service import add_crew, add_outage
from registry.db import Connection
from registry.planning.model import PlanRequest
from registry.planning.service import make_plan
from registry.routes.model import CrewShift, NothingToWalk, Route, RouteRefused
from registry.routes.service import make_routes, route_with_stops, unreachable_joints
from registry.routes.store import list_tags
from tests.database.walked_site import QUICK, WALK_ON, fill_walked_site

DAYS = (240.0,) * 5 + (0.0, 0.0)
ONE, TWO = CrewShift("Crew 1", 90.0, "West gate"), CrewShift("Crew 2", 120.0, "East gate")


@pytest.fixture
def plant(connection: Connection) -> Connection:
    """A small plant to walk."""
    fill_walked_site(connection)
    return connection


def made(connection: Connection, *shifts: CrewShift, walk_on: date = WALK_ON, **wanted: object) -> list[Route]:
    return make_routes(connection, walk_on, shifts or [ONE, TWO], None, 1, rule=QUICK, **wanted)  # type: ignore[arg-type]  # as given


def tags_of(connection: Connection, route: Route) -> set[str]:
    return set(list_tags(connection, [stop.joint_id for stop in route.stops if stop.joint_id is not None]).values())


def test_two_crews_share_the_stops_out_each_from_its_gate_within_its_shift(plant: Connection) -> None:
    first, second = made(plant)
    assert (first.start_gate, second.start_gate) == ("West gate", "East gate")
    assert first.stops[0].leg[:2] == [0, 5]
    assert second.back.leg[-3:-1] == [200, 5]
    for route, minutes in ((first, 90), (second, 120)):
        assert route.walking_minutes + route.working_minutes <= minutes
        assert len(route.stops) > 5
        assert route_with_stops(plant, route.route_id)[0].crew == route.crew
    assert not tags_of(plant, first) & tags_of(plant, second)
    # What one took is not counted as left out by the other.
    assert first.considered == 57 - len(second.stops)
    again = made(plant)
    assert [route.stops for route in again] == [first.stops, second.stops]


def test_crews_of_the_list_get_what_they_may_check(plant: Connection) -> None:
    add_crew(plant, CrewRequest("Flange crew", DAYS, ("flanged",)))
    add_crew(plant, CrewRequest("Fitting crew", DAYS, ("twin_ferrule",)))
    flange, fitting = made(plant, replace(ONE, crew="flange  CREW"), replace(TWO, crew="Fitting crew"))
    assert (flange.crew, fitting.crew) == ("Flange crew", "Fitting crew")
    for route, family in ((flange, "flanged"), (fitting, "twin_ferrule")):
        assert {stop.family for stop in route_with_stops(plant, route.route_id)[1][:-1]} == {family}


def test_a_crew_of_the_list_walks_first_to_what_the_plan_has_for_it(plant: Connection) -> None:
    monday = WALK_ON - timedelta(days=WALK_ON.weekday())
    one, _ = (add_crew(plant, CrewRequest(name, (36.0,) * 5 + (0.0, 0.0))) for name in ("Crew 1", "Crew 2"))
    make_plan(plant, PlanRequest(monday, 8), monday, "P. Planner")
    # A permit takes a week, so that the next is the first that holds checks.
    walked = made(plant, walk_on=WALK_ON + timedelta(weeks=1))
    planned = plant.execute(
        "SELECT joint_id, crew_id FROM planned_check WHERE week_starting_on = %s", [monday + timedelta(weeks=1)]
    ).fetchall()
    crew_of = {int(joint_id): int(crew_id) for joint_id, crew_id in planned}
    for route in walked:
        assert route.source == f"what the plan has for {route.crew} in the week of 2026-11-30"
        own = {crew_of[stop.joint_id] == one.crew_id for stop in route.stops if stop.joint_id is not None}
        assert own == {route.crew == "Crew 1"}


def test_what_needs_a_tool_that_nobody_holds_is_left_out_and_counted_by_tool(plant: Connection) -> None:
    everything = made(plant, ONE)[0]
    assert (everything.tools, everything.lacking_tools) == (None, {})
    plant.execute(
        "UPDATE score SET due_reason = 2 WHERE family_id = 1 AND joint_id IN"
        " (SELECT joint_id FROM joint WHERE tag < 'J-30')"
    )
    retightening = plant.execute("SELECT count(*) FROM score WHERE due_reason = 2").fetchone()
    assert retightening is not None
    # One of them lies inside the hut: no walk reaches it, but it is due.
    route = made(plant, replace(ONE, tools=("leak_detector",)))[0]
    assert route.lacking_tools == {"torque_wrench": retightening[0]}
    assert route.without_tools == retightening[0]
    reasons = {stop.due_reason for stop in route_with_stops(plant, route.route_id)[1][:-1]}
    assert 2 not in reasons
    assert route_with_stops(plant, route.route_id)[0].tools == ["leak_detector"]
    with_both = made(plant, replace(ONE, tools=("leak_detector", "torque_wrench")))[0]
    assert with_both.lacking_tools == {}
    with pytest.raises(NothingToWalk, match="the tools held"):
        made(plant, replace(ONE, tools=("gap_gauge",)))
    with pytest.raises(RouteRefused, match="no tool 'torqe_wrench': known are gap_gauge, leak_detector, torque_wrench"):
        made(plant, replace(ONE, tools=("torqe_wrench",)))


def test_a_pinned_joint_is_walked_to_or_it_is_said_why_not(plant: Connection) -> None:
    # Not due for years, and worth next to nothing.
    plant.execute(
        "UPDATE score SET due_on = '2030-01-01', risk_now = 0 WHERE joint_id ="
        " (SELECT joint_id FROM joint WHERE tag = 'J-20')"
    )
    first, second = made(plant, pinned_tags=["J-20", "J-00", "J-57"], left_out_tags=["J-10", "J-11"])
    walked = tags_of(plant, first) | tags_of(plant, second)
    assert "J-20" in walked
    assert not walked & {"J-00", "J-57", "J-10", "J-11"}
    pinned = [stop for route in (first, second) for stop in route.stops if stop.pinned]
    assert list(list_tags(plant, [pinned[0].joint_id or 0]).values()) == ["J-20"]
    assert len(pinned) == 1
    out = {pin.tag: pin.reason for pin in first.pins_left_out}
    assert out["J-00"] == "no walk reaches it: inside an obstacle that nobody can enter"
    assert out["J-57"] == "it needs an outage, and there is none that day"
    elsewhere = made(plant, CrewShift("Crew 3", 30.0), pinned_tags=["J-20"])[0]
    assert elsewhere.pins_left_out[0].reason.startswith("it is on route ")
    with pytest.raises(RouteRefused, match="no joint has the tag 'J-99'"):
        made(plant, pinned_tags=["J-99"])
    with pytest.raises(RouteRefused, match="pinned and left out"):
        made(plant, pinned_tags=["J-20"], left_out_tags=["J-20"])


def test_more_pins_than_a_shift_holds_leave_it_full_of_pins(plant: Connection) -> None:
    pins = [f"J-{number}" for number in range(10, 50)]
    route = made(plant, CrewShift("Crew 1", 60.0), pinned_tags=pins)[0]
    assert all(stop.pinned for stop in route.stops)
    assert len(route.stops) + len(route.pins_left_out) == len(pins)
    assert {pin.reason for pin in route.pins_left_out} == {"it does not fit into the shift with what else is pinned"}


def test_what_needs_an_outage_is_walked_to_while_there_is_one(plant: Connection) -> None:
    add_outage(plant, OutageRequest("Overhaul", WALK_ON - timedelta(days=2), WALK_ON + timedelta(days=2)))
    route = made(plant, replace(ONE, shift_minutes=480.0))[0]
    assert route.waiting_for_outage == 0
    assert {"J-57", "J-58", "J-59"} <= tags_of(plant, route)


def test_a_walk_of_another_day_keeps_its_joints_until_it_is_past(plant: Connection) -> None:
    tomorrow = made(plant, ONE, walk_on=WALK_ON + timedelta(days=1))[0]
    now = made(plant, ONE, today=WALK_ON)[0]
    assert not tags_of(plant, now) & tags_of(plant, tomorrow)
    past = made(plant, ONE, today=WALK_ON + timedelta(days=2))[0]
    assert tags_of(plant, past) & tags_of(plant, tomorrow)


def test_a_crew_for_which_nothing_is_left_has_no_route(plant: Connection) -> None:
    walked = made(
        plant,
        replace(ONE, shift_minutes=600.0),
        replace(TWO, crew="Far crew", shift_minutes=15.0, start_gate="East gate"),
    )
    assert [route.crew for route in walked] in (["Crew 1"], ["Crew 1", "Far crew"])
    with pytest.raises(RouteRefused, match="each crew walks once"):
        made(plant, ONE, replace(ONE, crew="crew  1"))
    with pytest.raises(RouteRefused, match="1 to 12 crews"):
        make_routes(plant, WALK_ON, [], None, 1)


def test_the_joints_that_no_walk_reaches_are_named(plant: Connection) -> None:
    found = unreachable_joints(plant, None, None)
    assert [joint.tag for joint in found] == ["J-00", "J-01"]
    assert {joint.reason for joint in found} == {"inside an obstacle that nobody can enter"}
    assert found[0].field != "off plan"
    assert unreachable_joints(plant, "East gate", "20") == []
