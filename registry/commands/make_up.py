"""`jointwright make-up`: record one and get its verdict; what was recorded; procedures, tools, papers that run out."""

import argparse
import sys
import tomllib
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import orjson

from registry.assembly.model import MakeUpAnswer, MakeUpSent
from registry.assembly.service import record_make_up
from registry.commands import COMMANDS
from registry.commands.days import day, utc_today
from registry.commands.session import open_site
from registry.errors import Invalid
from registry.makeup.model import MakeUp
from registry.makeup.procedures import MAKE_UP_KINDS, Procedure, Step
from registry.makeup.reading_procedures import document_of
from registry.makeup.service import (
    make_ups_of_joint,
    procedure_of,
    procedures_of_joint,
    publish_first_procedures,
    publish_procedures,
)
from registry.papers.service import SOON_DAYS, expiring, tools

METHODS = ("turns", "torque", "tension")


class AnswersUnreadable(Invalid):
    """The answers cannot be read"""

    slug = "answers-unreadable"


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `make-up` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("make-up", description=COMMANDS["make-up"])
    actions = parser.add_subparsers(
        dest="action", required=True, metavar="record|show|procedures|publish|tools|expiring"
    )
    _add_record(actions)
    show = actions.add_parser("show", help="the make-ups of a joint, with their verdicts")
    show.add_argument("tag", metavar="TAG")
    show.set_defaults(run=run_show)
    listed = actions.add_parser("procedures", help="by what a joint may be made up, or every procedure of the site")
    listed.add_argument("code", nargs="?", metavar="CODE", help="show the steps of this one")
    listed.add_argument("--tag", metavar="TAG", help="those for this joint")
    listed.add_argument("--family", metavar="F", help="those for this family")
    listed.add_argument("--size", type=float, metavar="MM", help="those for this size")
    listed.add_argument("--version", type=int, metavar="N", help="of CODE, not the newest")
    listed.set_defaults(run=run_procedures)
    publish = actions.add_parser("publish", help="publish a plant's own procedures as their next versions")
    publish.add_argument("file", type=Path, metavar="FILE", help="TOML, in the form of the shipped procedures")
    publish.add_argument("--by", required=True, metavar="NAME")
    publish.add_argument("--note", required=True, metavar="WHY")
    publish.set_defaults(run=run_publish)
    tools_ = actions.add_parser("tools", help="tools with their newest calibration")
    tools_.set_defaults(run=run_tools)
    ending = actions.add_parser("expiring", help="qualifications and calibrations that ran out or soon will")
    ending.add_argument(
        "--days", type=int, default=SOON_DAYS, metavar="D", help=f"within so many (default {SOON_DAYS})"
    )
    ending.set_defaults(run=run_expiring)
    for action in (show, listed, publish, tools_, ending):
        action.add_argument("--json", action="store_true", help="answer as JSON")
    return parser


def run_record(parsed: argparse.Namespace) -> int:
    """Record a make-up and print its verdict."""
    sent = MakeUpSent(
        tag=parsed.tag,
        made_up_on=parsed.on or utc_today(),
        fitter=parsed.by,
        client_uuid=parsed.uuid or uuid4(),
        witness=parsed.witness,
        kind=parsed.kind,
        method=parsed.method,
        procedure=parsed.procedure,
        answers={**_from_file(parsed.answers_from), **_from_words(parsed.answer)},
        tools=parsed.tool,
        photos=parsed.photo,
        notes=parsed.notes,
        supersedes=parsed.corrects,
        reason=parsed.reason,
    )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        answer = record_make_up(connection, sent, utc_today())
    print(orjson.dumps(answer).decode() if parsed.json else _told(answer))
    return 0


