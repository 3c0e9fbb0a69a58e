"""People and tools of a site with their papers, those that run out soon, and lists of them taken in."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final

import polars as pl

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import ROW, Column, FileMapping, IntakeReport, Table, TypedRows
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.store import list_families
from registry.papers import store
from registry.papers.model import (
    CALIBRATION_COLUMNS,
    PEOPLE_COLUMNS,
    TOOL_COLUMNS,
    Expiring,
    Person,
    PersonUnknown,
    Tool,
    ToolUnknown,
    people_of,
    tools_of,
)

Row = Mapping[str, Any]
Key = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class RegisterKind:
    """One kind of list: the columns that it has in a site (or without one), and what takes it in."""

    columns: Callable[[Connection | None], Sequence[Column]]
    take_in: Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]


SOON_DAYS: Final = 60
_STANDS: Final = "stands otherwise in the register, or in a row above: papers are added to and never loaded over"


def people(connection: Connection) -> tuple[Person, ...]:
    """Everybody of the register with all papers, by name."""
    return people_of(store.list_papers(connection))


def person_named(connection: Connection, name: str) -> Person:
    """One person by name, in whatever letters. Raises PersonUnknown."""
    found = people_of(store.list_papers(connection, name))
    if not found:
        raise PersonUnknown(f"nobody here is called {name!r}")
    return found[0]


def tools(connection: Connection, serials: Sequence[str] | None = None) -> tuple[Tool, ...]:
    """Every tool of the register with its calibrations, or those of the given serials."""
    return tools_of(store.list_calibrations(connection, serials))


def tool_of_serial(connection: Connection, serial: str) -> Tool:
    """One tool by its serial, in whatever letters. Raises ToolUnknown."""
    found = tools(connection, [serial])
    if not found:
        raise ToolUnknown(f"no tool {serial!r} here")
    return found[0]


def expiring(connection: Connection, today: date, days: int = SOON_DAYS) -> list[Expiring]:
    """Papers that ran out or do so within some days, where none after them makes it good."""
    return store.list_expiring(connection, today + timedelta(days=days))


def people_columns(connection: Connection | None) -> tuple[Column, ...]:
    """The columns of a list of people, with the site's own families as choices where there is a site."""
    if connection is None:
        return PEOPLE_COLUMNS
    families = {known.name: known.aliases for known in list_families(connection)}
    return tuple(replace(column, choices=families) if column.name == "family" else column for column in PEOPLE_COLUMNS)


