"""`jointwright recall`: call in every joint that a tool, a person, a lot or a procedure made; follow it to its end."""

import argparse
from datetime import date
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day, utc_today
from registry.commands.session import open_site
from registry.recalls.model import (
    DAYS_BY_CLASS,
    RECALL_KINDS,
    RaisedRecall,
    Recall,
    RecalledJoint,
    RecallRequest,
    SuspectJoint,
    Suspects,
)
from registry.recalls.service import raise_recall, read_recall, suspects
from registry.recalls.store import list_recall_areas, list_recalled_joints, list_recalls, list_suspects

LISTED = 50
_SUBJECTS = {
    "tool": (
        "SERIAL",
        "a tool's serial; days not given run from its last good calibration to the one that found it out",
    ),
    "person": ("NAME", "the name of a fitter, as in the make-ups"),
    "lot": ("LOT", "a lot of gaskets, ferrule sets, tube, seal rings or bolts"),
    "procedure": ("CODE[/VERSION]", "the code of a procedure, and its version"),
}


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `recall` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("recall", description=COMMANDS["recall"])
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run_list)
    actions = parser.add_subparsers(dest="action", metavar="tool|person|lot|procedure|show")
    for kind in RECALL_KINDS:
        metavar, words = _SUBJECTS[kind]
        action = actions.add_parser(kind, help=f"joints made up with this {kind}; with --raise, call them in")
        action.add_argument("subject", metavar=metavar, help=words)
        action.add_argument("--from", dest="from_on", type=day, metavar="YYYY-MM-DD", help="first day of make-up")
        action.add_argument("--until", dest="until_on", type=day, metavar="YYYY-MM-DD", help="last day of make-up")
        action.add_argument("--raise", dest="raised", action="store_true", help="call them in: a check of each")
        action.add_argument("--by", default="", metavar="NAME", help="who raises it (with --raise)")
        action.add_argument("--why", default="", metavar="TEXT", help="why (with --raise)")
        action.add_argument(
            "--days",
            type=_days_by_class,
            default=DAYS_BY_CLASS,
            metavar="D1,D2,D3,D4,D5",
            help=f"days to the check by consequence class (default: {','.join(map(str, DAYS_BY_CLASS))})",
        )
        action.set_defaults(run=run_subject, kind=kind)
        _add_listing(action)
    show = actions.add_parser("show", help="how far a recall has come, by area and joint")
    show.add_argument("recall_id", type=int, metavar="ID")
    show.set_defaults(run=run_show)
    _add_listing(show)
    return parser


def run_list(parsed: argparse.Namespace) -> int:
    """Print the recalls."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        recalls = list_recalls(connection, utc_today())
    if parsed.json:
        print(orjson.dumps([recall.as_row() for recall in recalls]).decode())
    elif not recalls:
        print("no recall was raised yet; `jointwright recall tool SERIAL` shows what one would call in")
    else:
        print("\n".join(_line(recall) for recall in recalls))
    return 0


def run_subject(parsed: argparse.Namespace) -> int:
    """Print the joints that a recall would call in, or call them in."""
    today = utc_today()
    request = RecallRequest(
        kind=parsed.kind,
        subject=parsed.subject,
        from_on=parsed.from_on,
        until_on=parsed.until_on,
        days_by_class=parsed.days,
    )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        if parsed.raised:
            raised = raise_recall(connection, request, reason=parsed.why, raised_by=parsed.by, today=today)
            print(orjson.dumps(raised).decode() if parsed.json else _raised(raised))
            return 0
        found = suspects(connection, request, today)
        joints = list_suspects(connection, found.joint_ids, parsed.limit or len(found.joint_ids))
    if parsed.json:
        document = {
            "kind": found.kind,
            "subject": found.subject,
            "from_on": found.from_on,
            "until_on": found.until_on,
            "why": found.why,
            "joints": len(found.joint_ids),
            "made_again": found.made_again,
            "listed": joints,
        }
        print(orjson.dumps(document).decode())
    else:
        _tell(found, joints)
    return 0


def run_show(parsed: argparse.Namespace) -> int:
    """Print a recall's progress."""
    today = utc_today()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        recall = read_recall(connection, parsed.recall_id, today)
        areas = list_recall_areas(connection, recall.recall_id, today)
        joints = list_recalled_joints(connection, recall.recall_id, limit=parsed.limit or recall.joints)
    if parsed.json:
        rows = [{"state": joint.state(today), **_fields(joint)} for joint in joints]
        print(orjson.dumps({**recall.as_row(), "areas": areas, "listed": rows}).decode())
        return 0
    print(_line(recall))
    print(f"  {recall.reason} ({recall.raised_by}, {recall.raised_at:%Y-%m-%d %H:%M})")
    for area in areas:
        print(f"  {area.area or 'in no area'}: {area.closed:,} of {area.joints:,} closed, {area.overdue:,} overdue")
    for joint in joints:
        print(f"  {joint.raised_due_on}  {joint.state(today):<10}  {joint.tag}")
    if len(joints) < recall.joints:
        print(f"  … the first {len(joints):,}; --limit 0 lists all")
    return 0


def _add_listing(action: argparse.ArgumentParser) -> None:
    action.add_argument("--limit", type=int, default=LISTED, metavar="N", help="default: %(default)s; 0 for all")
    action.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")


def _days_by_class(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is not whole numbers such as 90,60,30,14,7") from exc


def _line(recall: Recall) -> str:
    return (
        f"recall {recall.recall_id}: {recall.kind} {recall.subject}, made up {recall.from_on} to {recall.until_on}:"
        f" {recall.closed:,} of {recall.joints:,} closed, {recall.overdue:,} overdue"
    )


def _raised(raised: RaisedRecall) -> str:
    text = f"recall {raised.recall_id}: {raised.joints:,} joints called in, the first due on {raised.first_due_on}"
    text += f"\n  {raised.moved:,} due dates were brought forward"
    if raised.made_again:
        text += f"\n  {raised.made_again:,} joints were made up again since and are left out"
    return f"{text}\n  its progress: jointwright recall show {raised.recall_id}"


def _tell(found: Suspects, joints: list[SuspectJoint]) -> None:
    print(f"{found.kind} {found.subject}, {found.from_on} to {found.until_on}: {found.why}")
    print(f"{len(found.joint_ids):,} joints stand that were made up so; {found.made_again:,} were made up again since")
    for joint in joints:
        due = "not scored" if joint.due_on is None else f"class {joint.consequence_class}, due {joint.due_on}"
        print(f"  {joint.tag}  {joint.area or 'in no area'}  made up {joint.made_up_on}  {due}")
    if len(joints) < len(found.joint_ids):
        print(f"  … the first {len(joints):,}; --limit 0 lists all")
    if found.joint_ids:
        print("nothing was raised; add --raise --by NAME --why TEXT to call them in")


def _fields(joint: RecalledJoint) -> dict[str, str | float | date | None]:
    return {
        "tag": joint.tag,
        "area": joint.area,
        "family": joint.family,
        "east_m": joint.east_m,
        "north_m": joint.north_m,
        "raised_due_on": joint.raised_due_on,
        "checked_at": joint.checked_at,
        "made_again_on": joint.made_again_on,
    }
