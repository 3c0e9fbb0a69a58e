"""`jointwright load`: a plot plan, a joint list, readings, history, people or tools from a file."""

import argparse
from collections.abc import Callable
from typing import Any

from registry.commands import COMMANDS, load_history, load_joints, load_plan, load_registers

# One module a kind of file: its `register` adds a parser below `load`. A table needs only a TableKind (load_tables.py).
KINDS: tuple[Callable[[Any], argparse.ArgumentParser], ...] = (
    load_plan.register,
    load_joints.register,
    load_history.register_readings,
    load_history.register_history,
    *load_registers.REGISTER,
)


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `load` and its kinds."""
    parser: argparse.ArgumentParser = subparsers.add_parser("load", description=COMMANDS["load"])
    kinds = parser.add_subparsers(dest="kind_of_file", required=True, metavar="KIND")
    for add in KINDS:
        add(kinds)
    return parser