def run_show(parsed: argparse.Namespace) -> int:
    """Print the make-ups of a joint."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        found = make_ups_of_joint(connection, parsed.tag)
    if parsed.json:
        print(orjson.dumps(found).decode())
        return 0
    for make_up in found:
        print("\n".join(_lines(make_up)))
    if not found:
        print("no make-up of it is on record")
    return 0


def run_procedures(parsed: argparse.Namespace) -> int:
    """Print procedures, or the steps of one."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        if parsed.code is not None:
            found: tuple[Procedure, ...] = (procedure_of(connection, parsed.code, parsed.version),)
        elif parsed.tag is not None:
            found = procedures_of_joint(connection, parsed.tag)
        else:
            found = tuple(
                each
                for each in publish_first_procedures(connection)
                if each.fits(parsed.family or each.family, parsed.size)
            )
    if parsed.json:
        print(orjson.dumps([{"version": each.version, **document_of(each)} for each in found]).decode())
    elif parsed.code is not None:
        _tell_steps(found[0])
    else:
        for each in found:
            print(f"{each.code}  version {each.version}, {each.family} by {each.method}: {each.title}")
        if not found:
            print("no procedure is for that; `jointwright make-up publish FILE` adds a plant's own")
    return 0


def run_publish(parsed: argparse.Namespace) -> int:
    """Publish procedures of a file and print their versions."""
    try:
        document = tomllib.loads(parsed.file.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as exc:
        raise AnswersUnreadable(f"{parsed.file}: {exc}") from exc
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        published = publish_procedures(connection, document, parsed.by, parsed.note)
    if parsed.json:
        print(orjson.dumps([{"code": each.code, "version": each.version} for each in published]).decode())
        return 0
    for each in published:
        print(f"{each.code}: version {each.version} published")
    if not published:
        print("nothing to publish: the procedures stand as this file has them")
    return 0


def run_tools(parsed: argparse.Namespace) -> int:
    """Print the tools with their newest calibration."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        found = tools(connection)
    if parsed.json:
        print(orjson.dumps(found).decode())
        return 0
    for tool in found:
        last = tool.calibrations[-1] if tool.calibrations else None
        state = "never calibrated"
        if last is not None:
            state = f"calibrated on {last.calibrated_on}, found {last.as_found}, until {last.valid_until_on}"
        print(f"{tool.serial}  {tool.kind.replace('_', ' ')}: {state}")
    if not found:
        print("no tool is on the register; `jointwright load tools FILE`, then `load calibrations FILE`")
    return 0


def run_expiring(parsed: argparse.Namespace) -> int:
    """Print the papers that run out."""
    today = utc_today()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        found = expiring(connection, today, parsed.days)
    if parsed.json:
        print(orjson.dumps(found).decode())
        return 0
    for paper in found:
        ends = "ran out" if paper.valid_until_on < today else "runs out"
        print(f"{paper.subject}: {paper.kind} ({paper.detail.replace('_', ' ')}) {ends} on {paper.valid_until_on}")
    if not found:
        print(f"nothing runs out within {parsed.days} days")
    return 0


def _add_record(actions: Any) -> None:
    record: argparse.ArgumentParser = actions.add_parser(
        "record", help="record a make-up and get its verdict; it is kept whatever the verdict"
    )
    record.add_argument("tag", metavar="TAG")
    record.add_argument(
        "--answer", nargs="+", action="extend", default=[], metavar="STEP=ANSWER",
        help="yes, no, a reading, a serial or a lot, such as turned=1.25",
    )  # fmt: skip
    record.add_argument("--answers-from", type=Path, metavar="FILE", help="answers by step as JSON; `-` for the input")
    record.add_argument("--by", metavar="NAME", help="the fitter")
    record.add_argument("--witness", metavar="NAME")
    record.add_argument("--on", type=day, metavar="YYYY-MM-DD", help="day of the make-up (default: today)")
    record.add_argument("--kind", choices=MAKE_UP_KINDS, default="first")
    record.add_argument("--method", choices=METHODS)
    record.add_argument("--procedure", metavar="CODE", help="default: the only one for the joint and the method")
    record.add_argument("--tool", action="append", default=[], metavar="SERIAL", help="one that no step asks for")
    record.add_argument("--photo", action="append", default=[], metavar="WHERE", help="where a picture is kept")
    record.add_argument("--notes", metavar="TEXT")
    record.add_argument("--corrects", type=int, metavar="ID", help="the record that this one takes the place of")
    record.add_argument("--reason", metavar="WHY", help="why that record is corrected")
    record.add_argument("--uuid", type=UUID, metavar="U", help="name this report, so that sending it twice counts once")
    record.add_argument("--json", action="store_true", help="answer as JSON")
    record.set_defaults(run=run_record)


def _from_file(path: Path | None) -> dict[str, bool | float | str]:
    if path is None:
        return {}
    try:
        found = orjson.loads(sys.stdin.buffer.read() if str(path) == "-" else path.read_bytes())
    except (OSError, orjson.JSONDecodeError) as exc:
        raise AnswersUnreadable(f"{path}: {exc}") from exc
    if not isinstance(found, dict) or not all(isinstance(value, bool | int | float | str) for value in found.values()):
        raise AnswersUnreadable(f"{path}: answers are one object of steps, each with yes or no, a number or a text")
    return {str(key): value for key, value in found.items()}


def _from_words(words: list[str]) -> dict[str, bool | float | str]:
    wrong = [word for word in words if "=" not in word]
    if wrong:
        raise AnswersUnreadable(f"'{wrong[0]}' is no answer: write STEP=ANSWER, such as turned=1.25")
    return {key: answer for key, _, answer in (word.partition("=") for word in words)}


def _told(answer: MakeUpAnswer) -> str:
    by = "" if answer.procedure is None else f", by {answer.procedure} version {answer.procedure_version}"
    again = ", recorded before; nothing was added" if answer.repeated else ""
    lines = [f"{answer.tag}: {answer.verdict} (make-up {answer.make_up_id}{by}){again}"]
    lines += [f"  {reason['kind']}: {reason['text']}" for reason in answer.reasons]
    lines += [
        f"  before it: make-up {each.make_up_id} on {each.made_up_on} by {each.fitter or 'nobody'}, {each.verdict}"
        for each in answer.earlier
    ]
    if answer.new_due_on is None:
        lines.append("  the site is not scored yet: run `jointwright score`")
    else:
        before = "as before" if answer.new_due_on == answer.old_due_on else f"before that on {answer.old_due_on}"
        lines.append(f"  due on {answer.new_due_on} ({(answer.due_reason or '').replace('_', ' ')}), {before}")
    return "\n".join(lines)


def _lines(make_up: MakeUp) -> list[str]:
    people = f"by {make_up.fitter or 'nobody named'}" + (f", witness {make_up.witness}" if make_up.witness else "")
    by = "" if make_up.procedure_code is None else f", {make_up.procedure_code} version {make_up.procedure_version}"
    lines = [f"make-up {make_up.make_up_id} on {make_up.made_up_on} {people}: {make_up.verdict}{by}"]
    if make_up.judged is not None:
        lines[0] += f", judged {make_up.judged}"
    lines += [f"  {reason['kind']}: {reason['text']}" for reason in make_up.reasons or ()]
    if make_up.tools or make_up.lots:
        lines.append(f"  with {', '.join((*make_up.tools, *make_up.lots))}")
    if make_up.supersedes is not None:
        lines.append(f"  corrects make-up {make_up.supersedes}: {make_up.reason}")
    if make_up.superseded_by is not None:
        lines.append(f"  corrected by make-up {make_up.superseded_by}")
    return lines


def _tell_steps(procedure: Procedure) -> None:
    print(f"{procedure.code} version {procedure.version}: {procedure.title}\n")
    for caution in procedure.cautions:
        print(f"  ! {caution}")
    print()
    for step in procedure.steps:
        print(f"  {step.key}  {step.ask}  [{_wanted(step)}]")
    print(f"\n  Source: {procedure.source}")


def _wanted(step: Step) -> str:
    wanted = {"confirm": "yes", "absent": "no", "number": step.unit, "tool": "serial", "lot": "lot"}[step.kind]
    only = "" if step.only is None else f", {step.only} only"
    return f"{wanted}{only}{', may be left out' if step.optional else ''}"
