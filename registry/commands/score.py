"""`jointwright score`: every joint's interval, due date and risk, by the current policy."""

import argparse
import sys
import time
from datetime import datetime
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day
from registry.commands.session import open_site
from registry.intervals.decisions import ScoreSummary
from registry.intervals.service import score_plant


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `score` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("score", description=COMMANDS["score"])
    parser.add_argument("--as-of", type=day, metavar="YYYY-MM-DD", help="default: today")
    parser.add_argument("--json", action="store_true", help="print the run as JSON")
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Score the plant and print the run."""
    began = time.monotonic()

    def tell(what: str) -> None:
        if not parsed.json:
            print(f"[{time.monotonic() - began:5.1f} s] {what}", file=sys.stderr, flush=True)

    as_of = parsed.as_of or datetime.now().astimezone().date()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        scored = score_plant(connection, as_of, progress=tell)
    if parsed.json:
        print(orjson.dumps(scored).decode())
    else:
        print("\n".join(score_lines(scored)))
    return 0


def score_lines(scored: ScoreSummary) -> list[str]:
    """A run for reading."""
    lines = [
        f"{scored.joints:,} joints scored as of {scored.as_of} by policy version {scored.policy_version}:",
        f"  {scored.overdue:>9,} overdue, {scored.due_in_30_days:,} due by 30 days from then, those included",
        f"  {scored.no_record:>9,} without any record, and so due at once",
        f"  {scored.beyond_checking:>9,} beyond checking: the shortest interval leaves more leaks than are tolerable",
        f"  {scored.vibration_action:>9,} at or above the vibration 'problem' line: act on the vibration",
    ]
    if not scored.joints:
        lines.append("there are no joints yet: run `jointwright load joints FILE`")
    return lines