def import_people(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add people, each row with one qualification or with none: all rows or none, or with `keep_valid` the good ones.

    A qualification is known by its person, family, sizes and first day; other content under these is a fault.
    """
    take_intake_lock(connection, "people")
    rows = typed_rows(table, people_columns(connection), mapping, today=today)
    paper = ("family", "size_from_mm", "size_to_mm", "valid_until_on", "certificate")
    rows = rows.with_faults(
        "valid_from_on",
        pl.col("valid_from_on").is_null() & pl.any_horizontal(pl.col(name).is_not_null() for name in paper),
        "is empty: say from which day the qualification holds",
    )
    rows = rows.with_faults(
        "valid_until_on", pl.col("valid_until_on") < pl.col("valid_from_on"), "is before its first day"
    )
    rows = rows.with_faults("size_to_mm", pl.col("size_to_mm") < pl.col("size_from_mm"), "is below its smallest size")
    register = store.list_papers(connection)
    people = {each.name.lower() for each in register}
    stands: dict[Key, Key] = {
        _paper_key(each.name, each.family, each.size_from_mm, each.size_to_mm, each.valid_from_on): (
            each.valid_until_on,
            each.certificate,
        )
        for each in register
    }
    for name in people:
        stands[_paper_key(name, None, None, None, None)] = (None, None)
    rows, added, known = _held(
        rows,
        stands,
        lambda row: _paper_key(
            row["name"], row["family"], row["size_from_mm"], row["size_to_mm"], row["valid_from_on"]
        ),
        ("valid_until_on", "certificate"),
        keep_valid,
    )
    report = _added(connection, "people", rows, added, known, keep_valid)
    if report.added:
        store.add_people(connection, [row["name"] for row in added])
        papers = [row for row in added if row["valid_from_on"] is not None]
        store.add_qualifications(connection, _columns(papers, ("name", "valid_from_on", *paper)))
    return report


def import_tools(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add tools: all rows or none, or with `keep_valid` the good ones. A tool is known by its serial."""
    take_intake_lock(connection, "tools")
    rows = typed_rows(table, TOOL_COLUMNS, mapping, today=today)
    rows = rows.with_faults("high_n_m", pl.col("high_n_m") <= pl.col("low_n_m"), "is not above its lowest setting")
    content = ("kind", "description", "low_n_m", "high_n_m")
    stands: dict[Key, Key] = {
        (each.serial.lower(),): (each.kind, each.description, each.low_n_m, each.high_n_m)
        for each in store.list_calibrations(connection)
    }
    rows, added, known = _held(rows, stands, lambda row: (row["serial"].lower(),), content, keep_valid)
    report = _added(connection, "tools", rows, added, known, keep_valid)
    if report.added:
        store.add_tools(connection, _columns(added, ("serial", *content)))
    return report


def import_calibrations(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add calibrations of tools of the register: all rows or none, or with `keep_valid` the good ones.

    A calibration is known by its tool and day. One that found a tool out of tolerance changes no verdict that was given
    before: those joints are called in by a recall.
    """
    take_intake_lock(connection, "calibrations")
    rows = typed_rows(table, CALIBRATION_COLUMNS, mapping, today=today)
    rows = rows.with_faults(
        "valid_until_on", pl.col("valid_until_on") < pl.col("calibrated_on"), "is before the calibration"
    )
    register = store.list_calibrations(connection)
    tools = pl.Series([each.serial.lower() for each in register], dtype=pl.String)
    rows = rows.with_faults(
        "serial",
        pl.col("serial").is_not_null() & ~pl.col("serial").str.to_lowercase().is_in(tools.implode()),
        "is no tool of this site: load the list of tools first",
    )
    content = ("valid_until_on", "as_found", "certificate")
    stands: dict[Key, Key] = {
        (each.serial.lower(), each.calibrated_on): (each.valid_until_on, each.as_found, each.certificate)
        for each in register
    }
    rows, added, known = _held(
        rows, stands, lambda row: (row["serial"].lower(), row["calibrated_on"]), content, keep_valid
    )
    report = _added(connection, "calibrations", rows, added, known, keep_valid)
    if report.added:
        store.add_calibrations(connection, _columns(added, ("serial", "calibrated_on", *content)))
    return report


def _paper_key(
    name: str, family: str | None, size_from_mm: float | None, size_to_mm: float | None, valid_from_on: date | None
) -> Key:
    return (name.lower(), family, size_from_mm, size_to_mm, valid_from_on)


def _held(
    rows: TypedRows,
    stands: dict[Key, Key],
    key: Callable[[Row], Key],
    content: Sequence[str],
    keep_valid: bool,
) -> tuple[TypedRows, list[Row], int]:
    """The rows with a fault where one says otherwise than what stands, those to add, and how many are known."""
    new: list[Row] = []
    known, contradicting = 0, set[int]()
    for row in rows.good.iter_rows(named=True):
        at, says = key(row), tuple(row[name] for name in content)
        if at not in stands:
            stands[at] = says
            new.append(row)
        elif stands[at] == says:
            known += 1
        else:
            contradicting.add(row[ROW])
    if contradicting:
        faulty = pl.col(ROW).is_in(pl.Series(sorted(contradicting), dtype=pl.Int32).implode())
        rows = rows.with_faults(content[0], faulty, _STANDS)
    if rows.issues and not keep_valid:
        return rows, [], 0
    return rows, new, known


def _added(
    connection: Connection, kind: str, rows: TypedRows, added: Sequence[Row], known: int, keep_valid: bool
) -> IntakeReport:
    intake_id = add_intake(connection, kind, rows, len(added) + known) if added else None
    return rows.report(
        kind, loaded=keep_valid or not rows.issues, added=len(added), unchanged=known, intake_id=intake_id
    )


def _columns(rows: Sequence[Row], names: Sequence[str]) -> dict[str, list[Any]]:
    return {name: [row[name] for row in rows] for name in names}


REGISTERS: Final[Mapping[str, RegisterKind]] = {
    "people": RegisterKind(people_columns, import_people),
    "tools": RegisterKind(lambda _: TOOL_COLUMNS, import_tools),
    "calibrations": RegisterKind(lambda _: CALIBRATION_COLUMNS, import_calibrations),
}
"""What can be loaded of papers, tools before their calibrations."""
