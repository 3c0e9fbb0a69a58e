"""Plans written and read."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any, Final

from psycopg.rows import class_row, kwargs_row

from registry.columns import Columns, copy_columns, read_columns
from registry.db import Connection
from registry.named_sql import queries_beside
from registry.planning.changes import Bundle, PlanMove
from registry.planning.model import CrewWeek, MoveCount, NewPlan, Plan, PlannedCheck, UnplacedCheck, UnplacedCount
from registry.planning.reasons import Moved, Unplaced

SQL = queries_beside(__file__)

_JOINT_TYPES: Final = {
    "joint_id": "integer",
    "location": "point",
    "elevation_m": "double precision",
    "area_id": "integer",
    "family_id": "smallint",
    "consequence_class": "smallint",
    "defect_rate_per_year": "double precision",
    "delay_rate_per_year": "double precision",
    "detection_probability": "double precision",
    "interval_days": "double precision",
    "last_satisfactory_on": "date",
    "due_on": "date",
    "check_minutes": "double precision",
    "access": "smallint",
    "requires_outage": "boolean",
}
_STANDING_TYPES: Final = {
    "joint_id": "integer",
    "occurrence": "smallint",
    "week_starting_on": "date",
    "crew_id": "integer",
    "due_on": "date",
    "latest_on": "date",
    "minutes": "double precision",
    "done": "boolean",
}
_CHECK_TYPES: Final = {
    "joint_id": "integer",
    "occurrence": "smallint",
    "week_starting_on": "date",
    "crew_id": "integer",
    "due_on": "date",
    "latest_on": "date",
    "minutes": "double precision",
    "area_id": "integer",
    "scaffold": "integer",
    "late_cost_per_week": "double precision",
    "early_cost_per_week": "double precision",
    "unplaced_reason": "smallint",
}
_MOVE_TYPES: Final = {
    "joint_id": "integer",
    "occurrence": "smallint",
    "from_week": "date",
    "from_crew_id": "integer",
    "to_week": "date",
    "to_crew_id": "integer",
    "reason": "smallint",
}


def try_planning_lock(connection: Connection) -> bool:
    """Become the only one who makes or changes the plan until the transaction ends; false where somebody else does."""
    return _truth(connection, "try_planning_lock")


def read_current_plan(connection: Connection) -> Plan | None:
    """The newest plan."""
    with connection.cursor(row_factory=class_row(Plan)) as cursor:
        return cursor.execute(SQL["read_current_plan"]).fetchone()


def read_joint_columns(connection: Connection, score_run_id: int, before_on: date, joint_ids: Sequence[int]) -> Columns:
    """The joints of a run that fall due before a day, and the given ones, in order of joint."""
    given = {"score_run_id": score_run_id, "before_on": before_on, "joint_ids": list(joint_ids)}
    return read_columns(connection, SQL["read_joint_columns"], _JOINT_TYPES, given)


def read_check_columns(connection: Connection, plan: Plan | None) -> Columns:
    """The checks of a plan as they stand, and which were done since, in order of joint and occurrence."""
    given = {
        "plan_run_id": None if plan is None else plan.plan_run_id,
        "recorded_at": None if plan is None else plan.recorded_at,
    }
    return read_columns(connection, SQL["read_check_columns"], _STANDING_TYPES, given)


def list_capacity(connection: Connection, plan_run_id: int) -> dict[tuple[int, date], float]:
    """The minutes of each crew and week that a plan counted on."""
    rows = connection.execute(SQL["list_capacity"], {"plan_run_id": plan_run_id}).fetchall()
    return {(int(crew), week): float(minutes) for crew, week, minutes in rows}


def list_route_joints(connection: Connection, today: date) -> list[tuple[int, date, int | None]]:
    """The joints on routes of a day or later, with the day and the crew's number where the crew is known."""
    return connection.execute(SQL["list_route_joints"], {"today": today}).fetchall()


def list_family_codes(connection: Connection) -> dict[int, str]:
    """The code of each family by its number."""
    return dict(connection.execute(SQL["list_family_codes"]).fetchall())


def list_pins(connection: Connection) -> list[tuple[int, date, int]]:
    """The joints whose next check a person put into a week: joint, week, crew."""
    return connection.execute(SQL["list_pins"]).fetchall()


def drop_spent_pins(connection: Connection, this_week: date) -> int:
    """Forget pins into weeks before this one, and of what was done since."""
    return connection.execute(SQL["drop_spent_pins"], {"this_week": this_week}).rowcount


def list_deferred_until(connection: Connection, today: date) -> list[tuple[int, date]]:
    """The joints whose deferral counts on a day, and until when."""
    return connection.execute(SQL["list_deferred_until"], {"today": today}).fetchall()


def add_plan(connection: Connection, wanted: NewPlan) -> Plan:
    """Begin a plan."""
    with connection.cursor(row_factory=class_row(Plan)) as cursor:
        plan = cursor.execute(SQL["add_plan"], asdict(wanted)).fetchone()
    assert plan is not None, "INSERT … RETURNING gives its row"
    return plan


def add_planned_checks(connection: Connection, plan_run_id: int, columns: Columns) -> int:
    """Add a plan's checks; no week is the first day of year 1, no crew and no reason are 0."""
    connection.execute(SQL["drop_waiting"])
    connection.execute(SQL["create_waiting_checks"])
    copy_columns(connection, "waiting_check", columns, _CHECK_TYPES)
    return connection.execute(SQL["add_planned_checks"], {"plan_run_id": plan_run_id}).rowcount


