"""`jointwright plan move|let-go|defer|deferrals`: what people change about a plan."""

import argparse
from dataclasses import asdict
from typing import Any

import orjson

from registry.commands.days import day, utc_today
from registry.commands.session import open_site
from registry.crews.service import crew_named
from registry.db import Connection
from registry.joints.service import joint_of_tag
from registry.planning import answers
from registry.planning.changes import BundleKey, BundleUnknown, DeferralEffect, DeferralRequest, MoveEffect
from registry.planning.deferral_service import defer, list_deferrals, preview_deferral
from registry.planning.moving_service import bundle_of_tag, let_go, move_bundle, preview_move
from registry.planning.service import current_plan, list_bundles


def register_plan_changes(actions: Any) -> None:
    """Add the actions of `plan` that change it."""
    moved = _action(
        actions,
        "move",
        "move a check, or those of one area that a crew has in a week; later plans keep them there",
        run_move,
    )
    moved.add_argument("tag", nargs="?", metavar="TAG", help="one joint's next check")
    moved.add_argument("--week", type=day, metavar="YYYY-MM-DD", help="instead of a tag: from which week …")
    moved.add_argument("--crew", metavar="NAME", help="… of which crew …")
    moved.add_argument("--area", metavar="NAME", help="… in which area ('none': in none) …")
    moved.add_argument("--scaffold", type=int, default=0, metavar="N", help="… on which scaffold (default: on none)")
    moved.add_argument("--to-week", type=day, required=True, metavar="YYYY-MM-DD", help="a Monday")
    moved.add_argument("--to-crew", metavar="NAME", help="default: the same crew")
    moved.add_argument("--why", default="", metavar="TEXT")
    moved.add_argument("--by", default="", metavar="NAME", help="who moves it")
    moved.add_argument("--over-time", action="store_true", help="allow what puts the crew's week over its time")
    moved.add_argument("--preview", action="store_true", help="say what it would do, and do nothing")
    freed = _action(actions, "let-go", "leave checks that a person put somewhere to the next plan again", run_let_go)
    freed.add_argument("tags", nargs="+", metavar="TAG")
    deferred = _action(actions, "defer", "allow a joint's next check to be later than the policy does", run_defer)
    deferred.add_argument("tag", metavar="TAG")
    deferred.add_argument(
        "--until", dest="until_on", type=day, required=True, metavar="YYYY-MM-DD", help="its last day"
    )
    deferred.add_argument("--why", default="", metavar="TEXT")
    deferred.add_argument("--by", default="", metavar="NAME", help="who decided")
    deferred.add_argument("--preview", action="store_true", help="say what risk it would add, and record nothing")
    listed = _action(actions, "deferrals", "deferrals in force, newest first", run_deferrals)
    listed.add_argument("--tag", metavar="TAG", help="of one joint")
    listed.add_argument("--all", action="store_true", help="those that no longer count, too")


def run_move(parsed: argparse.Namespace) -> int:
    """Move checks, or say what that would do."""
    today = utc_today()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        bundle = _bundle(connection, parsed)
        crew_id = crew_named(connection, parsed.to_crew).crew_id if parsed.to_crew else bundle.crew_id
        if crew_id is None:
            raise BundleUnknown("it stands in no week yet: say with --to-crew who is to check it")
        if parsed.preview:
            effect = preview_move(connection, bundle, parsed.to_week, crew_id, today)
        else:
            effect = move_bundle(
                connection, bundle, parsed.to_week, crew_id, parsed.why, parsed.by, today, over_time=parsed.over_time
            )
    if parsed.json:
        return _as_json(answers.move_document(effect))
    return _tell_move(effect, preview=parsed.preview)


