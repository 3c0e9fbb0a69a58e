"""`jointwright load readings` and `load history`: what was measured, and what happened, from files."""

import argparse
from datetime import date
from functools import partial
from typing import Any

from registry.checks.service import HISTORIES, import_history
from registry.commands.load_tables import TableKind, add_table_arguments
from registry.db import Connection
from registry.intake.model import FileMapping, IntakeReport, Table
from registry.intervals.service import rescore


def register_readings(kinds: Any) -> argparse.ArgumentParser:
    """Add `load readings` and its arguments."""
    parser: argparse.ArgumentParser = kinds.add_parser(
        "readings", help="vibration readings or temperature histories, of joints or of lines"
    )
    add_table_arguments(parser, READINGS)
    return parser


def register_history(kinds: Any) -> argparse.ArgumentParser:
    """Add `load history` and its arguments."""
    parser: argparse.ArgumentParser = kinds.add_parser(
        "history", help="make-ups, leaks with their repairs, or checks; leaks before the checks that found them"
    )
    add_table_arguments(parser, HISTORY)
    return parser


def _kind(name: str) -> TableKind:
    return TableKind(
        name=name, columns=lambda _: HISTORIES[name].columns, load=partial(_load, kind=name), after=_scored
    )


def _load(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date, *, kind: str
) -> IntakeReport:
    return import_history(connection, kind, table, mapping, keep_valid, today)


def _scored(connection: Connection, _: IntakeReport, __: date) -> str | None:
    summary = rescore(connection)
    if summary is None:
        return "the site is not scored yet: run `jointwright score`"
    return f"{summary.joints:,} joints were scored anew as of {summary.as_of}"


READINGS = (_kind("vibration"), _kind("temperatures"))
HISTORY = (_kind("make-ups"), _kind("leaks"), _kind("checks"))
