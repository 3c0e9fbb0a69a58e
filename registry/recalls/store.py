"""Recalls and their joints, added and read."""

from collections.abc import Sequence
from datetime import date
from typing import Any, TypeVar

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.papers.on_the_day import Calibration
from registry.recalls.model import Recall, RecallArea, RecalledJoint, RecallKind, SuspectJoint

SQL = queries_beside(__file__)
Row = TypeVar("Row")

MadeUp = dict[int, date]
"""Joint, and the newest day on which it was made up so."""


def read_tool_id(connection: Connection, serial: str) -> int | None:
    """The number of a tool."""
    row = connection.execute(SQL["read_tool_id"], {"serial": serial}).fetchone()
    return None if row is None else int(row[0])


def list_calibrations_of(connection: Connection, tool_id: int) -> list[Calibration]:
    """A tool's calibrations in order of time."""
    return _rows(connection, "list_calibrations_of", Calibration, tool_id=tool_id)


def list_made_with_tool(connection: Connection, tool_id: int, from_on: date | None, until_on: date) -> MadeUp:
    """Joints made up with a tool between two days."""
    return _made_up(connection, "list_made_with_tool", from_on, until_on, tool_id=tool_id)


def list_made_by_person(connection: Connection, person: str, from_on: date | None, until_on: date) -> MadeUp:
    """Joints made up by a fitter between two days."""
    return _made_up(connection, "list_made_by_person", from_on, until_on, person=person)


def list_made_of_lot(connection: Connection, lot: str, from_on: date | None, until_on: date) -> MadeUp:
    """Joints made up with a part of a lot between two days."""
    return _made_up(connection, "list_made_of_lot", from_on, until_on, lot=lot)


def list_made_by_procedure(
    connection: Connection, code: str, version: int | None, from_on: date | None, until_on: date
) -> MadeUp:
    """Joints made up by a procedure between two days."""
    return _made_up(connection, "list_made_by_procedure", from_on, until_on, code=code, version=version)


def list_made_again(connection: Connection, made_up: MadeUp) -> set[int]:
    """Which joints were made up again and accepted after the day given for each."""
    given = {"joint_ids": list(made_up), "made_up_on": list(made_up.values())}
    return {int(row[0]) for row in connection.execute(SQL["list_made_again"], given).fetchall()}


def list_suspects(connection: Connection, joint_ids: Sequence[int], limit: int) -> list[SuspectJoint]:
    """Some joints as they stand, the worst class first."""
    return _rows(connection, "list_suspects", SuspectJoint, joint_ids=list(joint_ids), limit=limit)


def add_recall(
    connection: Connection,
    kind: RecallKind,
    subject: str,
    from_on: date,
    until_on: date,
    reason: str,
    raised_by: str,
    joints: int,
) -> int:
    """Add a recall and return its number."""
    row = connection.execute(
        SQL["add_recall"],
        {
            "kind": kind,
            "subject": subject,
            "from_on": from_on,
            "until_on": until_on,
            "reason": reason,
            "raised_by": raised_by,
            "joints": joints,
        },
    ).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def add_recall_joints(
    connection: Connection, recall_id: int, joint_ids: Sequence[int], days_by_class: Sequence[int], today: date
) -> int:
    """Raise a check of every joint and return how many."""
    given = {
        "recall_id": recall_id,
        "joint_ids": list(joint_ids),
        "days_by_class": list(days_by_class),
        "today": today,
    }
    return connection.execute(SQL["add_recall_joints"], given).rowcount


def read_first_due(connection: Connection, recall_id: int) -> date | None:
    """The earliest check that a recall raised."""
    row = connection.execute(SQL["read_first_due"], {"recall_id": recall_id}).fetchone()
    return None if row is None else row[0]


def list_recalls(
    connection: Connection, today: date, *, recall_id: int | None = None, limit: int = 200
) -> list[Recall]:
    """Recalls with their progress, newest first."""
    return _rows(connection, "list_recalls", Recall, today=today, recall_id=recall_id, limit=limit)


def list_recall_areas(connection: Connection, recall_id: int, today: date) -> list[RecallArea]:
    """A recall's progress by area."""
    return _rows(connection, "list_recall_areas", RecallArea, recall_id=recall_id, today=today)


def list_recalled_joints(
    connection: Connection,
    recall_id: int,
    *,
    area: str | None = None,
    after: tuple[date, int] | None = None,
    limit: int = 200,
) -> list[RecalledJoint]:
    """A page of a recall's joints; `after` is the day and number of the last joint of the page before."""
    after_due_on, after_joint_id = after or (None, None)
    return _rows(
        connection,
        "list_recalled_joints",
        RecalledJoint,
        recall_id=recall_id,
        area=area,
        after_due_on=after_due_on,
        after_joint_id=after_joint_id,
        limit=limit,
    )


def _made_up(connection: Connection, query: str, from_on: date | None, until_on: date, **subject: Any) -> MadeUp:
    return dict(connection.execute(SQL[query], {"from_on": from_on, "until_on": until_on, **subject}).fetchall())


def _rows(connection: Connection, query: str, kind: type[Row], **parameters: Any) -> list[Row]:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[query], parameters).fetchall()
