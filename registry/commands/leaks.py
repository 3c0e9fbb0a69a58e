"""`jointwright leaks`: what leaks now, and how often each area leaks; report one, and what was done about it."""

import argparse
import sys
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID, uuid4

import orjson

from registry.checks.service import report_leak
from registry.commands import COMMANDS
from registry.commands.days import day, moment, utc_today
from registry.commands.session import open_site
from registry.leaks.model import SEVERITIES, STEPS, AreaRate, Leak, LeakRates, LeakReport, StepReport
from registry.leaks.service import area_rates, read_leak, record_step
from registry.leaks.store import list_leaks
from registry.web.csv_text import csv_text

LISTED = 20


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `leaks` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("leaks", description=COMMANDS["leaks"])
    parser.add_argument("--since", type=day, metavar="YYYY-MM-DD", help="first day (default: the ledger's first entry)")
    parser.add_argument("--until", type=day, metavar="YYYY-MM-DD", help="last day (default: today)")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="print all of it as JSON")
    how.add_argument("--csv", action="store_true", help="print the rates by area as CSV")
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(dest="action", metavar="report|step")
    report = actions.add_parser("report", help="report a leak that was seen otherwise than by a check")
    report.add_argument("tag", metavar="TAG")
    report.add_argument("severity", choices=SEVERITIES, metavar="SEVERITY", help=", ".join(SEVERITIES))
    report.add_argument("--ppmv", type=float, metavar="P", help="screening value")
    report.set_defaults(run=run_report)
    step = actions.add_parser("step", help="record a first attempt, or the repair that closes a leak")
    step.add_argument("leak_id", type=int, metavar="ID")
    step.add_argument("step", choices=STEPS, metavar="STEP", help=", ".join(STEPS))
    step.set_defaults(run=run_step)
    for action in (report, step):
        action.add_argument("--by", metavar="NAME", help="who")
        action.add_argument("--at", type=moment, metavar="TIME", help="when (default: now)")
        action.add_argument("--notes", metavar="TEXT")
        action.add_argument(
            "--uuid", type=UUID, metavar="U", help="name this report, so that sending it twice counts once"
        )
        action.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Print open leaks and rates by area."""
    until_on = parsed.until or utc_today()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        rates = area_rates(connection, parsed.since, until_on)
        leaks = list_leaks(connection, only_open=True, limit=1000)
    if parsed.json:
        document = {
            "since_on": rates.since_on,
            "until_on": rates.until_on,
            "areas": [rate.as_row() for rate in rates.areas],
            "whole_site": rates.whole_site.as_row(),
            "open": leaks,
        }
        print(orjson.dumps(document).decode())
    elif parsed.csv:
        sys.stdout.write(csv_text((rate.as_row() for rate in rates.areas), list(rates.whole_site.as_row())))
    else:
        _tell(rates, leaks, until_on)
    return 0


def run_report(parsed: argparse.Namespace) -> int:
    """Record a leak and print it."""
    report = LeakReport(
        tag=parsed.tag,
        observed_at=parsed.at or datetime.now(UTC),
        severity=parsed.severity,
        client_uuid=parsed.uuid or uuid4(),
        found_by=parsed.by,
        screening_ppmv=parsed.ppmv,
        notes=parsed.notes,
    )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        leak = read_leak(connection, report_leak(connection, report, utc_today()))
    print(orjson.dumps(leak).decode() if parsed.json else f"leak {leak.leak_id}: {leak.severity} on {leak.tag}, open")
    return 0


def run_step(parsed: argparse.Namespace) -> int:
    """Record what was done about a leak and print its state."""
    report = StepReport(
        leak_id=parsed.leak_id,
        step=parsed.step,
        observed_at=parsed.at or datetime.now(UTC),
        client_uuid=parsed.uuid or uuid4(),
        done_by=parsed.by,
        notes=parsed.notes,
    )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        record_step(connection, report, utc_today())
        leak = read_leak(connection, parsed.leak_id)
    state = "open" if leak.repaired_at is None else f"repaired on {leak.repaired_at:%Y-%m-%d}"
    print(orjson.dumps(leak).decode() if parsed.json else f"leak {leak.leak_id} on {leak.tag}: {state}")
    return 0


def _tell(rates: LeakRates, leaks: list[Leak], until_on: date) -> None:
    if rates.since_on is None:
        print("no leak and no check is on record, so nothing can be said of rates")
        return
    print(f"Leaks from {rates.since_on} to {rates.until_on}; rates per 1,000 joint-years with exact 95 % limits\n")
    named = [(rate.count.area or "in no area", rate) for rate in rates.areas]
    wide = max(10, *(len(name) for name, _ in named)) if named else 10
    heads = f"{'leaks':>6}  {'joint-years':>11}  {'rate':>7}  {'limits':>17}  {'open':>5}  {'oldest':>7}  repair"
    print(f"{'area':<{wide}}  {heads}")
    for name, rate in (*named, ("whole site", rates.whole_site)):
        print(_line(name, rate, wide))
    print("\noldest: days that the oldest open leak has been known; repair: median days from found to repaired")
    if leaks:
        print(f"\nOpen now: {len(leaks):,}")
    for leak in leaks[:LISTED]:
        days = (until_on - leak.observed_at.date()).days
        attempted = "" if leak.first_attempt_at is None else f", first attempt {leak.first_attempt_at:%Y-%m-%d}"
        print(f"  {leak.leak_id:>7}  {leak.tag}  {leak.severity}, {days} days{attempted}  {leak.area or ''}")
    if len(leaks) > LISTED:
        print(f"  … and {len(leaks) - LISTED:,} more (--json lists them)")


def _line(name: str, rate: AreaRate, wide: int) -> str:
    count = rate.count
    shown = limits = "-"
    if rate.leaks_per_1000_joint_years is not None:
        shown = f"{rate.leaks_per_1000_joint_years:.2f}"
        limits = f"{rate.lower_limit:.2f} to {rate.upper_limit:.2f}"
    oldest = "-" if count.oldest_open_days is None else str(count.oldest_open_days)
    median = "-" if count.median_repair_days is None else f"{count.median_repair_days:.1f}"
    return (
        f"{name:<{wide}}  {count.leaks:>6,}  {count.joint_years:>11,.0f}  {shown:>7}  {limits:>17}"
        f"  {count.open_now:>5,}  {oldest:>7}  {median:>6}"
    )
