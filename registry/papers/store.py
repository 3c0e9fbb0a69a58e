"""The registers of people and tools, added to and read."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.papers.model import Expiring, PersonsPaper, ToolsCalibration

SQL = queries_beside(__file__)


def list_papers(connection: Connection, name: str | None = None) -> list[PersonsPaper]:
    """People with their qualifications: everybody, or one by name."""
    with connection.cursor(row_factory=class_row(PersonsPaper)) as cursor:
        return cursor.execute(SQL["list_papers"], {"name": name}).fetchall()


def list_calibrations(connection: Connection, serials: Sequence[str] | None = None) -> list[ToolsCalibration]:
    """Tools with their calibrations: every tool, or some by serial."""
    given = {"serials": None if serials is None else list(serials)}
    with connection.cursor(row_factory=class_row(ToolsCalibration)) as cursor:
        return cursor.execute(SQL["list_calibrations"], given).fetchall()


def list_expiring(connection: Connection, until_on: date) -> list[Expiring]:
    """Papers without a later one that end by a day, the first to end first."""
    with connection.cursor(row_factory=class_row(Expiring)) as cursor:
        return cursor.execute(SQL["list_expiring"], {"until_on": until_on}).fetchall()


def add_people(connection: Connection, names: Sequence[str]) -> int:
    """Add people whom the register does not have, and return how many."""
    return connection.execute(SQL["add_people"], {"names": list(names)}).rowcount


def add_qualifications(connection: Connection, columns: Mapping[str, Sequence[Any]]) -> int:
    """Add qualifications (name, family, size_from_mm, size_to_mm, valid_from_on, valid_until_on, certificate)."""
    return connection.execute(SQL["add_qualifications"], dict(columns)).rowcount


def add_tools(connection: Connection, columns: Mapping[str, Sequence[Any]]) -> int:
    """Add tools (serial, kind, description, low_n_m, high_n_m)."""
    return connection.execute(SQL["add_tools"], dict(columns)).rowcount


def add_calibrations(connection: Connection, columns: Mapping[str, Sequence[Any]]) -> int:
    """Add calibrations (serial, calibrated_on, valid_until_on, as_found, certificate)."""
    return connection.execute(SQL["add_calibrations"], dict(columns)).rowcount
