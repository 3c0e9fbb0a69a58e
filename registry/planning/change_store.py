"""What people change about a plan, and the jobs that make plans, written and read."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import orjson
from psycopg.rows import class_row, tuple_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.planning.changes import BundleKey, Deferral, DeferralRequest, MovableCheck, PlanJob
from registry.planning.reasons import Moved, Unplaced

SQL = queries_beside(__file__)


@dataclass(frozen=True, slots=True)
class Deferrable:
    """What the current scores say of a joint's next check."""

    due_on: date
    last_satisfactory_on: date
    consequence_class: int
    defect_rate_per_year: float
    delay_rate_per_year: float
    detection_probability: float


def list_movable(connection: Connection, bundle: BundleKey, recorded_at: datetime, today: date) -> list[MovableCheck]:
    """The checks of a bundle that are not done since its plan was made."""
    given = {**asdict(bundle), "recorded_at": recorded_at, "today": today}
    given["no_room"] = int(Unplaced.NO_ROOM)
    given["joint_ids"] = None if bundle.joint_ids is None else list(bundle.joint_ids)
    with connection.cursor(row_factory=class_row(MovableCheck)) as cursor:
        return cursor.execute(SQL["list_movable"], given).fetchall()


def list_places(
    connection: Connection, plan_run_id: int, week_starting_on: date, left_out: Sequence[MovableCheck]
) -> set[tuple[int, int]]:
    """The places that are visited in a week of a plan, some checks aside: area and 0, or 0 and scaffold."""
    given = {"plan_run_id": plan_run_id, "week_starting_on": week_starting_on, **_keys(left_out)}
    return set(connection.execute(SQL["list_places"], given).fetchall())


def read_crew_week(
    connection: Connection, plan_run_id: int, crew_id: int, week_starting_on: date
) -> tuple[float, float | None]:
    """What a crew has to do in a week of a plan, and its time as the plan knew it [min]."""
    given = {"plan_run_id": plan_run_id, "crew_id": crew_id, "week_starting_on": week_starting_on}
    row = connection.execute(SQL["read_crew_week"], given).fetchone()
    assert row is not None, "a sum gives a row"
    return float(row[0]), row[1]


def move_checks(
    connection: Connection,
    plan_run_id: int,
    checks: Sequence[MovableCheck],
    to_week: date,
    to_crew_id: int,
    note: str,
    moved_by: str,
) -> None:
    """Put checks, all of one week and crew or all of none, into another, keep the next ones of their joints there, and
    write down who did it and why."""
    given = {
        "plan_run_id": plan_run_id,
        "from_week": checks[0].week_starting_on,
        "from_crew_id": checks[0].crew_id,
        "to_week": to_week,
        "to_crew_id": to_crew_id,
        "reason": int(Moved.BY_HAND),
        "note": note,
        "moved_by": moved_by,
        **_keys(checks),
    }
    if (given["from_week"], given["from_crew_id"]) != (to_week, to_crew_id):
        connection.execute(SQL["move_checks"], given)
        connection.execute(SQL["add_moves_by_hand"], given)
    given["joint_ids"] = [check.joint_id for check in checks if check.occurrence == 0]
    connection.execute(SQL["save_pins"], given)


def add_costs(
    connection: Connection, plan_run_id: int, *, late: float, early: float, visits: float, unplaced: float
) -> None:
    """Add what moving by hand did to the cost of a plan [crew min]."""
    given = {"plan_run_id": plan_run_id, "late": late, "early": early, "visits": visits, "unplaced": unplaced}
    connection.execute(SQL["add_costs"], given)


def remove_pins(connection: Connection, joint_ids: Sequence[int]) -> int:
    """Leave joints to the planner again, and return how many a person had put somewhere."""
    return connection.execute(SQL["remove_pins"], {"joint_ids": list(joint_ids)}).rowcount


