"""The plan: every due check once, in a week of the horizon or counted as unplaced."""

from datetime import date, timedelta

import pytest

from registry.db import Connection
from registry.intervals.decisions import DueFilter
from registry.intervals.service import due_page, score_plant
from registry.planning.model import NotPlanned, PlanUnfit, WeekUnknown
from registry.planning.service import checks_of_week, current_plan, make_plan, summary
from tests.database.small_site import AS_OF, fill_site, number

MONDAY = date(2026, 11, 30)


@pytest.fixture
def scored(connection: Connection) -> Connection:
    fill_site(connection, 150)
    score_plant(connection, AS_OF)
    return connection


def test_every_check_due_in_the_horizon_is_placed_once_or_counted(scored: Connection) -> None:
    due = [joint for joint in due_page(scored, DueFilter(), limit=1000) if joint.due_on < MONDAY + timedelta(weeks=8)]
    plan = make_plan(scored, MONDAY, 8, 1.0)
    assert plan.checks + plan.unplaced == len(due)
    assert plan.unplaced > 0
    assert all(week.hours <= 1.0 + 1e-9 for week in plan.weeks)
    assert len(plan.weeks) == 8
    listed = [check for week in plan.weeks for check in checks_of_week(scored, week.week_starting_on)]
    assert len({check.joint_id for check in listed}) == len(listed) == plan.checks
    # Who found no room falls due no earlier than anybody who did.
    placed = {check.joint_id for check in listed}
    assert min(joint.due_on for joint in due if joint.joint_id not in placed) >= max(check.due_on for check in listed)


def test_with_hours_enough_the_overdue_come_first_and_the_rest_in_their_week(scored: Connection) -> None:
    plan = make_plan(scored, MONDAY, 12, 500.0)
    assert plan.unplaced == 0
    for check in checks_of_week(scored, MONDAY, limit=1000):
        assert check.due_on < MONDAY + timedelta(days=7)
    for week in plan.weeks[1:]:
        for check in checks_of_week(scored, week.week_starting_on, limit=1000):
            assert week.week_starting_on <= check.due_on < week.week_starting_on + timedelta(days=7)
    assert plan.late == plan.weeks[0].late


def test_a_new_plan_takes_the_place_of_the_one_before(scored: Connection) -> None:
    make_plan(scored, MONDAY, 4, 40.0)
    second = make_plan(scored, MONDAY, 6, 40.0)
    assert current_plan(scored) == second.plan
    assert number(scored, "SELECT count(*) FROM planned_check") == second.checks
    assert number(scored, "SELECT count(*) FROM plan_run") == 2
    assert summary(scored, second.plan) == second


def test_pages_of_a_week_hold_every_check_once(scored: Connection) -> None:
    make_plan(scored, MONDAY, 4, 400.0)
    whole = checks_of_week(scored, MONDAY, limit=1000)
    first = checks_of_week(scored, MONDAY, limit=3)
    rest = checks_of_week(scored, MONDAY, after=(first[-1].due_on, first[-1].joint_id), limit=1000)
    assert [*first, *rest] == whole


def test_a_check_recorded_since_shows_as_done(scored: Connection) -> None:
    plan = make_plan(scored, MONDAY, 4, 400.0)
    check = checks_of_week(scored, MONDAY)[0]
    scored.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " VALUES (current_site(), %s, now() + interval '1 second', 'tight')",
        [check.joint_id],
    )
    assert summary(scored, plan.plan).weeks[0].done == 1
    assert [c.joint_id for c in checks_of_week(scored, MONDAY, limit=1000) if c.done] == [check.joint_id]


def test_what_is_no_plan_is_refused(scored: Connection) -> None:
    with pytest.raises(PlanUnfit) as refused:
        make_plan(scored, AS_OF, 0, -1.0)
    assert [issue.column for issue in refused.value.issues] == ["starts_on", "weeks", "crew_hours_per_week"]
    with pytest.raises(NotPlanned, match="jointwright plan"):
        current_plan(scored)
    make_plan(scored, MONDAY, 2, 40.0)
    with pytest.raises(WeekUnknown):
        checks_of_week(scored, MONDAY + timedelta(days=1))
