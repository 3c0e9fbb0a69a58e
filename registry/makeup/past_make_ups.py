"""What an old record of a make-up comes to under the rules of today: judged by what it says, never refused for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from registry.makeup.judging_tools import tools_for_steps
from registry.makeup.model import LOT_COLUMNS, SAID_NOT_ACCEPTED
from registry.makeup.procedures import MakeUpKind, Procedure, procedures_for
from registry.makeup.report import MakeUpReport, Verdict
from registry.makeup.verdict import verdict
from registry.papers.model import Tool
from registry.papers.on_the_day import Qualification

_READ_FROM = ("torque_n_m", "turns")


@dataclass(frozen=True, slots=True, kw_only=True)
class PastMakeUp:
    """One row of a list. `tools` are serials; `lots` stand by their column, as in `LOT_COLUMNS`."""

    family: str
    size_mm: float | None
    made_up_on: date
    kind: MakeUpKind
    fitter: str | None
    witness: str | None
    method: str | None
    said: str
    """The verdict that the record itself gives."""
    procedure: Procedure | None
    torque_n_m: float | None
    turns: float | None
    tools: Sequence[str]
    lots: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class JudgedPast:
    """The row as the ledger takes it: its verdict, every remark, and what it answered by step."""

    accepted: bool
    reasons: list[dict[str, str]]
    answers: dict[str, bool | float | str]


def likely_procedure(
    procedures: Sequence[Procedure], family: str, size_mm: float | None, method: str | None
) -> Procedure | None:
    """The procedure that a record's readings are held against where it names none; None where nothing tells."""
    if method is None:
        return None
    found = procedures_for(procedures, family, size_mm, method)
    plain = [each for each in found if not any(step.tool == "pre_swage" for step in each.steps)]
    return plain[0] if plain else None


def judged_past(row: PastMakeUp, papers: Sequence[Qualification], tools: Mapping[str, Tool]) -> JudgedPast:
    """Judge an old record by its procedure, by its people's papers and by its tools' calibrations.

    `tools` are those of the register by serial in small letters. A record that says itself that it was not accepted
    stays so.
    """
    on_day = [
        tools[serial.lower()].on_day(row.made_up_on) if serial.lower() in tools else serial for serial in row.tools
    ]
    steps = () if row.procedure is None else row.procedure.steps_for(row.kind)
    placed = tools_for_steps(steps, on_day)
    by_kind = {LOT_COLUMNS[column]: lot for column, lot in row.lots.items()}
    lots = {step.key: by_kind[step.lot] for step in steps if step.lot is not None and step.lot in by_kind}
    given = {"torque_n_m": row.torque_n_m, "turns": row.turns}
    answers: dict[str, bool | float] = {
        step.key: number for step in steps if step.reads in _READ_FROM and (number := given[step.reads]) is not None
    }
    found = verdict(
        row.procedure,
        MakeUpReport(
            family=row.family,
            size_mm=row.size_mm,
            made_up_on=row.made_up_on,
            kind=row.kind,
            fitter=row.fitter,
            witness=row.witness,
            qualifications=papers,
            answers=answers,
            tools=placed,
            lots=lots,
            in_retrospect=True,
        ),
    )
    reasons = remarks_of(found)
    if row.said != "accepted":
        text = "the old record says that it was not accepted"
        reasons.insert(0, {"kind": "refused", "code": SAID_NOT_ACCEPTED, "text": text})
    serials = {key: tool if isinstance(tool, str) else tool.serial for key, tool in placed.items()}
    return JudgedPast(found.accepted and row.said == "accepted", reasons, {**answers, **serials, **lots})


def remarks_of(found: Verdict) -> list[dict[str, str]]:
    """A verdict's reasons, and what it passed over, as the ledger keeps them."""
    reasons = [
        {"kind": str(reason.kind), "code": reason.code, "text": reason.text}
        | ({"step": reason.step} if reason.step else {})
        for reason in found.reasons
    ]
    return [*reasons, *({"kind": "passed over", "code": over.code, "text": over.text} for over in found.passed_over)]