def read_next_check(
    connection: Connection, plan_run_id: int, joint_id: int
) -> tuple[date | None, int | None, date] | None:
    """Week, crew and latest day of a joint's next check in a plan; None where it is not in it."""
    with connection.cursor(row_factory=tuple_row) as cursor:
        return cursor.execute(SQL["read_next_check"], {"plan_run_id": plan_run_id, "joint_id": joint_id}).fetchone()


def read_deferrable(connection: Connection, joint_id: int) -> Deferrable | None:
    """What the current scores say of a joint's next check."""
    with connection.cursor(row_factory=class_row(Deferrable)) as cursor:
        return cursor.execute(SQL["read_deferrable"], {"joint_id": joint_id}).fetchone()


def add_deferral(
    connection: Connection, joint_id: int, due_on: date, wanted: DeferralRequest, risk_added: float
) -> int:
    """Record a deferral and return its number."""
    given = {"joint_id": joint_id, "due_on": due_on, "risk_added": risk_added, **asdict(wanted)}
    row = connection.execute(SQL["add_deferral"], given).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def list_deferrals(connection: Connection, today: date, *, joint_id: int | None, past_too: bool) -> list[Deferral]:
    """Deferrals, newest first: of one joint or of all, those in force or all that there ever were."""
    given = {"today": today, "joint_id": joint_id, "past_too": past_too}
    with connection.cursor(row_factory=class_row(Deferral)) as cursor:
        return cursor.execute(SQL["list_deferrals"], given).fetchall()


def add_job(connection: Connection, request: Mapping[str, Any], asked_by: str) -> int:
    """Write down that a plan is to be made, and return the job's number."""
    given = {"request": orjson.dumps(request).decode(), "asked_by": asked_by}
    row = connection.execute(SQL["add_job"], given).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def take_job_lock(connection: Connection, plan_job_id: int) -> None:
    """Show that somebody works on a job until the transaction ends."""
    connection.execute(SQL["take_job_lock"], {"plan_job_id": plan_job_id})


def is_job_alive(connection: Connection, plan_job_id: int) -> bool:
    """Whether somebody works on a job."""
    row = connection.execute(SQL["is_job_alive"], {"plan_job_id": plan_job_id}).fetchone()
    assert row is not None, "a question gives a row"
    return bool(row[0])


def save_progress(connection: Connection, plan_job_id: int, share_done: float, stage: str) -> bool:
    """Note how far a job is, and return whether somebody asked it to stop."""
    given = {"plan_job_id": plan_job_id, "share_done": share_done, "stage": stage}
    row = connection.execute(SQL["save_progress"], given).fetchone()
    return row is not None and bool(row[0])


def end_job(
    connection: Connection, plan_job_id: int, state: str, *, plan_run_id: int | None = None, failure: str | None = None
) -> None:
    """Note that a job is over, and how."""
    given = {"plan_job_id": plan_job_id, "state": state, "plan_run_id": plan_run_id, "failure": failure}
    connection.execute(SQL["end_job"], given)


def end_jobs_cut_off(connection: Connection, failure: str) -> int:
    """Note that whoever worked on unfinished jobs is gone; for whoever holds the planning lock."""
    return connection.execute(SQL["end_jobs_cut_off"], {"failure": failure}).rowcount


def ask_to_stop(connection: Connection, plan_job_id: int) -> None:
    """Ask a job to stop."""
    connection.execute(SQL["ask_to_stop"], {"plan_job_id": plan_job_id})


def read_job(connection: Connection, plan_job_id: int | None) -> PlanJob | None:
    """A job by its number, or the newest, with the state as it was last written."""
    with connection.cursor(row_factory=class_row(PlanJob)) as cursor:
        return cursor.execute(SQL["read_job"], {"plan_job_id": plan_job_id}).fetchone()


def _keys(checks: Sequence[MovableCheck]) -> dict[str, Any]:
    return {
        "joint_ids": [check.joint_id for check in checks],
        "occurrences": [check.occurrence for check in checks],
    }
