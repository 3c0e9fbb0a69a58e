"""`jointwright plan`: give the due checks weeks and crews, show the plan, take it along as a file."""

import argparse
import sys
from collections.abc import Iterable, Sequence
from datetime import timedelta
from pathlib import Path
from time import monotonic
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day, utc_today
from registry.commands.plan_changes import register_plan_changes
from registry.commands.session import open_site
from registry.crews.service import crew_named
from registry.errors import Invalid
from registry.planning import answers
from registry.planning.limits import limits_in_words
from registry.planning.model import PlannedCheck, PlanRequest, PlanSummary
from registry.planning.reasons import moved_named, unplaced_named
from registry.planning.service import (
    checks_of_week,
    current_plan,
    list_moves,
    list_unplaced,
    make_plan,
    summary,
    whole_plan,
)

WEEKS = 52
LISTED = 50


class FileKindUnknown(Invalid):
    """A plan is written as .csv or .xlsx"""

    slug = "file-kind-unknown"


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `plan` and its actions."""
    parser: argparse.ArgumentParser = subparsers.add_parser("plan", description=COMMANDS["plan"])
    parser.add_argument("--weeks", type=int, default=WEEKS, metavar="N", help="default: %(default)s")
    parser.add_argument(
        "--from", dest="starts_on", type=day, metavar="YYYY-MM-DD", help="a Monday (default: this week's)"
    )
    parser.add_argument(
        "--frozen", type=int, metavar="N", help="first weeks that keep what they hold (default: the policy's)"
    )
    parser.add_argument(
        "--planned", type=int, metavar="N", help="weeks in which moving a check costs (default: the policy's)"
    )
    parser.add_argument("--by", default="the command line", metavar="NAME", help="who makes it")
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run)
    actions = parser.add_subparsers(dest="action", metavar="show|moves|unplaced|export|move|let-go|defer|deferrals")
    show = _action(actions, "show", "the newest plan, with what was checked since; with --week its checks", run_show)
    show.add_argument("--week", type=day, metavar="YYYY-MM-DD", help="a Monday: the checks of that week")
    show.add_argument("--crew", metavar="NAME", help="of one crew only")
    moved = _action(actions, "moves", "what stands elsewhere than in the plan before, and why", run_moves)
    moved.add_argument("--reason", metavar="REASON", help="as the JSON names it, such as due_changed")
    moved.add_argument("--limit", type=int, default=LISTED, metavar="N", help="default: %(default)s")
    unplaced = _action(actions, "unplaced", "the checks that stand in no week, and why", run_unplaced)
    unplaced.add_argument("--reason", metavar="REASON", help="as the JSON names it, such as no_room")
    unplaced.add_argument("--limit", type=int, default=LISTED, metavar="N", help="default: %(default)s")
    exported = _action(actions, "export", "write the newest plan to a file", run_export)
    exported.add_argument("file", type=Path, metavar="FILE.csv|FILE.xlsx")
    register_plan_changes(actions)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Make a plan and print it. Interrupted, it leaves the plan before as it was."""
    today = utc_today()
    starts_on = parsed.starts_on or today - timedelta(days=today.weekday())
    wanted = PlanRequest(starts_on, parsed.weeks, parsed.frozen, parsed.planned)
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        made = make_plan(connection, wanted, today, parsed.by, progress=_shown_progress())
    return _tell(made, as_json=parsed.json)


