"""Record a make-up: judge it by its procedure on its day, keep it whatever the verdict, and let the due date follow."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Final

from registry.assembly.answers import SortedAnswers, sorted_answers
from registry.assembly.model import EarlierMakeUp, MakeUpAnswer, MakeUpReportedOtherwise, MakeUpSent
from registry.db import Connection
from registry.errors import Issue
from registry.intervals.model import DUE_REASONS
from registry.intervals.service import reschedule_joints
from registry.intervals.store import read_due, share_score_lock
from registry.joints.model import Joint
from registry.joints.service import joint_of_tag
from registry.makeup import store
from registry.makeup.model import (
    AT_MAKE_UP,
    IN_RETROSPECT,
    MakeUp,
    MakeUpCorrectedBefore,
    MakeUpEntry,
    MakeUpUnfit,
    MakeUpUnknown,
)
from registry.makeup.past_make_ups import remarks_of
from registry.makeup.procedures import Procedure, procedures_for
from registry.makeup.report import MakeUpReport
from registry.makeup.service import procedure_of, publish_first_procedures
from registry.makeup.verdict import verdict
from registry.papers.model import people_of
from registry.papers.on_the_day import Qualification, ToolOnDay
from registry.papers.service import tools
from registry.papers.store import list_papers

OTHER_TOOLS: Final = "other-tools"
"""Under which the ledger keeps the serials of tools that no step asks for."""

MOST_EARLIER: Final = 5


def record_make_up(connection: Connection, sent: MakeUpSent, today: date) -> MakeUpAnswer:
    """Judge a make-up, add it to the ledger with its tools and lots, and score the joint anew.

    It is kept whatever the verdict. Of two who record the same joint at once, both are kept in order, and the later
    sees the earlier. The same report again (by `client_uuid`) adds nothing and gets the same answer. A correction
    supersedes the record that it names; one of an old record is judged in retrospect, as that was. Raises JointUnknown,
    ProcedureUnknown, ProcedureVersionUnknown, MakeUpUnfit with every fault, MakeUpUnknown, MakeUpCorrectedBefore, or
    MakeUpReportedOtherwise where the UUID stands with other content.
    """
    _refuse_unfit(sent, today)
    # The lock that scoring takes alone, see registry/intervals/service.py; first of all, so that everyone waits in
    # one order.
    share_score_lock(connection)
    joint = joint_of_tag(connection, sent.tag)
    publish_first_procedures(connection)
    # Taken before the look, so that the later of two sees the earlier's row and papers as they stand now.
    store.take_make_up_lock(connection)
    before = read_due(connection, joint.joint_id)
    stands = store.list_make_ups(connection, client_uuid=sent.client_uuid)
    procedure = _procedure(connection, _as_judged(sent, stands), joint)
    answers = sorted_answers(procedure, sent.kind, sent.answers)
    corrected = _corrected(connection, sent, repeated=bool(stands))
    entry, serials, lots = _entry(connection, sent, joint, procedure, answers, corrected)
    if stands:
        recorded = stands[0]
        _refuse_other(entry, recorded)
        make_up_id, outcome, reasons = recorded.make_up_id, recorded.verdict, recorded.reasons or []
    else:
        make_up_id, outcome, reasons = store.add_make_up(connection, entry, serials, lots), entry.verdict, entry.reasons
        reschedule_joints(connection, sorted({joint.joint_id, *([corrected.joint_id] if corrected else [])}))
    after = read_due(connection, joint.joint_id)
    return MakeUpAnswer(
        make_up_id=make_up_id,
        joint_id=joint.joint_id,
        tag=joint.tag,
        verdict=outcome,
        reasons=reasons,
        procedure=entry.procedure_code,
        procedure_version=entry.procedure_version,
        earlier=_earlier(store.list_make_ups(connection, joint_id=joint.joint_id), make_up_id),
        old_due_on=None if before is None else before[0],
        new_due_on=None if after is None else after[0],
        due_reason=None if after is None else DUE_REASONS[after[1]],
        repeated=bool(stands),
    )


def _refuse_unfit(sent: MakeUpSent, today: date) -> None:
    faults = [
        Issue(None, column, value, reason)
        for column, value, reason, faulty in (
            ("made_up_on", str(sent.made_up_on), "lies in the future", sent.made_up_on > today),
            ("reason", None, "say why the record is corrected", bool(sent.supersedes) and not _text(sent.reason)),
            ("reason", sent.reason, "names no record to correct", not sent.supersedes and bool(_text(sent.reason))),
            ("procedure_version", None, "needs the procedure", bool(sent.procedure_version) and not sent.procedure),
        )
        if faulty
    ]
    if faults:
        raise MakeUpUnfit("the make-up was refused", faults)


def _procedure(connection: Connection, sent: MakeUpSent, joint: Joint) -> Procedure | None:
    if sent.procedure is not None:
        named = procedure_of(connection, sent.procedure, sent.procedure_version)
        if sent.method not in (None, named.method):
            raise MakeUpUnfit(f"'{named.code}' is by {named.method}, not by {sent.method}")
        return named
    fitting = procedures_for(publish_first_procedures(connection), joint.family, joint.size_mm, sent.method)
    if len(fitting) > 1:
        listed = ", ".join(each.code for each in fitting)
        fault = Issue(None, "procedure", None, f"name one of {listed}")
        raise MakeUpUnfit(f"{joint.tag} may be made up by several procedures", [fault])
    return fitting[0] if fitting else None


def _as_judged(sent: MakeUpSent, stands: list[MakeUp]) -> MakeUpSent:
    """A report sent again is held against the version that it was judged by, whatever was published since."""
    code = stands[0].procedure_code if stands else None
    if code is None or sent.procedure not in (None, code) or sent.procedure_version is not None:
        return sent
    return replace(sent, procedure=code, procedure_version=stands[0].procedure_version)


def _corrected(connection: Connection, sent: MakeUpSent, *, repeated: bool) -> MakeUp | None:
    if sent.supersedes is None:
        return None
    found = store.list_make_ups(connection, make_up_id=sent.supersedes)
    if not found:
        raise MakeUpUnknown(f"no make-up {sent.supersedes} here to correct")
    if found[0].superseded_by is not None and not repeated:
        raise MakeUpCorrectedBefore(f"make-up {sent.supersedes} was corrected by {found[0].superseded_by}")
    return found[0]


def _entry(
    connection: Connection,
    sent: MakeUpSent,
    joint: Joint,
    procedure: Procedure | None,
    answers: SortedAnswers,
    corrected: MakeUp | None,
) -> tuple[MakeUpEntry, list[str], list[tuple[str, str]]]:
    """The judged row, the serials of its tools, and its lots by kind."""
    in_retrospect = corrected is not None and corrected.judged != AT_MAKE_UP
    fitter, papers = _person(connection, sent.fitter)
    witness, _ = _person(connection, sent.witness)
    others = sorted({text.strip() for text in sent.tools if text.strip()})
    named = {**answers.serials, **{serial: serial for serial in others}}
    found = verdict(
        procedure,
        MakeUpReport(
            family=joint.family,
            size_mm=joint.size_mm,
            made_up_on=sent.made_up_on,
            kind=sent.kind,
            fitter=fitter,
            witness=witness,
            qualifications=papers,
            answers=answers.answers,
            tools=_on_day(connection, named, sent.made_up_on),
            lots=answers.lots,
            in_retrospect=in_retrospect,
        ),
    )
    torque, turned = found.findings.torque_n_m, found.findings.turned
    lot_kinds = {} if procedure is None else {step.key: step.lot for step in procedure.steps if step.lot is not None}
    entry = MakeUpEntry(
        joint_id=joint.joint_id,
        made_up_on=sent.made_up_on,
        fitter=fitter,
        witness=witness,
        method=sent.method if procedure is None else procedure.method,
        verdict="accepted" if found.accepted else "not accepted",
        kind=sent.kind,
        procedure_code=None if procedure is None else procedure.code,
        procedure_version=None if procedure is None else procedure.version,
        torque_n_m=torque if torque is not None and torque > 0 else None,
        turns=turned if turned is not None and turned >= 0 else None,
        answers={**answers.whole, **({OTHER_TOOLS: "; ".join(others)} if others else {})},
        reasons=remarks_of(found),
        judged=IN_RETROSPECT if in_retrospect else AT_MAKE_UP,
        photos=tuple(sent.photos),
        notes=_text(sent.notes),
        client_uuid=sent.client_uuid,
        supersedes=sent.supersedes,
        reason=_text(sent.reason),
    )
    return entry, sorted(set(named.values())), [(lot_kinds[key], lot) for key, lot in answers.lots.items()]


def _person(connection: Connection, name: str | None) -> tuple[str | None, list[Qualification]]:
    """A name as the register writes it, so that a recall finds it, with the person's qualifications."""
    plain = _text(name)
    if plain is None:
        return None, []
    known = people_of(list_papers(connection, plain))
    if not known:
        return plain, []
    papers = (each.as_qualification() for each in known[0].qualifications)
    return known[0].name, [paper for paper in papers if paper is not None]


