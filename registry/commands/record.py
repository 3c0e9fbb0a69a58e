"""`due record TAG RESULT` and `route record ID STOP RESULT`: what a crew found, into the ledger."""

import argparse
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import orjson

from registry.checks.model import RESULTS, CheckAnswer, CheckReport
from registry.checks.service import joint_at_stop, record_result
from registry.commands.days import moment, utc_today
from registry.commands.session import open_site
from registry.leaks.model import SEVERITIES


def register_due_record(actions: Any) -> argparse.ArgumentParser:
    """Add `record TAG RESULT` below `due`."""
    parser: argparse.ArgumentParser = actions.add_parser("record", help="record what was found at a joint")
    parser.add_argument("tag", metavar="TAG")
    _add_result(parser)
    parser.set_defaults(run=run_due_record)
    return parser


def register_route_record(actions: Any) -> argparse.ArgumentParser:
    """Add `record ID STOP RESULT` below `route`."""
    parser: argparse.ArgumentParser = actions.add_parser("record", help="record what was found at a stop of a route")
    parser.add_argument("route_id", type=int, metavar="ID")
    parser.add_argument("position", type=int, metavar="STOP", help="number of the stop")
    _add_result(parser)
    parser.set_defaults(run=run_route_record)
    return parser


def run_due_record(parsed: argparse.Namespace) -> int:
    """Record a result at a joint and print what came of it."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        answer = record_result(connection, _report(parsed, tag=parsed.tag), utc_today())
    return _tell(answer, as_json=parsed.json)


def run_route_record(parsed: argparse.Namespace) -> int:
    """Record a result at a stop and print what came of it."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        joint_id = joint_at_stop(connection, parsed.route_id, parsed.position)
        report = _report(parsed, joint_id=joint_id, route_id=parsed.route_id)
        answer = record_result(connection, report, utc_today())
    return _tell(answer, as_json=parsed.json)


def _add_result(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("result", choices=RESULTS, metavar="RESULT", help=", ".join(RESULTS))
    parser.add_argument("--by", metavar="NAME", help="who looked")
    parser.add_argument("--at", type=moment, metavar="TIME", help="when, such as 2026-11-26T10:30 (default: now)")
    parser.add_argument("--ppmv", type=float, metavar="P", help="screening value")
    parser.add_argument("--severity", choices=SEVERITIES, help="of a leak (default: weep if weeping, drip if leaking)")
    parser.add_argument("--notes", metavar="TEXT")
    parser.add_argument("--uuid", type=UUID, metavar="U", help="name this report, so that sending it twice counts once")
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")


def _report(parsed: argparse.Namespace, **named: Any) -> CheckReport:
    return CheckReport(
        observed_at=parsed.at or datetime.now(UTC),
        result=parsed.result,
        client_uuid=parsed.uuid or uuid4(),
        screening_ppmv=parsed.ppmv,
        checked_by=parsed.by,
        notes=parsed.notes,
        severity=parsed.severity,
        **named,
    )


def _tell(answer: CheckAnswer, *, as_json: bool) -> int:
    if as_json:
        print(orjson.dumps(answer).decode())
        return 0
    said = f"{answer.tag}: {answer.result.replace('_', ' ')}"
    print(f"{said}, recorded before; nothing was added" if answer.repeated else f"{said}, recorded")
    if answer.leak_id is not None:
        print(f"  leak {answer.leak_id} is open; its repair: jointwright leaks step {answer.leak_id} repaired")
    if answer.new_due_on is None:
        print("  the site is not scored yet: run `jointwright score`")
    elif answer.new_due_on == answer.old_due_on:
        print(f"  due on {answer.new_due_on}, as before")
    else:
        print(f"  due on {answer.new_due_on}, before that on {answer.old_due_on}")
    return 0
