"""`jointwright demo`: the invented plant Saltmarsh Point, in the database or as example files."""

import argparse
import time
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from registry.commands import COMMANDS
from registry.commands.session import open_database
from registry.demo.files import write_files
from registry.demo.service import MOST_JOINTS, build_demo

JOINTS = 12_000
SEED = 1


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `demo` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("demo", description=COMMANDS["demo"])
    parser.add_argument("--joints", type=_joints, default=JOINTS, help=f"how many joints it has (default {JOINTS:,})")
    parser.add_argument("--seed", type=int, default=SEED, help=f"another number makes another plant (default {SEED})")
    parser.add_argument("--as-of", type=date.fromisoformat, help="last day of its history, YYYY-MM-DD (default today)")
    parser.add_argument("--no-history", action="store_true", help="leave out readings, make-ups, checks and leaks")
    parser.add_argument(
        "--files",
        type=Path,
        metavar="FOLDER",
        help="write plot plan, joint list and histories there as files, and build nothing",
    )
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Build the plant, or write its files."""
    began = time.monotonic()

    def tell(what: str) -> None:
        print(f"[{time.monotonic() - began:6.1f} s] {what}", flush=True)

    as_of = parsed.as_of or datetime.now(UTC).date()
    if parsed.files is not None:
        written = write_files(
            parsed.files, parsed.joints, parsed.seed, as_of, history=not parsed.no_history, progress=tell
        )
        for path in written:
            print(path)
        return 0
    with open_database() as database:
        site, run_ = build_demo(
            database, parsed.joints, parsed.seed, as_of, history=not parsed.no_history, progress=tell
        )
    tell(
        f"{site.name}: {run_.joints:,} joints as of {run_.as_of}, {run_.overdue:,} overdue, {run_.due_in_30_days:,} due"
        f" within 30 days, {run_.beyond_checking:,} that checking alone cannot control"
    )
    return 0


def _joints(text: str) -> int:
    number = int(text.replace(",", "").replace("_", ""))
    if not 1 <= number <= MOST_JOINTS:
        raise argparse.ArgumentTypeError(f"from 1 to {MOST_JOINTS:,}")
    return number
