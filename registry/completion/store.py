"""Work packs, written and read."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from psycopg.rows import class_row

from registry.completion.model import PackJoint, RecordedStep, StepReport, WorkPack
from registry.db import Connection
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)
Row = TypeVar("Row")


def take_pack_lock(connection: Connection) -> None:
    """Be the only one who changes work packs until the transaction ends."""
    connection.execute(SQL["take_pack_lock"])


def add_pack(connection: Connection, code: str, title: str, opened_by: str) -> int:
    """Open a work pack and return its number."""
    row = connection.execute(SQL["add_pack"], {"code": code, "title": title, "opened_by": opened_by}).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def add_pack_joints(connection: Connection, work_pack_id: int, joint_ids: Sequence[int]) -> int:
    """Put joints into a work pack and return how many are new in it."""
    given = {"work_pack_id": work_pack_id, "joint_ids": list(joint_ids)}
    return connection.execute(SQL["add_pack_joints"], given).rowcount


def find_joints(connection: Connection, tags: Sequence[str]) -> dict[str, int]:
    """The numbers of joints by their tags; a tag that is not in the site is not in the answer."""
    return dict(connection.execute(SQL["find_joints"], {"tags": list(tags)}).fetchall())


def list_packs(connection: Connection, *, code: str | None = None, limit: int = 200) -> list[WorkPack]:
    """Work packs, those not handed back first."""
    return _rows(connection, "list_packs", WorkPack, code=code, limit=limit)


def list_pack_joints(connection: Connection, work_pack_id: int) -> list[PackJoint]:
    """The joints of a work pack, with how far each has come."""
    return _rows(connection, "list_pack_joints", PackJoint, work_pack_id=work_pack_id)


def step_of_uuid(connection: Connection, client_uuid: UUID) -> RecordedStep | None:
    """What a report with this UUID recorded."""
    found = _rows(connection, "step_of_uuid", RecordedStep, client_uuid=client_uuid)
    return found[0] if found else None


def add_step(connection: Connection, work_pack_id: int, joint_id: int, report: StepReport) -> None:
    """Add one step."""
    connection.execute(
        SQL["add_step"],
        {
            "work_pack_id": work_pack_id,
            "joint_id": joint_id,
            "step": report.step,
            "passed": report.passed,
            "observed_at": report.observed_at,
            "done_by": report.done_by,
            "notes": report.notes,
            "client_uuid": report.client_uuid,
        },
    )


def hand_back(connection: Connection, work_pack_id: int, by: str, at: datetime) -> int:
    """Close a work pack; 0 where it was closed before."""
    return connection.execute(SQL["hand_back"], {"work_pack_id": work_pack_id, "by": by, "at": at}).rowcount


def _rows(connection: Connection, query: str, kind: type[Row], **parameters: Any) -> list[Row]:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[query], parameters).fetchall()