def add_plan_moves(connection: Connection, plan_run_id: int, columns: Columns) -> int:
    """Add what stands elsewhere than in the plan before; nowhere is the first day of year 1 and crew 0."""
    connection.execute(SQL["create_waiting_moves"])
    copy_columns(connection, "waiting_move", columns, _MOVE_TYPES)
    return connection.execute(SQL["add_plan_moves"], {"plan_run_id": plan_run_id}).rowcount


def add_capacity(
    connection: Connection,
    plan_run_id: int,
    crew_ids: Sequence[int],
    weeks: Sequence[date],
    minutes: Sequence[float],
    worth_minutes: Sequence[float],
) -> None:
    """Add the minutes that a plan counted on, a crew and week each, and what a crew-week more would save at most."""
    given = {
        "plan_run_id": plan_run_id,
        "crew_ids": list(crew_ids),
        "weeks": list(weeks),
        "minutes": list(minutes),
        "worth_minutes": list(worth_minutes),
    }
    connection.execute(SQL["add_capacity"], given)


def drop_older_plans(connection: Connection, plan_run_id: int) -> None:
    """Take away what the plans before one held; that they were made, and what people moved, stays on record."""
    for query in ("drop_older_checks", "drop_older_capacity", "drop_older_moves"):
        connection.execute(SQL[query], {"plan_run_id": plan_run_id})


def list_crew_weeks(connection: Connection, plan: Plan) -> list[CrewWeek]:
    """Every crew and week of a plan in which the crew has time or checks."""
    given = {"plan_run_id": plan.plan_run_id, "recorded_at": plan.recorded_at}
    with connection.cursor(row_factory=class_row(CrewWeek)) as cursor:
        return cursor.execute(SQL["list_crew_weeks"], given).fetchall()


def count_unplaced(connection: Connection, plan_run_id: int) -> list[UnplacedCount]:
    """How many checks stand in no week, by reason, area and family; the most first."""
    with connection.cursor(row_factory=kwargs_row(_unplaced_count)) as cursor:
        return cursor.execute(SQL["count_unplaced"], {"plan_run_id": plan_run_id}).fetchall()


def count_moves(connection: Connection, plan_run_id: int) -> list[MoveCount]:
    """How many checks stand elsewhere than in the plan before, by reason; the most first."""
    rows = connection.execute(SQL["count_moves"], {"plan_run_id": plan_run_id}).fetchall()
    return [MoveCount(Moved(reason), int(checks)) for reason, checks in rows]


def list_checks_of_week(
    connection: Connection,
    plan: Plan,
    week_starting_on: date,
    *,
    crew_id: int | None = None,
    area_id: int | None = None,
    scaffold: int | None = None,
    after: tuple[date, int, int] | None = None,
    limit: int | None = 200,
) -> list[PlannedCheck]:
    """A page of one week's checks; `after` is due date, joint and occurrence of the last one of the page before."""
    given = {
        "plan_run_id": plan.plan_run_id,
        "recorded_at": plan.recorded_at,
        "week_starting_on": week_starting_on,
        "crew_id": crew_id,
        "area_id": area_id,
        "scaffold": scaffold,
        **_after(after),
        "limit": limit,
    }
    with connection.cursor(row_factory=class_row(PlannedCheck)) as cursor:
        return cursor.execute(SQL["list_checks_of_week"], given).fetchall()


def list_bundles(connection: Connection, plan: Plan, week_starting_on: date | None) -> list[Bundle]:
    """The bundles of a week of a plan, or of all its weeks."""
    given = {
        "plan_run_id": plan.plan_run_id,
        "recorded_at": plan.recorded_at,
        "week_starting_on": week_starting_on,
    }
    with connection.cursor(row_factory=class_row(Bundle)) as cursor:
        return cursor.execute(SQL["list_bundles"], given).fetchall()


def list_moves(
    connection: Connection, plan_run_id: int, *, reason: Moved | None, after: int | None, limit: int | None
) -> list[PlanMove]:
    """A page of a plan's moves, those that come after a given one."""
    given = {"plan_run_id": plan_run_id, "reason": _number(reason), "after": after, "limit": limit}
    with connection.cursor(row_factory=kwargs_row(_plan_move)) as cursor:
        return cursor.execute(SQL["list_moves"], given).fetchall()


def list_unplaced(
    connection: Connection,
    plan_run_id: int,
    *,
    reason: Unplaced | None,
    after: tuple[date, int, int] | None,
    limit: int | None,
) -> list[UnplacedCheck]:
    """A page of the checks that stand in no week."""
    given = {"plan_run_id": plan_run_id, "reason": _number(reason), **_after(after), "limit": limit}
    with connection.cursor(row_factory=kwargs_row(_unplaced_check)) as cursor:
        return cursor.execute(SQL["list_unplaced"], given).fetchall()


def _after(key: tuple[date, int, int] | None) -> Mapping[str, Any]:
    due_on, joint_id, occurrence = key or (None, None, None)
    return {"after_due_on": due_on, "after_joint_id": joint_id, "after_occurrence": occurrence}


def _number(reason: Moved | Unplaced | None) -> int | None:
    return None if reason is None else int(reason)


def _truth(connection: Connection, query: str) -> bool:
    row = connection.execute(SQL[query]).fetchone()
    assert row is not None, "a question gives a row"
    return bool(row[0])


def _unplaced_count(*, reason: int, **rest: Any) -> UnplacedCount:
    return UnplacedCount(reason=Unplaced(reason), **rest)


def _unplaced_check(*, reason: int, **rest: Any) -> UnplacedCheck:
    return UnplacedCheck(reason=Unplaced(reason), **rest)


def _plan_move(*, reason: int, **rest: Any) -> PlanMove:
    return PlanMove(reason=Moved(reason), **rest)
