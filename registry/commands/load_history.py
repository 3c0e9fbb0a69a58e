"""`jointwright load readings` and `load history`: what was measured, and what happened, from files."""

import argparse
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from registry.checks.check_list import CHECK_COLUMNS
from registry.checks.service import import_checks
from registry.commands.load_tables import TableKind, add_table_arguments
from registry.db import Connection
from registry.exposure.reading_lists import TEMPERATURE_COLUMNS, VIBRATION_COLUMNS
from registry.exposure.service import import_temperatures, import_vibration
from registry.intake.model import Column, FileMapping, IntakeReport, Table
from registry.intervals.service import rescore
from registry.intervals.store import take_score_lock
from registry.leaks.leak_list import LEAK_COLUMNS
from registry.leaks.service import import_leaks
from registry.makeup.model import MAKE_UP_COLUMNS
from registry.makeup.service import import_make_ups

Import = Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]


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


def _kind(name: str, columns: Sequence[Column], take_in: Import) -> TableKind:
    def load(connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date) -> IntakeReport:
        # Before any lock of the import, in the order in which who records a single result takes them.
        take_score_lock(connection)
        return take_in(connection, table, mapping, keep_valid, today)

    return TableKind(name=name, columns=lambda _: columns, load=load, after=_scored)


def _scored(connection: Connection, _: IntakeReport, __: date) -> str | None:
    summary = rescore(connection)
    if summary is None:
        return "the site is not scored yet: run `jointwright score`"
    return f"{summary.joints:,} joints were scored anew as of {summary.as_of}"


READINGS = (
    _kind("vibration", VIBRATION_COLUMNS, import_vibration),
    _kind("temperatures", TEMPERATURE_COLUMNS, import_temperatures),
)
HISTORY = (
    _kind("make-ups", MAKE_UP_COLUMNS, import_make_ups),
    _kind("leaks", LEAK_COLUMNS, import_leaks),
    _kind("checks", CHECK_COLUMNS, import_checks),
)
