"""The ledger of check results, added to and read."""

from collections.abc import Sequence
from uuid import UUID

import polars as pl
from psycopg.rows import class_row

from registry.checks.model import CheckReport, RecordedCheck
from registry.db import Connection
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)


def take_check_lock(connection: Connection) -> None:
    """Be the only one who adds results until the transaction ends."""
    connection.execute(SQL["take_check_lock"])


def check_of_uuid(connection: Connection, client_uuid: UUID) -> RecordedCheck | None:
    """What a report with this UUID recorded."""
    with connection.cursor(row_factory=class_row(RecordedCheck)) as cursor:
        return cursor.execute(SQL["check_of_uuid"], {"client_uuid": client_uuid}).fetchone()


def add_check(connection: Connection, joint_id: int, report: CheckReport) -> int:
    """Add one result and return its number."""
    row = connection.execute(
        SQL["add_check"],
        {
            "joint_id": joint_id,
            "observed_at": report.observed_at,
            "result": report.result,
            "screening_ppmv": report.screening_ppmv,
            "checked_by": report.checked_by,
            "notes": report.notes,
            "route_id": report.route_id,
            "client_uuid": report.client_uuid,
        },
    ).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def add_checks(connection: Connection, frame: pl.DataFrame, intake_id: int | None) -> int:
    """Add many results and return how many.

    `frame`: joint_id, observed_at, result, screening_ppmv, checked_by, notes.
    """
    return connection.execute(SQL["add_checks"], {**frame.to_dict(as_series=False), "intake_id": intake_id}).rowcount


def list_checks_of_joints(connection: Connection, joint_ids: Sequence[int]) -> pl.DataFrame:
    """What the ledger says of some joints: joint_id, observed_at, result, screening_ppmv."""
    types = {
        "joint_id": pl.Int32(),
        "observed_at": pl.Datetime("us", "UTC"),
        "result": pl.String(),
        "screening_ppmv": pl.Float64(),
    }
    rows = connection.execute(SQL["list_checks_of_joints"], {"joint_ids": list(joint_ids)}).fetchall()
    return pl.DataFrame(rows, schema=types, orient="row")


def tag_of_joint(connection: Connection, joint_id: int) -> str | None:
    """The tag of a joint."""
    row = connection.execute(SQL["tag_of_joint"], {"joint_id": joint_id}).fetchone()
    return None if row is None else str(row[0])


def joint_at_stop(connection: Connection, route_id: int, position: int) -> int | None:
    """The joint of a route's stop."""
    row = connection.execute(SQL["joint_at_stop"], {"route_id": route_id, "position": position}).fetchone()
    return None if row is None else int(row[0])


def joint_on_route(connection: Connection, route_id: int, *, joint_id: int | None, tag: str | None) -> int | None:
    """The joint of this number or tag if it is on the route."""
    given = {"route_id": route_id, "joint_id": joint_id, "tag": tag}
    row = connection.execute(SQL["joint_on_route"], given).fetchone()
    return None if row is None else int(row[0])


def route_exists(connection: Connection, route_id: int) -> bool:
    """Whether the site has the route."""
    row = connection.execute(SQL["route_exists"], {"route_id": route_id}).fetchone()
    return row is not None and bool(row[0])
