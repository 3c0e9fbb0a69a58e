"""`jointwright load joints`: a joint list into the register."""

import argparse
from collections.abc import Sequence
from datetime import date
from typing import Any

from registry.commands.load_tables import TableKind, add_table_arguments
from registry.db import Connection
from registry.intake.model import Column, FileMapping, IntakeReport, Table
from registry.joints.model import Known, joint_columns
from registry.joints.service import import_list, list_columns, preview_list
from registry.policy.document import default_policy
from registry.policy.service import publish_first


def register(kinds: Any) -> argparse.ArgumentParser:
    """Add `load joints` and its arguments."""
    parser: argparse.ArgumentParser = kinds.add_parser(
        "joints", help="a joint list: CSV or a workbook, one row a joint"
    )
    add_table_arguments(parser, (JOINTS,))
    return parser


def _columns(connection: Connection | None) -> Sequence[Column]:
    if connection is not None:
        return list_columns(connection)
    shipped = default_policy(1)
    return joint_columns(
        [Known(0, family.code, (family.label, *family.aliases)) for family in shipped.families],
        [Known(0, service.name, service.aliases) for service in shipped.services],
    )


def _load(connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date) -> IntakeReport:
    publish_first(connection)  # a site without a policy gets the shipped one
    return import_list(connection, table, mapping, keep_valid, today)


def _preview(connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date) -> IntakeReport:
    publish_first(connection)
    return preview_list(connection, table, mapping, keep_valid, today)


JOINTS = TableKind(name="joints", columns=_columns, load=_load, preview=_preview)
