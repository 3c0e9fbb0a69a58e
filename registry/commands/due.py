"""`jointwright due`: which joints fall due, earliest first; `due record` what was found at one."""

import argparse
import math
import sys
from datetime import datetime
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day
from registry.commands.record import register_due_record
from registry.commands.session import open_site
from registry.intervals.decisions import DueFilter, DueJoint
from registry.intervals.service import current_run, due_page, due_pages
from registry.web.csv_text import csv_text

LISTED = 50


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `due` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("due", description=COMMANDS["due"])
    parser.add_argument("--area", help="name of an area")
    parser.add_argument("--family", help="code of a joint family")
    parser.add_argument("--service", help="name of a service")
    parser.add_argument("--overdue", action="store_true", help="only what fell due before today")
    parser.add_argument("--until", type=day, metavar="YYYY-MM-DD", help="only what falls due on this day or before")
    parser.add_argument("--limit", type=int, default=LISTED, metavar="N", help="default: %(default)s; 0 for all")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="print the list as JSON")
    how.add_argument("--csv", action="store_true", help="print the list as CSV")
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(dest="action", metavar="record")
    register_due_record(actions)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Print the due list."""
    today = datetime.now().astimezone().date()
    chosen = DueFilter(parsed.area, parsed.family, parsed.service, today if parsed.overdue else None, parsed.until)
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        scored = current_run(connection)
        if parsed.limit > 0:
            joints = due_page(connection, chosen, limit=parsed.limit)
        else:
            joints = [joint for page in due_pages(connection, chosen) for joint in page]
    if parsed.json:
        told = {"as_of": scored.as_of, "policy_version": scored.policy_version}
        print(orjson.dumps({**told, "joints": [joint.as_row() for joint in joints]}).decode())
    elif parsed.csv:
        sys.stdout.write(csv_text(joint.as_row() for joint in joints))
    elif not joints:
        print("nothing falls due under this filter")
    else:
        print("\n".join(_lines(joints)))
        if len(joints) == parsed.limit:
            print(f"… the first {parsed.limit:,}; --limit 0 lists all")
    return 0


def _lines(joints: list[DueJoint]) -> list[str]:
    tags = max(3, *(len(joint.tag) for joint in joints))
    areas = max(4, *(len(joint.area or "") for joint in joints))
    head = (
        f"{'due':<10}  {'tag':<{tags}}  {'area':<{areas}}  {'family':<12} {'class':>5}  {'rank':>8}  {'days':>5}  why"
    )
    return [
        head,
        *(
            f"{joint.due_on}  {joint.tag:<{tags}}  {joint.area or '':<{areas}}  {joint.family:<12}"
            f" {joint.consequence_class:>5}  {joint.risk_rank:>8,}  {math.floor(joint.interval_days):>5}"
            f"  {joint.reason.replace('_', ' ')}{', beyond checking' if joint.beyond_checking else ''}"
            for joint in joints
        ),
    ]