def run_show(parsed: argparse.Namespace) -> int:
    """Print the newest plan, or the checks of one of its weeks."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        crew = None if parsed.crew is None else crew_named(connection, parsed.crew)
        if parsed.week is not None:
            checks = checks_of_week(connection, parsed.week, None if crew is None else crew.crew_id, limit=None)
            return _tell_checks(checks, as_json=parsed.json)
        found = summary(connection, current_plan(connection))
    if crew is not None:
        rows = tuple(row for row in found.crew_weeks if row.crew_id == crew.crew_id)
        found = PlanSummary(found.plan, rows, found.unplaced, found.moves)
    return _tell(found, as_json=parsed.json)


def run_moves(parsed: argparse.Namespace) -> int:
    """Print what stands elsewhere than in the plan before."""
    reason = None if parsed.reason is None else moved_named(parsed.reason)
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        plan = current_plan(connection)
        moves = list_moves(connection, plan, reason=reason, limit=parsed.limit)
        counts = summary(connection, plan).moves
    rows = list(answers.move_rows(moves))
    if parsed.json:
        return _as_json({"plan_run_id": plan.plan_run_id, "moves": rows})
    for count in counts:
        print(f"{count.checks:>7,}  {count.reason.words}")
    if not rows:
        print("nothing stands elsewhere than in the plan before")
        return 0
    print()
    for row in rows:
        print(f"{row['tag']:<20}  {_place(row, 'from')} → {_place(row, 'to')}  {row['reason']}{_said(row)}")
    return 0


def run_unplaced(parsed: argparse.Namespace) -> int:
    """Print the checks that stand in no week."""
    reason = None if parsed.reason is None else unplaced_named(parsed.reason)
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        plan = current_plan(connection)
        rows = list(answers.unplaced_rows(list_unplaced(connection, plan, reason=reason, limit=parsed.limit)))
        count = summary(connection, plan).unplaced_checks
    if parsed.json:
        return _as_json({"plan_run_id": plan.plan_run_id, "checks": rows})
    print(f"{count:,} checks stand in no week" if count else "every check has a week")
    for row in rows:
        print(f"{row['tag']:<20}  due {row['due_on']}, latest {row['latest_on']}  {row['reason']}")
    return 0


def run_export(parsed: argparse.Namespace) -> int:
    """Write the newest plan to a file."""
    path: Path = parsed.file
    kind = path.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        raise FileKindUnknown(f"'{path.name}' ends in neither .csv nor .xlsx")
    # The workbook's writer and what comes with it take longer to load than the other actions take to answer.
    from registry.web.csv_text import csv_text
    from registry.web.workbook import Sheet, workbook_bytes

    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        plan = current_plan(connection)
        told = summary(connection, plan)
        checks = whole_plan(connection, plan)
        if kind == ".csv":
            content = ("\ufeff" + csv_text(answers.check_rows(checks), answers.CHECK_COLUMNS)).encode()
        else:
            unplaced = list_unplaced(connection, plan, limit=None)
            moves = list_moves(connection, plan, limit=None)
            content = workbook_bytes([Sheet(*parts) for parts in answers.sheets(told, checks, unplaced, moves)])
    try:
        path.write_bytes(content)
    except OSError as exc:
        raise FileKindUnknown(f"{path} cannot be written: {exc.strerror}") from exc
    if parsed.json:
        return _as_json({"file": str(path), "plan_run_id": plan.plan_run_id, "checks": told.checks})
    print(f"{told.checks:,} checks of plan {plan.plan_run_id} written to {path}")
    return 0


def _action(actions: Any, name: str, what: str, run: Any) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = actions.add_parser(name, help=what, description=what)
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    parser.set_defaults(run=run)
    return parser


def _shown_progress() -> Any:
    """Progress on the error output: over itself on a screen, a line a stage elsewhere."""
    began, on_screen, last = monotonic(), sys.stderr.isatty(), [""]

    def told(share: float, what: str) -> None:
        line = f"[{monotonic() - began:6.1f} s] {share:4.0%} {what}"
        if on_screen:
            print(f"\r{line:<79}", end="\n" if share >= 1 else "", file=sys.stderr, flush=True)
        elif what != last[0]:
            print(line, file=sys.stderr, flush=True)
        last[0] = what

    return told


def _tell(told: PlanSummary, *, as_json: bool) -> int:
    if as_json:
        return _as_json(answers.summary_document(told))
    plan = told.plan
    print(
        f"Plan {plan.plan_run_id}: {plan.weeks} weeks from {plan.starts_on}, {told.checks:,} checks by"
        f" {len({row.crew_id for row in told.crew_weeks})} crews; {plan.frozen_weeks} weeks frozen,"
        f" {plan.planned_weeks} planned, the rest forecast"
    )
    headings = f"{'checks':>7}  {'hours':>7}  {'of hours':>8}  {'late':>6}  {'early':>6}  {'done':>6}"
    print(f"\n{'week of':<10}  {'':<8}  {headings}")
    for week in told.weeks:
        share = f"{week.minutes / week.capacity_minutes:.0%}" if week.capacity_minutes else "–"
        print(
            f"{week.week_starting_on}  {week.horizon:<8}  {week.checks:>7,}  {week.minutes / 60:>7.1f}  {share:>8}"
            f"  {week.late:>6,}  {week.early:>6,}  {week.done:>6,}"
        )
    print("\nlate: due before the week begins; early: due after it ends\n")
    for sentence in limits_in_words(told):
        print(f"- {sentence}")
    if told.moved_checks:
        print(f"- {told.moved_checks:,} checks stand elsewhere than in the plan before: `jointwright plan moves`")
    return 0


def _tell_checks(checks: Sequence[PlannedCheck], *, as_json: bool) -> int:
    if as_json:
        return _as_json({"checks": list(answers.check_rows(checks))})
    print(f"{len(checks):,} checks")
    for check in checks:
        print(
            f"{check.tag:<20}  {check.crew:<18}  {check.area or 'no area':<22}  due {check.due_on}"
            f"  {check.minutes:>5.0f} min{''.join(_marks(check))}"
        )
    return 0


def _marks(check: PlannedCheck) -> Iterable[str]:
    marks = (
        (check.late, "late"),
        (check.pinned, "put there by a person"),
        (check.scaffold > 0, f"scaffold {check.scaffold}"),
        (check.requires_outage, "in outage"),
        (check.done, "done"),
    )
    return (f", {said}" for holds, said in marks if holds)


def _place(row: dict[str, Any], side: str) -> str:
    week, crew = row[f"{side}_week"], row[f"{side}_crew"]
    return "no week" if week is None else f"{week} {crew}"


def _said(row: dict[str, Any]) -> str:
    return f" ({row['moved_by']}: {row['note']})" if row["moved_by"] else ""


def _as_json(document: Any) -> int:
    print(orjson.dumps(document).decode())
    return 0
