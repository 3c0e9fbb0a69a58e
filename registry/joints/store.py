"""The register in the database: joints, their lines, families and services, and what changed."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import polars as pl
from psycopg.rows import class_row, dict_row

from registry.columns import Columns, read_columns
from registry.db import Connection
from registry.intake.store import copy_frame, read_frame
from registry.joints.model import Joint, JointFilter, Known
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)

# The staged table's columns, in its order.
STAGED = (
    "row", "tag", "family_id", "service_id", "line", "area", "size_mm", "east_m", "north_m", "elevation_m",
    "pressure_barg", "temperature_degc", "fitter", "made_up_on", "make_up_method", "vibration_mm_s", "vibration_hz",
    "thermal_cycles_per_year", "thermal_range_degc", "access", "requires_outage", "notes",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StagedCounts:
    """How a staged list stands to the register: joints known already, joints changed, values changed."""

    known: int
    changed: int
    differences: int


@dataclass(frozen=True, slots=True)
class StagedChange:
    """What a staged list changes on one joint: column to [old, new]."""

    row: int
    tag: str
    changes: dict[str, list[Any]]


@dataclass(frozen=True, slots=True)
class JointChange:
    """What one joint list changed on a joint: column to [old, new]."""

    changes: dict[str, list[Any]]
    source_name: str
    recorded_at: datetime


def add_new_families(connection: Connection) -> None:
    """Give every family of the newest policy a number, once."""
    connection.execute(SQL["add_new_families"])


def add_new_services(connection: Connection) -> None:
    """Give every service of the newest policy a number, once."""
    connection.execute(SQL["add_new_services"])


def list_families(connection: Connection) -> list[Known]:
    """The site's families with their aliases."""
    return _known(connection, "list_families")


def list_services(connection: Connection) -> list[Known]:
    """The site's services with their aliases."""
    return _known(connection, "list_services")


def stage_joints(connection: Connection, frame: pl.DataFrame) -> None:
    """Put a joint list's typed rows beside the register, for the statements below to compare and take in."""
    connection.execute(SQL["drop_staged"])
    connection.execute(SQL["create_staged_joint"])
    connection.execute(SQL["create_staged_change"])
    copy_frame(connection, SQL["copy_staged_joint"], frame.select(STAGED))


def any_joint(connection: Connection) -> bool:
    """Whether the register holds a joint at all."""
    return bool(_value(connection, "any_joint"))


def stage_changes(connection: Connection, given: Sequence[str]) -> None:
    """Compare the staged list with the register in the columns that the file gives."""
    connection.execute(SQL["stage_changes"], {"given": list(given)})


def count_staged(connection: Connection) -> StagedCounts:
    """How the staged list stands to the register."""
    with connection.cursor(row_factory=class_row(StagedCounts)) as cursor:
        counts = cursor.execute(SQL["count_staged"]).fetchone()
    assert counts is not None
    return counts


def list_staged_changes(connection: Connection, count: int) -> list[StagedChange]:
    """The first changes in the order of the file."""
    with connection.cursor(row_factory=class_row(StagedChange)) as cursor:
        return cursor.execute(SQL["list_staged_changes"], {"count": count}).fetchall()


def count_unlisted(connection: Connection) -> int:
    """Joints of the register that the staged list does not name."""
    return int(_value(connection, "count_unlisted"))


def add_lines(connection: Connection, codes: Sequence[str]) -> None:
    """Add those lines that the site does not have yet."""
    connection.execute(SQL["add_lines"], {"codes": list(codes)})


def add_joints(connection: Connection, intake_id: int) -> int:
    """Add the staged joints that the register does not know, and return how many."""
    return connection.execute(SQL["add_joints"], {"intake_id": intake_id}).rowcount


def change_joints(connection: Connection, intake_id: int) -> int:
    """Bring the changed joints to what the staged list says, keeping what stood before; return how many."""
    return connection.execute(SQL["change_joints"], {"intake_id": intake_id}).rowcount


def list_joints(connection: Connection, wanted: JointFilter, after: str | None, count: int) -> list[Joint]:
    """Joints in the order of their tags, after a given tag."""
    with connection.cursor(row_factory=class_row(Joint)) as cursor:
        parameters = {**asdict(wanted), "after": after, "count": count}
        return cursor.execute(SQL["list_joints"], parameters).fetchall()


def read_joint(connection: Connection, tag: str) -> Joint | None:
    """One joint by its tag."""
    with connection.cursor(row_factory=class_row(Joint)) as cursor:
        return cursor.execute(SQL["read_joint"], {"tag": tag}).fetchone()


def list_joint_changes(connection: Connection, joint_id: int, count: int) -> list[JointChange]:
    """What later joint lists changed on a joint, newest first."""
    with connection.cursor(row_factory=class_row(JointChange)) as cursor:
        return cursor.execute(SQL["list_joint_changes"], {"joint_id": joint_id, "count": count}).fetchall()


def list_tags(connection: Connection) -> pl.DataFrame:
    """`joint_id` (Int32) and `tag` of every joint of the site, for the files that name joints."""
    return read_frame(connection, SQL["list_tags"], {"joint_id": pl.Int32(), "tag": pl.String()})


def list_lines(connection: Connection) -> pl.DataFrame:
    """`line_id` (Int32) and `code` of every line of the site, for the files that name lines."""
    return read_frame(connection, SQL["list_lines"], {"line_id": pl.Int32(), "code": pl.String()})


def list_places(connection: Connection) -> Columns:
    """`joint_id`, `location` (n, 2) [m] and `area_id` (0: none) of every joint."""
    return read_columns(
        connection, SQL["list_places"], {"joint_id": "integer", "location": "point", "area_id": "integer"}
    )


def place_joints(connection: Connection, joint_ids: Sequence[int], area_ids: Sequence[int]) -> None:
    """Give joints their area, one each; 0 is none."""
    connection.execute(SQL["place_joints"], {"joint_ids": list(joint_ids), "area_ids": list(area_ids)})


def _known(connection: Connection, name: str) -> list[Known]:
    with connection.cursor(row_factory=dict_row) as cursor:
        rows = cursor.execute(SQL[name]).fetchall()
    return [Known(int(row["id"]), str(row["name"]), tuple(row["aliases"])) for row in rows]


def _value(connection: Connection, name: str) -> Any:
    row = connection.execute(SQL[name]).fetchone()
    assert row is not None
    return row[0]
