"""`jointwright load people`, `load tools`, `load calibrations`: whose papers and which tools a verdict knows."""

import argparse
from functools import partial
from typing import Any

from registry.commands.load_tables import TableKind, add_table_arguments
from registry.papers.service import REGISTERS

_HELP = {
    "people": "people, a row for each qualification: by family and sizes, with its first and last day",
    "tools": "tools by serial, with the torque that they may be set to",
    "calibrations": "calibrations of tools, with how each came in",
}


def register(kind: str, kinds: Any) -> argparse.ArgumentParser:
    """Add `load people`, `load tools` or `load calibrations` and its arguments."""
    parser: argparse.ArgumentParser = kinds.add_parser(kind, help=_HELP[kind])
    found = REGISTERS[kind]
    add_table_arguments(parser, [TableKind(name=kind, columns=found.columns, load=found.take_in)])
    return parser


REGISTER = tuple(partial(register, kind) for kind in REGISTERS)
"""A registration for each kind, tools before their calibrations."""
