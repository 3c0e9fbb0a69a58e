"""The ledger of leaks and of their repairs, added to and read."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, TypeVar
from uuid import UUID

import polars as pl
from psycopg.rows import class_row

from registry.db import Connection
from registry.leaks.model import AreaCount, Leak, LeakReport, RecordedLeak, RecordedStep, StepReport
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)
Row = TypeVar("Row")


def take_leak_lock(connection: Connection) -> None:
    """Be the only one who adds leaks until the transaction ends."""
    connection.execute(SQL["take_leak_lock"])


def take_leak_step_lock(connection: Connection) -> None:
    """Be the only one who adds repairs until the transaction ends."""
    connection.execute(SQL["take_leak_step_lock"])


def leak_of_uuid(connection: Connection, client_uuid: UUID) -> RecordedLeak | None:
    """What a report with this UUID recorded."""
    return _one(connection, "leak_of_uuid", RecordedLeak, client_uuid=client_uuid)


def step_of_uuid(connection: Connection, client_uuid: UUID) -> RecordedStep | None:
    """What a report of a repair with this UUID recorded."""
    return _one(connection, "step_of_uuid", RecordedStep, client_uuid=client_uuid)


def add_leak(connection: Connection, joint_id: int, report: LeakReport) -> int:
    """Add one leak and return its number."""
    return _number(
        connection,
        "add_leak",
        joint_id=joint_id,
        observed_at=report.observed_at,
        severity=report.severity,
        found_by=report.found_by,
        found_during=report.found_during,
        screening_ppmv=report.screening_ppmv,
        notes=report.notes,
        client_uuid=report.client_uuid,
    )


def add_step(connection: Connection, report: StepReport) -> int:
    """Add one step of a repair and return its number."""
    return _number(
        connection,
        "add_step",
        leak_id=report.leak_id,
        step=report.step,
        observed_at=report.observed_at,
        done_by=report.done_by,
        notes=report.notes,
        client_uuid=report.client_uuid,
    )


def add_leaks(connection: Connection, frame: pl.DataFrame, intake_id: int | None) -> int:
    """Add many leaks and return how many.

    `frame`: joint_id, observed_at, severity, found_by, found_during, screening_ppmv, notes.
    """
    return connection.execute(SQL["add_leaks"], {**frame.to_dict(as_series=False), "intake_id": intake_id}).rowcount


def add_steps(connection: Connection, frame: pl.DataFrame, intake_id: int | None) -> int:
    """Add many repairs, each against the leak of its joint and time, and return how many.

    `frame`: joint_id, leak_at, step, observed_at, done_by.
    """
    return connection.execute(SQL["add_steps"], {**frame.to_dict(as_series=False), "intake_id": intake_id}).rowcount


def list_leaks_of_joints(connection: Connection, joint_ids: Sequence[int]) -> pl.DataFrame:
    """What the ledger says of some joints: leak_id, joint_id, observed_at, severity, first_attempt_at, repaired_at."""
    time = pl.Datetime("us", "UTC")
    types = {
        "leak_id": pl.Int64(),
        "joint_id": pl.Int32(),
        "observed_at": time,
        "severity": pl.String(),
        "first_attempt_at": time,
        "repaired_at": time,
    }
    rows = connection.execute(SQL["list_leaks_of_joints"], {"joint_ids": list(joint_ids)}).fetchall()
    return pl.DataFrame(rows, schema=types, orient="row")


def read_leak(connection: Connection, leak_id: int) -> Leak | None:
    """One leak with the state of its repair."""
    return _one(connection, "read_leak", Leak, leak_id=leak_id)


def list_leaks(
    connection: Connection,
    *,
    area: str | None = None,
    tag: str | None = None,
    only_open: bool = False,
    before: tuple[datetime, int] | None = None,
    limit: int = 200,
) -> list[Leak]:
    """A page of leaks, newest first; `before` is the time and number of the last one of the page before."""
    before_at, before_id = before or (None, None)
    with connection.cursor(row_factory=class_row(Leak)) as cursor:
        return cursor.execute(
            SQL["list_leaks"],
            {
                "area": area,
                "tag": tag,
                "only_open": only_open,
                "before_at": before_at,
                "before_id": before_id,
                "limit": limit,
            },
        ).fetchall()


def read_ledger_beginning(connection: Connection) -> date | None:
    """The first day on which anybody recorded a check or a leak, or None."""
    row = connection.execute(SQL["read_ledger_beginning"]).fetchone()
    return row[0] if row else None


def count_by_area(connection: Connection, since_on: date, until_on: date) -> list[AreaCount]:
    """Leaks, repairs and joint-years of each area from one day to another."""
    with connection.cursor(row_factory=class_row(AreaCount)) as cursor:
        return cursor.execute(SQL["count_by_area"], {"since_on": since_on, "until_on": until_on}).fetchall()


def _one(connection: Connection, query: str, kind: type[Row], **parameters: Any) -> Row | None:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[query], parameters).fetchone()


def _number(connection: Connection, query: str, **parameters: Any) -> int:
    row = connection.execute(SQL[query], parameters).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])
