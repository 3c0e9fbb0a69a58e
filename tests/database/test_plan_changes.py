"""What people change about a plan: bundles moved, kept and let go, routes, deferrals; shown before, and held after."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import psycopg
import pytest

from registry.crews.model import CrewRequest, OutageRequest
from registry.crews.service import add_crew, add_outage
from registry.db import Connection, Database
from registry.joints.model import JointUnknown
from registry.planning.changes import (
    BundleKey,
    BundleUnknown,
    CrewFull,
    DeferralRequest,
    DeferralUnfit,
    MoveRefused,
    MoveUnfit,
)
from registry.planning.deferral_service import defer, list_deferrals, preview_deferral
from registry.planning.model import Plan, PlannedCheck, PlanOvertaken, WeekUnknown
from registry.planning.moving_service import bundle_of_tag, let_go, move_bundle, preview_move
from registry.planning.reasons import Moved, Unplaced
from registry.planning.service import (
    checks_of_week,
    current_plan,
    list_moves,
    list_unplaced,
    summary,
    whole_plan,
)
from registry.policy.service import current_policy
from tests.conftest import new_site
from tests.database.planned_site import FLANGES, MONDAY, fill_planned_site, places, planned
from tests.database.small_site import AS_OF, number

WHY, WHO = "the crane is there", "P. Planner"


@pytest.fixture(scope="module")
def site(module_database: Database) -> tuple[Database, int, dict[str, int]]:
    """A planned site, filled and planned once; its crews by name."""
    site_id = new_site(module_database, "planned")
    with module_database.transaction(site_id) as connection:
        crews = fill_planned_site(connection, 300, hours=1.5)
        crews["Idle"] = add_crew(connection, CrewRequest("Idle", (60.0,) * 5 + (0.0, 0.0))).crew_id
        planned(connection)
    return module_database, site_id, crews


@pytest.fixture
def plant(site: tuple[Database, int, dict[str, int]]) -> Iterator[Connection]:
    """A transaction in that site, rolled back at the end."""
    with site[0].transaction(site[1]) as connection:
        yield connection
        connection.rollback()


@pytest.fixture
def crews(site: tuple[Database, int, dict[str, int]]) -> dict[str, int]:
    """The numbers of its crews by name."""
    return site[2]


def some_checks(connection: Connection, *, from_week: int = 3) -> tuple[BundleKey, list[PlannedCheck]]:
    """The next checks of one area, crew and week that need neither outage nor scaffold, where most of them are."""
    plan = current_plan(connection)
    found: dict[BundleKey, list[PlannedCheck]] = {}
    for check in whole_plan(connection, plan):
        late_enough = check.week_starting_on >= plan.starts_on + timedelta(weeks=from_week)
        if late_enough and not (check.occurrence or check.requires_outage or check.scaffold):
            key = BundleKey(plan.plan_run_id, check.week_starting_on, check.crew_id, check.area_id, 0)
            found.setdefault(key, []).append(check)
    key, checks = max(found.items(), key=lambda item: (len(item[1]), str(item[0])))
    return replace(key, joint_ids=tuple(check.joint_id for check in checks)), checks


def minutes_of(checks: list[PlannedCheck]) -> float:
    return sum(check.minutes for check in checks)


def cost_of(connection: Connection, plan: Plan) -> float:
    """What the plan of the tables costs, worked out anew from its checks: without moves from the plan before, and
    without what no plan can place."""
    weighing = current_policy(connection).planning
    rows = connection.execute(
        "SELECT week_starting_on, due_on, minutes, late_cost_per_week, early_cost_per_week, area_id, scaffold"
        " FROM planned_check WHERE plan_run_id = %s AND coalesce(unplaced_reason, %s) = %s",
        [plan.plan_run_id, Unplaced.NO_ROOM, Unplaced.NO_ROOM],
    ).fetchall()
    total, visits = 0.0, set[tuple[date, int, int]]()
    for week, due_on, minutes, late, early, area_id, scaffold in rows:
        due_week = max((due_on - plan.starts_on).days // 7, 0)
        if week is None:
            total += late * (plan.weeks - due_week + weighing.unplaced_weeks)
            total += weighing.unplaced_times_minutes * minutes
            total += weighing.scaffold_minutes if scaffold else weighing.visit_minutes
            continue
        weeks = (week - plan.starts_on).days // 7 - due_week
        total += late * weeks if weeks > 0 else early * -weeks
        visits.add((week, 0 if scaffold else area_id, scaffold))
    return total + sum(weighing.scaffold_minutes if visit[2] else weighing.visit_minutes for visit in visits)


def test_a_plan_costs_what_its_checks_say(plant: Connection) -> None:
    plan = current_plan(plant)
    assert plan.cost_minutes - plan.moved_minutes == pytest.approx(cost_of(plant, plan))
    assert plan.bound_minutes <= plan.cost_minutes * (1 + 1e-9)


def test_the_effect_shown_before_is_the_effect(plant: Connection, crews: dict[str, int]) -> None:
    plan, (key, checks) = current_plan(plant), some_checks(plant)
    before = places(plant)
    from_week = checks[0].week_starting_on
    to_week = from_week - timedelta(weeks=1)
    shown = preview_move(plant, key, to_week, crews["Idle"], AS_OF)
    assert places(plant) == before
    assert shown.refused == ()
    assert (shown.checks, shown.minutes) == (len(checks), pytest.approx(minutes_of(checks)))
    cost = cost_of(plant, plan)
    done = move_bundle(plant, key, to_week, crews["Idle"], WHY, WHO, AS_OF)
    assert done == shown
    assert cost_of(plant, plan) - cost == pytest.approx(shown.cost_added_minutes)
    assert current_plan(plant).cost_minutes - plan.cost_minutes == pytest.approx(shown.cost_added_minutes)
    assert shown.risk_added < 0
    moved = {check: place for check, place in places(plant).items() if place != before[check]}
    assert moved.keys() == {(check.joint_id, 0) for check in checks}
    assert set(moved.values()) == {(to_week, crews["Idle"])}
    moves = list_moves(plant, plan, reason=Moved.BY_HAND)
    assert {(move.note, move.moved_by, move.from_week, move.to_crew) for move in moves} == {
        (WHY, WHO, from_week, "Idle")
    }
    assert shown.planned_minutes_after == number(
        plant,
        "SELECT sum(minutes) FROM planned_check WHERE crew_id = %s AND week_starting_on = %s",
        crews["Idle"],
        to_week,
    )


def test_later_adds_risk_and_earlier_takes_it_away(plant: Connection) -> None:
    key, checks = some_checks(plant, from_week=4)
    week, crew_id = checks[0].week_starting_on, checks[0].crew_id
    later = preview_move(plant, key, week + timedelta(weeks=2), crew_id, AS_OF)
    sooner = preview_move(plant, key, week - timedelta(weeks=2), crew_id, AS_OF)
    assert later.risk_added > 0 > sooner.risk_added
    assert later.late_after >= later.late_before


def test_what_a_person_put_somewhere_stays_in_later_plans_until_it_is_let_go(
    plant: Connection, crews: dict[str, int]
) -> None:
    key, checks = some_checks(plant, from_week=5)
    joints = [check.joint_id for check in checks]
    to_week = checks[0].week_starting_on - timedelta(weeks=1)
    move_bundle(plant, key, to_week, crews["Idle"], WHY, WHO, AS_OF)
    planned(plant)
    told = planned(plant, AS_OF + timedelta(weeks=1), starts_on=MONDAY + timedelta(weeks=1))
    assert {places(plant)[(joint, 0)] for joint in joints} == {(to_week, crews["Idle"])}
    assert all(
        check.pinned for check in checks_of_week(plant, to_week, crews["Idle"], limit=None) if check.joint_id in joints
    )
    assert sum(row.pinned for row in told.crew_weeks) == len(joints)
    # What people moved stays on record; what planning moved goes with its plan.
    assert number(plant, "SELECT count(*) FROM plan_move WHERE moved_by IS NOT NULL") == len(joints)
    assert let_go(plant, joints) == len(joints)
    assert let_go(plant, joints) == 0
    assert not number(plant, "SELECT count(*) FROM plan_pin")


def test_a_pin_into_the_frozen_weeks_holds_and_is_spent_when_it_is_done(
    plant: Connection, crews: dict[str, int]
) -> None:
    check = next(
        check
        for check in whole_plan(plant, current_plan(plant))
        if check.week_starting_on > MONDAY + timedelta(weeks=2) and not check.occurrence and not check.requires_outage
        and not check.scaffold
    )  # fmt: skip
    key = replace(bundle_of_tag(plant, check.tag))
    to_week = MONDAY + timedelta(weeks=1)
    effect = preview_move(plant, key, to_week, crews["Idle"], AS_OF)
    assert effect.refused == ()
    move_bundle(plant, key, to_week, crews["Idle"], WHY, WHO, AS_OF)
    planned(plant)
    assert places(plant)[(check.joint_id, 0)] == (to_week, crews["Idle"])
    plant.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " VALUES (current_site(), %s, now() + interval '1 second', 'tight')",
        [check.joint_id],
    )
    planned(plant)
    assert not number(plant, "SELECT count(*) FROM plan_pin")


def test_a_joint_on_a_route_is_planned_for_its_day_and_crew(plant: Connection, crews: dict[str, int]) -> None:
    plan = current_plan(plant)
    checks = [check for check in whole_plan(plant, plan) if not check.occurrence and not check.requires_outage]
    check = next(check for check in checks if check.week_starting_on > MONDAY + timedelta(weeks=3))
    walk_on = AS_OF + timedelta(days=1)
    route_id = number(
        plant,
        "INSERT INTO route (site_id, walk_on, crew, start_gate, shift_minutes, walking_minutes, working_minutes,"
        " considered, unreachable) VALUES (current_site(), %s, 'idle', 'Gate', 60, 1, 1, 1, 0) RETURNING route_id",
        walk_on,
    )
    plant.execute(
        "INSERT INTO route_stop (site_id, route_id, position, joint_id, walking_minutes, working_minutes, leg)"
        " VALUES (current_site(), %s, 1, %s, 1, 1, '{}')",
        [route_id, check.joint_id],
    )
    effect = preview_move(plant, bundle_of_tag(plant, check.tag), check.week_starting_on, crews["Idle"], AS_OF)
    assert [reason for reason in effect.refused if f"on a route for {walk_on}" in reason]
    told = planned(plant)
    assert places(plant)[(check.joint_id, 0)] == (MONDAY, crews["Idle"])
    assert [move.joint_id for move in list_moves(plant, told.plan, reason=Moved.ON_ROUTE)] == [check.joint_id]


def test_moves_that_cannot_be_are_refused_with_the_reason(plant: Connection, crews: dict[str, int]) -> None:
    plan = current_plan(plant)
    checks = list(whole_plan(plant, plan))
    tube = next(c for c in checks if c.family not in FLANGES and not c.occurrence and c.week_starting_on > MONDAY)
    refused = preview_move(plant, bundle_of_tag(plant, tube.tag), tube.week_starting_on, crews["Flanges"], AS_OF)
    assert any("Flanges may not check" in reason for reason in refused.refused)
    waiting = next(c for c in checks if c.requires_outage and not c.occurrence)
    refused = preview_move(
        plant, bundle_of_tag(plant, waiting.tag), waiting.week_starting_on - timedelta(weeks=3), crews["All"], AS_OF
    )
    assert any("needs an outage" in reason for reason in refused.refused)
    up = next((c for c in checks if c.scaffold and c.week_starting_on > MONDAY + timedelta(weeks=2)), None)
    if up is not None:
        refused = preview_move(plant, bundle_of_tag(plant, up.tag), MONDAY, crews["All"], AS_OF)
        assert any("scaffold takes 14 days" in reason for reason in refused.refused)
    soon = min(
        (c for c in checks if not c.occurrence and not c.requires_outage), key=lambda c: (c.latest_on, c.joint_id)
    )
    with pytest.raises(MoveRefused, match=r"latest day is .* deferred"):
        move_bundle(
            plant, bundle_of_tag(plant, soon.tag), plan.ends_on - timedelta(weeks=1), crews["All"], WHY, WHO, AS_OF
        )
    with pytest.raises(MoveRefused, match="is over"):
        move_bundle(plant, bundle_of_tag(plant, soon.tag), MONDAY, crews["All"], WHY, WHO, AS_OF + timedelta(weeks=1))
    assert not number(plant, "SELECT count(*) FROM plan_pin")


def test_a_full_crew_is_a_warning_that_has_to_be_allowed(plant: Connection) -> None:
    tiny = add_crew(plant, CrewRequest("Tiny", (1.0,) * 5 + (0.0, 0.0))).crew_id  # came after the plan was made
    key, checks = some_checks(plant)
    week = checks[0].week_starting_on
    effect = preview_move(plant, key, week, tiny, AS_OF)
    assert (effect.capacity_minutes, effect.refused) == (5.0, ())
    assert effect.over_minutes == pytest.approx(minutes_of(checks) - 5.0)
    with pytest.raises(CrewFull, match="over its time"):
        move_bundle(plant, key, week, tiny, WHY, WHO, AS_OF)
    assert not number(plant, "SELECT count(*) FROM planned_check WHERE crew_id = %s", tiny)
    move_bundle(plant, key, week, tiny, WHY, WHO, AS_OF, over_time=True)
    row = next(row for row in summary(plant, current_plan(plant)).crew_weeks if row.crew == "Tiny")
    assert row.over_minutes == pytest.approx(minutes_of(checks))


def test_a_check_in_no_week_can_be_given_one(plant: Connection, crews: dict[str, int]) -> None:
    told = planned(plant)
    left_out = list_unplaced(plant, told.plan, reason=Unplaced.NEEDS_OUTAGE, limit=None)
    unplaced = next(check for check in left_out if not check.occurrence)
    week = unplaced.latest_on - timedelta(days=unplaced.latest_on.weekday() + 7)
    add_outage(plant, OutageRequest("Another", week, week + timedelta(days=4)))
    cost = cost_of(plant, told.plan)
    key = bundle_of_tag(plant, unplaced.tag)
    assert key == BundleKey(told.plan.plan_run_id, None, None, joint_ids=(unplaced.joint_id,))
    effect = move_bundle(plant, key, week, crews["Idle"], WHY, WHO, AS_OF)
    assert effect.from_week is None
    assert cost_of(plant, told.plan) - cost == pytest.approx(effect.cost_added_minutes)
    assert places(plant)[(unplaced.joint_id, 0)] == (week, crews["Idle"])


def test_a_move_against_an_older_plan_and_unfit_ones_are_refused(plant: Connection, crews: dict[str, int]) -> None:
    key, checks = some_checks(plant)
    to_week = checks[0].week_starting_on
    with pytest.raises(MoveUnfit) as unfit:
        move_bundle(plant, key, to_week, crews["Idle"], " ", "", AS_OF)
    assert [issue.column for issue in unfit.value.issues] == ["reason", "moved_by"]
    with pytest.raises(WeekUnknown):
        preview_move(plant, key, to_week + timedelta(days=1), crews["Idle"], AS_OF)
    with pytest.raises(BundleUnknown):
        preview_move(plant, replace(key, area_id=999_999), to_week, crews["Idle"], AS_OF)
    with pytest.raises(BundleUnknown):
        preview_move(plant, BundleKey(key.plan_run_id, None, None), to_week, crews["Idle"], AS_OF)
    planned(plant)
    with pytest.raises(PlanOvertaken, match="is not the newest"):
        move_bundle(plant, key, to_week, crews["Idle"], WHY, WHO, AS_OF)


def test_a_deferral_shows_its_risk_and_moves_the_latest_day(plant: Connection) -> None:
    check = next(c for c in whole_plan(plant, current_plan(plant)) if not c.occurrence and not c.requires_outage)
    until_on = check.latest_on + timedelta(days=100)
    shown = preview_deferral(plant, check.tag, until_on, AS_OF)
    assert (shown.latest_on, shown.planned_week) == (check.latest_on, check.week_starting_on)
    assert shown.risk_added > 0
    assert preview_deferral(plant, check.tag, until_on + timedelta(days=50), AS_OF).risk_added > shown.risk_added
    assert not list_deferrals(plant, AS_OF, past_too=True)
    made = defer(plant, DeferralRequest(check.tag, until_on, " no  scaffold ", "I. Engineer"), AS_OF)
    assert (made.reason, made.decided_by, made.in_force) == ("no scaffold", "I. Engineer", True)
    assert made.risk_added == shown.risk_added
    due = number(plant, "SELECT count(*) FROM score WHERE joint_id = %s AND due_on = %s", check.joint_id, check.due_on)
    assert due == 1
    # A move by hand may use it at once, and the next plan goes by it.
    to_week = until_on - timedelta(days=until_on.weekday())
    last_week = current_plan(plant).ends_on - timedelta(weeks=1)
    assert (
        preview_move(plant, bundle_of_tag(plant, check.tag), min(to_week, last_week), check.crew_id, AS_OF).refused
        == ()
    )
    planned(plant)
    latest = plant.execute(
        "SELECT latest_on FROM planned_check WHERE joint_id = %s AND occurrence = 0", [check.joint_id]
    ).fetchone()
    assert latest == (until_on,)


def test_a_deferral_counts_until_the_joint_is_checked_or_a_newer_one_is_given(plant: Connection) -> None:
    check = next(c for c in whole_plan(plant, current_plan(plant)) if not c.occurrence)
    first = defer(plant, DeferralRequest(check.tag, AS_OF + timedelta(days=300), "why", "who"), AS_OF)
    second = defer(plant, DeferralRequest(check.tag, AS_OF + timedelta(days=400), "why", "who"), AS_OF)
    assert [row.deferral_id for row in list_deferrals(plant, AS_OF)] == [second.deferral_id]
    assert [row.deferral_id for row in list_deferrals(plant, AS_OF, tag=check.tag, past_too=True)] == [
        second.deferral_id,
        first.deferral_id,
    ]
    assert not list_deferrals(plant, AS_OF + timedelta(days=401))
    plant.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " VALUES (current_site(), %s, now() + interval '1 second', 'tight')",
        [check.joint_id],
    )
    assert not list_deferrals(plant, AS_OF)
    with pytest.raises(psycopg.Error, match=r"append-only|permission denied"):
        plant.execute("UPDATE deferral SET until_on = until_on + 1")


def test_unfit_deferrals_are_refused(plant: Connection) -> None:
    check = next(c for c in whole_plan(plant, current_plan(plant)) if c.due_on < AS_OF and not c.occurrence)
    with pytest.raises(DeferralUnfit) as unfit:
        defer(plant, DeferralRequest(check.tag, AS_OF + timedelta(days=9), "", "  "), AS_OF)
    assert [issue.column for issue in unfit.value.issues] == ["reason", "decided_by"]
    with pytest.raises(DeferralUnfit) as unfit:
        preview_deferral(plant, check.tag, AS_OF, AS_OF)
    assert "not after today" in str(unfit.value.issues[0])
    with pytest.raises(JointUnknown):
        preview_deferral(plant, "nowhere", AS_OF + timedelta(days=9), AS_OF)
