"""Plans written and read."""

from datetime import date, datetime

from psycopg.rows import class_row

from registry.columns import Columns, copy_columns
from registry.db import Connection
from registry.named_sql import queries_beside
from registry.planning.model import Plan, PlannedCheck, PlanWeek

SQL = queries_beside(__file__)

_PLACED_TYPES = {
    "joint_id": "integer",
    "week_starting_on": "date",
    "due_on": "date",
    "minutes": "double precision",
}


def add_plan(
    connection: Connection,
    score_run_id: int,
    starts_on: date,
    weeks: int,
    crew_hours_per_week: float,
    unplaced: int,
) -> Plan:
    """Begin a plan."""
    with connection.cursor(row_factory=class_row(Plan)) as cursor:
        plan = cursor.execute(
            SQL["add_plan"],
            {
                "score_run_id": score_run_id,
                "starts_on": starts_on,
                "weeks": weeks,
                "crew_hours_per_week": crew_hours_per_week,
                "unplaced": unplaced,
            },
        ).fetchone()
    assert plan is not None, "INSERT … RETURNING gives its row"
    return plan


def add_planned_checks(connection: Connection, plan_run_id: int, columns: Columns) -> int:
    """Add a plan's checks (joint_id, week_starting_on, due_on, minutes), and drop those of older plans."""
    connection.execute(SQL["drop_placed"])
    connection.execute(SQL["create_placed"])
    copy_columns(connection, "placed_check", columns, _PLACED_TYPES)
    added = connection.execute(SQL["add_planned_checks"], {"plan_run_id": plan_run_id}).rowcount
    connection.execute(SQL["drop_older_checks"], {"plan_run_id": plan_run_id})
    return added


def read_current_plan(connection: Connection) -> Plan | None:
    """The newest plan."""
    with connection.cursor(row_factory=class_row(Plan)) as cursor:
        return cursor.execute(SQL["read_current_plan"]).fetchone()


def list_weeks(connection: Connection, plan_run_id: int, recorded_at: datetime) -> list[PlanWeek]:
    """The weeks of a plan that have checks; `recorded_at` is when it was made."""
    with connection.cursor(row_factory=class_row(PlanWeek)) as cursor:
        return cursor.execute(SQL["list_weeks"], {"plan_run_id": plan_run_id, "recorded_at": recorded_at}).fetchall()


def list_checks_of_week(
    connection: Connection,
    plan: Plan,
    week_starting_on: date,
    *,
    after: tuple[date, int] | None = None,
    limit: int | None = 200,
) -> list[PlannedCheck]:
    """A page of one week's checks; `after` is due date and joint of the last one of the page before, `limit` None for
    all."""
    after_due_on, after_joint_id = after or (None, None)
    with connection.cursor(row_factory=class_row(PlannedCheck)) as cursor:
        return cursor.execute(
            SQL["list_checks_of_week"],
            {
                "plan_run_id": plan.plan_run_id,
                "recorded_at": plan.recorded_at,
                "week_starting_on": week_starting_on,
                "after_due_on": after_due_on,
                "after_joint_id": after_joint_id,
                "limit": limit,
            },
        ).fetchall()
