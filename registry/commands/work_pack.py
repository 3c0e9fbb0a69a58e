"""`jointwright work-pack`: joints broken, made again, leak-tested; what stands open; hand back, certificate."""

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import orjson

from registry.commands import COMMANDS
from registry.commands.days import moment, utc_today
from registry.commands.session import open_site
from registry.completion.model import Completion, PackJoint, StepReport
from registry.completion.service import add_joints, certificate, hand_back, open_pack, read_completion, record_step
from registry.completion.store import list_packs


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `work-pack` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("work-pack", description=COMMANDS["work-pack"])
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run_list)
    actions = parser.add_subparsers(dest="action", metavar="open|add|show|broken|tested|hand-back|certificate")

    opened = _action(actions, "open", "open a work pack on the joints that are to be broken", run_open)
    opened.add_argument("title", metavar="TITLE")
    opened.add_argument("tags", nargs="+", metavar="TAG")
    opened.add_argument("--by", required=True, metavar="NAME", help="who opens it")
    added = _action(actions, "add", "put more joints into it", run_add)
    added.add_argument("tags", nargs="+", metavar="TAG")
    _action(actions, "show", "how far each joint has come", run_show)
    broken = _action(actions, "broken", "record that a joint was broken", run_broken)
    tested = _action(actions, "tested", "record the leak test of a joint", run_tested)
    tested.add_argument("--leaked", action="store_true", help="it did not pass")
    for step in (broken, tested):
        step.add_argument("tag", metavar="TAG")
        step.add_argument("--by", required=True, metavar="NAME", help="who did it")
        step.add_argument("--at", type=moment, metavar="TIME", help="when (default: now)")
        step.add_argument("--notes", metavar="TEXT")
        step.add_argument(
            "--uuid", type=UUID, metavar="U", help="name this report, so that sending it twice counts once"
        )
    back = _action(actions, "hand-back", "hand the system back; refused while anything stands open", run_hand_back)
    back.add_argument("--by", required=True, metavar="NAME", help="who hands it back")
    paper = _action(actions, "certificate", "write the certificate of completion as a PDF", run_certificate)
    paper.add_argument("file", type=Path, metavar="FILE.pdf")
    return parser


def run_list(parsed: argparse.Namespace) -> int:
    """Print the work packs."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        packs = list_packs(connection)
    if parsed.json:
        print(orjson.dumps(packs).decode())
    elif not packs:
        print("there is no work pack; `jointwright work-pack open CODE TITLE TAG … --by NAME` opens one")
    for pack in () if parsed.json else packs:
        state = f"handed back {pack.handed_back_at:%Y-%m-%d}" if pack.handed_back_at else "open"
        print(f"{pack.code}  {pack.title}: {pack.joints:,} joints, {state}")
    return 0


def run_open(parsed: argparse.Namespace) -> int:
    """Open a work pack and print it."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        completion = open_pack(connection, parsed.code, parsed.title, parsed.by, parsed.tags)
    return _tell(completion, as_json=parsed.json)


def run_add(parsed: argparse.Namespace) -> int:
    """Put joints into a work pack and print it."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        completion = add_joints(connection, parsed.code, parsed.tags)
    return _tell(completion, as_json=parsed.json)


def run_show(parsed: argparse.Namespace) -> int:
    """Print how far a work pack has come."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        completion = read_completion(connection, parsed.code)
    return _tell(completion, as_json=parsed.json)


def run_broken(parsed: argparse.Namespace) -> int:
    """Record a break-out."""
    return _run_step(
        parsed,
        StepReport(
            tag=parsed.tag,
            step="broken",
            passed=True,
            observed_at=parsed.at or datetime.now(UTC),
            done_by=parsed.by,
            client_uuid=parsed.uuid or uuid4(),
            notes=parsed.notes,
        ),
    )


def run_tested(parsed: argparse.Namespace) -> int:
    """Record a leak test."""
    return _run_step(
        parsed,
        StepReport(
            tag=parsed.tag,
            step="leak_tested",
            passed=not parsed.leaked,
            observed_at=parsed.at or datetime.now(UTC),
            done_by=parsed.by,
            client_uuid=parsed.uuid or uuid4(),
            notes=parsed.notes,
        ),
    )


def run_hand_back(parsed: argparse.Namespace) -> int:
    """Hand a system back."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        completion = hand_back(connection, parsed.code, parsed.by, datetime.now(UTC))
    return _tell(completion, as_json=parsed.json)


def run_certificate(parsed: argparse.Namespace) -> int:
    """Write the certificate."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        pdf = certificate(connection, parsed.code, site.name)
    parsed.file.write_bytes(pdf)
    print(f"wrote {parsed.file}")
    return 0


def _action(actions: Any, name: str, words: str, run: Any) -> argparse.ArgumentParser:
    action: argparse.ArgumentParser = actions.add_parser(name, help=words)
    action.add_argument("code", metavar="CODE", help="code of the work pack")
    action.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    action.set_defaults(run=run)
    return action


def _run_step(parsed: argparse.Namespace, report: StepReport) -> int:
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        joint = record_step(connection, parsed.code, report, utc_today())
    print(orjson.dumps({"state": joint.state, "joint": joint}).decode() if parsed.json else _line(joint))
    return 0


def _tell(completion: Completion, *, as_json: bool) -> int:
    if as_json:
        print(orjson.dumps(completion.as_row()).decode())
        return 0
    pack, stand_open = completion.pack, completion.open
    print(f"{pack.code}  {pack.title}, opened by {pack.opened_by} on {pack.opened_at:%Y-%m-%d}")
    for joint in completion.joints:
        print(f"  {_line(joint)}")
    if pack.handed_back_at is not None:
        print(f"handed back by {pack.handed_back_by} on {pack.handed_back_at:%Y-%m-%d}")
    else:
        print(
            f"{len(stand_open)} of {len(completion.joints)} joints stand open" if stand_open else "nothing stands open"
        )
    return 0


def _line(joint: PackJoint) -> str:
    return f"{joint.state:<17}  {joint.tag}"