def _on_day(connection: Connection, named: dict[str, str], day: date) -> dict[str, ToolOnDay | str]:
    known = {tool.serial.lower(): tool for tool in tools(connection, sorted(set(named.values())))}
    return {
        key: known[serial.lower()].on_day(day) if serial.lower() in known else serial for key, serial in named.items()
    }


def _refuse_other(entry: MakeUpEntry, recorded: MakeUp) -> None:
    given, stands = (
        (
            each.joint_id,
            each.made_up_on,
            each.fitter,
            each.witness,
            each.method,
            each.kind,
            each.procedure_code,
            each.answers,
            each.notes,
            list(each.photos or ()),
            each.supersedes,
            each.reason,
        )
        for each in (entry, recorded)
    )
    if given != stands:
        raise MakeUpReportedOtherwise(f"make-up {recorded.make_up_id} was recorded under this UUID with other content")


def _earlier(make_ups: Iterable[MakeUp], make_up_id: int) -> tuple[EarlierMakeUp, ...]:
    before = [each for each in make_ups if each.make_up_id < make_up_id and each.superseded_by in (None, make_up_id)]
    return tuple(
        EarlierMakeUp(each.make_up_id, each.made_up_on, each.fitter, each.verdict, each.recorded_at)
        for each in reversed(before[-MOST_EARLIER:])
    )


def _text(value: str | None) -> str | None:
    return (value or "").strip() or None
