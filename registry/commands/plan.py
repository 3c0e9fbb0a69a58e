"""`jointwright plan`: lay the due checks into weeks, or show the plan."""

import argparse
from datetime import datetime, timedelta
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day
from registry.commands.session import open_site
from registry.planning.model import PlanSummary
from registry.planning.service import current_plan, make_plan, summary

HOURS = 80.0
WEEKS = 26


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `plan` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("plan", description=COMMANDS["plan"])
    parser.add_argument(
        "--hours", type=float, default=HOURS, metavar="H", help="crew hours at joints in a week (default: %(default)s)"
    )
    parser.add_argument("--weeks", type=int, default=WEEKS, metavar="N", help="default: %(default)s")
    parser.add_argument(
        "--from", dest="starts_on", type=day, metavar="YYYY-MM-DD", help="a Monday (default: this week's)"
    )
    parser.add_argument("--json", action="store_true", help="print the plan as JSON")
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(dest="action", metavar="show")
    show = actions.add_parser("show", help="the newest plan, with what was checked since")
    show.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="print the plan as JSON")
    show.set_defaults(run=run_show)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Make a plan and print it."""
    today = datetime.now().astimezone().date()
    starts_on = parsed.starts_on or today - timedelta(days=today.weekday())
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        made = make_plan(connection, starts_on, parsed.weeks, parsed.hours)
    return _tell(made, as_json=parsed.json)


def run_show(parsed: argparse.Namespace) -> int:
    """Print the newest plan."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        found = summary(connection, current_plan(connection))
    return _tell(found, as_json=parsed.json)


def _tell(told: PlanSummary, *, as_json: bool) -> int:
    if as_json:
        document = {"plan": told.plan, "weeks": told.weeks, "checks": told.checks, "late": told.late}
        print(orjson.dumps({**document, "unplaced": told.unplaced}).decode())
        return 0
    hours = told.plan.crew_hours_per_week
    print(
        f"{told.plan.weeks} weeks from {told.plan.starts_on}, {hours:g} crew hours each: {told.checks:,} checks placed"
    )
    print(f"\n{'week of':<10}  {'checks':>7}  {'hours':>7}  {'of hours':>8}  {'late':>6}  {'early':>6}  {'done':>6}")
    for week in told.weeks:
        print(
            f"{week.week_starting_on}  {week.checks:>7,}  {week.hours:>7.1f}  {week.hours / hours:>8.0%}"
            f"  {week.late:>6,}  {week.early:>6,}  {week.done:>6,}"
        )
    print("\nlate: due before the week begins; early: drawn forward because a later week is full")
    if told.unplaced:
        print(f"{told.unplaced:,} more fall due by then and found no room: more hours or more weeks are needed")
    print("Each joint's next check stands here once; what falls due again by then comes with the next plan.")
    return 0