def run_let_go(parsed: argparse.Namespace) -> int:
    """Leave checks to the next plan again."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        joints = [joint_of_tag(connection, tag).joint_id for tag in parsed.tags]
        count = let_go(connection, joints)
    if parsed.json:
        return _as_json({"let_go": count})
    print(f"{count} left to the next plan again" if count else "nobody had put them anywhere")
    return 0


def run_defer(parsed: argparse.Namespace) -> int:
    """Defer a joint's next check, or say what that would add."""
    today = utc_today()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        effect = preview_deferral(connection, parsed.tag, parsed.until_on, today)
        made = None
        if not parsed.preview:
            made = defer(connection, DeferralRequest(parsed.tag, parsed.until_on, parsed.why, parsed.by), today)
    if parsed.json:
        return _as_json(asdict(effect if made is None else made))
    print(_risk(effect))
    if made is not None:
        print(f"deferral {made.deferral_id}: until {made.until_on}, decided by {made.decided_by}: {made.reason}")
        print("the due date stays; the next plan goes by it: run `jointwright plan`")
    return 0


def run_deferrals(parsed: argparse.Namespace) -> int:
    """Print deferrals."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        found = list_deferrals(connection, utc_today(), tag=parsed.tag, past_too=parsed.all)
    if parsed.json:
        return _as_json({"deferrals": [asdict(deferral) for deferral in found]})
    if not found:
        print("no check is deferred")
    for row in found:
        print(
            f"{row.deferral_id:>5}  {row.tag:<20}  due {row.due_on}, until {row.until_on}"
            f"{'' if row.in_force else ' (no longer counts)'}  adds {row.risk_added:.4f} weighted leaks"
            f"  {row.decided_by}: {row.reason}"
        )
    return 0


def _bundle(connection: Connection, parsed: argparse.Namespace) -> BundleKey:
    if parsed.tag is not None:
        return bundle_of_tag(connection, parsed.tag)
    if parsed.week is None or parsed.crew is None or parsed.area is None:
        raise BundleUnknown("say which checks: a tag, or --week, --crew and --area")
    crew, wanted = crew_named(connection, parsed.crew), " ".join(parsed.area.split()).casefold()
    bundles = [
        bundle
        for bundle in list_bundles(connection, current_plan(connection), parsed.week)
        if bundle.crew_id == crew.crew_id and bundle.scaffold == parsed.scaffold
    ]
    for bundle in bundles:
        if (bundle.area or "none").casefold() == wanted:
            return bundle.key
    known = ", ".join(sorted({bundle.area or "none" for bundle in bundles})) or "nothing"
    raise BundleUnknown(
        f"{crew.name} has no such checks in '{parsed.area}' in the week of {parsed.week}: it has {known}"
    )


def _tell_move(effect: MoveEffect, *, preview: bool) -> int:
    stood = "no week" if effect.from_week is None else f"the week of {effect.from_week} with {effect.from_crew}"
    what = "1 check" if effect.checks == 1 else f"{effect.checks:,} checks"
    would = "would go" if preview else "moved"
    print(
        f"{what} ({effect.minutes:.0f} min) {would} from {stood} to the week of {effect.to_week} with {effect.to_crew}"
    )
    print(f"cost added: {effect.cost_added_minutes:+,.1f} crew minutes")
    late = f"late {effect.late_before} before, {effect.late_after} after"
    print(f"risk added: {effect.risk_added:+.4f} weighted leaks; {late}")
    hours, of_hours = effect.planned_minutes_after / 60, effect.capacity_minutes / 60
    over = f": {effect.over_minutes / 60:.1f} over" if effect.over_minutes > 0 else ""
    print(f"{effect.to_crew} then has {hours:.1f} of {of_hours:.1f} hours to do in that week{over}")
    if effect.not_kept:
        print(f"{effect.not_kept} of them are later rounds of their joints: the next plan may move those again")
    for reason in effect.refused:
        print(f"not possible: {reason}")
    return 0


def _risk(effect: DeferralEffect) -> str:
    planned = (
        "it stands in no week" if effect.planned_week is None else f"planned for the week of {effect.planned_week}"
    )
    return (
        f"{effect.tag}, class {effect.consequence_class}, due {effect.due_on}, {planned}:"
        f" until {effect.until_on} adds {effect.risk_added:.4f} weighted leaks"
    )


def _action(actions: Any, name: str, what: str, run: Any) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = actions.add_parser(name, help=what, description=what)
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    parser.set_defaults(run=run)
    return parser


def _as_json(document: Any) -> int:
    print(orjson.dumps(document).decode())
    return 0
