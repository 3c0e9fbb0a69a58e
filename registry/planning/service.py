"""Lay the due checks into weeks, and read the plan back."""

from datetime import date, timedelta

import numpy as np

from registry.db import Connection
from registry.errors import Issue
from registry.intervals.service import current_run
from registry.intervals.store import read_plan_columns
from registry.planning import store
from registry.planning.levelling import UNPLACED, levelled_weeks, urgency_order
from registry.planning.model import (
    LONGEST_HORIZON_WEEKS,
    NotPlanned,
    Plan,
    PlannedCheck,
    PlanSummary,
    PlanUnfit,
    PlanWeek,
    WeekUnknown,
)


def make_plan(connection: Connection, starts_on: date, weeks: int, crew_hours_per_week: float) -> PlanSummary:
    """Lay every check that falls due before the horizon ends into a week, and keep that as the site's plan.

    Earliest due first, riskiest first among equals, no week over the crew's hours of time at the joint. It plans the
    next check of each joint, once: a joint whose next check comes early in the horizon may fall due in it again, and
    stands in the plan that is made then. What found no room is counted in `unplaced`. Raises PlanUnfit or NotScored.
    """
    _refuse_unfit(starts_on, weeks, crew_hours_per_week)
    run = current_run(connection)
    joints = read_plan_columns(connection, run.score_run_id, starts_on + timedelta(weeks=weeks))
    day = (joints["due_on"] - np.datetime64(starts_on)).astype(np.int64)
    order = urgency_order(day, joints["risk_now"], joints["joint_id"])
    week = levelled_weeks(day[order] // 7, joints["check_minutes"][order], weeks, crew_hours_per_week * 60.0)
    placed, order = week != UNPLACED, order[week != UNPLACED]
    plan = store.add_plan(connection, run.score_run_id, starts_on, weeks, crew_hours_per_week, int(np.sum(~placed)))
    store.add_planned_checks(
        connection,
        plan.plan_run_id,
        {
            "joint_id": joints["joint_id"][order],
            "week_starting_on": np.datetime64(starts_on) + week[placed] * np.timedelta64(7, "D"),
            "due_on": joints["due_on"][order],
            "minutes": joints["check_minutes"][order],
        },
    )
    return summary(connection, plan)


def current_plan(connection: Connection) -> Plan:
    """The newest plan. Raises NotPlanned."""
    plan = store.read_current_plan(connection)
    if plan is None:
        raise NotPlanned("this site has no plan yet: run `jointwright plan --hours HOURS`")
    return plan


def summary(connection: Connection, plan: Plan) -> PlanSummary:
    """A plan with every week of its horizon, those without checks too."""
    found = {week.week_starting_on: week for week in store.list_weeks(connection, plan.plan_run_id, plan.recorded_at)}
    mondays = (plan.starts_on + timedelta(weeks=number) for number in range(plan.weeks))
    weeks = tuple(found.get(monday, PlanWeek(monday, 0, 0.0, 0, 0, 0)) for monday in mondays)
    return PlanSummary(plan, weeks, plan.unplaced)


def checks_of_week(
    connection: Connection, week_starting_on: date, *, after: tuple[date, int] | None = None, limit: int | None = 200
) -> list[PlannedCheck]:
    """A page of the checks of one week of the newest plan. Raises NotPlanned or WeekUnknown."""
    plan = current_plan(connection)
    days = (week_starting_on - plan.starts_on).days
    if days % 7 or not 0 <= days < 7 * plan.weeks:
        raise WeekUnknown(f"the plan has no week that begins on {week_starting_on}: it begins on {plan.starts_on}")
    return store.list_checks_of_week(connection, plan, week_starting_on, after=after, limit=limit)


def _refuse_unfit(starts_on: date, weeks: int, crew_hours_per_week: float) -> None:
    faults = [
        Issue(None, column, str(value), reason)
        for column, value, reason, faulty in (
            ("starts_on", starts_on, "is no Monday", starts_on.isoweekday() != 1),
            ("weeks", weeks, f"is not from 1 to {LONGEST_HORIZON_WEEKS}", not 1 <= weeks <= LONGEST_HORIZON_WEEKS),
            ("crew_hours_per_week", crew_hours_per_week, "is not above 0", not 0 < crew_hours_per_week < float("inf")),
        )
        if faulty
    ]
    if faults:
        raise PlanUnfit("the plan was refused", faults)
