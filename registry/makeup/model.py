"""What the ledger of make-ups keeps, the list of past ones as a file has it, and what can be wrong with either."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from registry.errors import Conflict, Invalid, NotFound, on_constraint
from registry.intake.model import Column
from registry.makeup.procedures import LotKind, MakeUpKind

AT_MAKE_UP: Final = "at make-up"
IN_RETROSPECT: Final = "in retrospect"
SAID_NOT_ACCEPTED: Final = "said-not-accepted"
"""Code of the reason that an old record itself gives; the ledger's query knows it too."""

LOT_COLUMNS: Final[dict[str, LotKind]] = {
    "gasket_lot": "gasket",
    "ferrule_lot": "ferrule_set",
    "tube_lot": "tube",
    "seal_lot": "seal_ring",
    "bolt_lot": "bolt_set",
}
"""The columns of a list that name a lot, and what it is a lot of."""

MAKE_UP_COLUMNS: Final = (
    Column(name="tag", required=True, words=("joint", "joint tag", "joint no")),
    Column(name="made_up_on", kind="date", required=True, not_in_future=True, words=("made up", "made up on", "date")),
    Column(name="fitter", longest=200, words=("made up by", "name")),
    Column(name="witness", longest=200, words=("witnessed by", "checked by")),
    Column(
        name="method",
        kind="choice",
        choices={"turns": ("turn",), "torque": ("torqued", "torque wrench"), "tension": ("tensioned", "tensioner")},
        words=("make-up method", "tightened by"),
    ),
    Column(
        name="verdict",
        kind="choice",
        required=True,
        choices={
            "accepted": ("accept", "ok", "pass", "passed"),
            "not accepted": ("refused", "rejected", "fail", "failed"),
        },
        words=("result", "accepted"),
    ),
    Column(
        name="kind",
        kind="choice",
        choices={"first": ("new", "first make-up"), "re-make": ("remake", "again", "remade")},
        words=("first or re-make",),
    ),
    Column(name="procedure", longest=200, words=("procedure code", "make-up procedure")),
    Column(
        name="torque_n_m", kind="number", quantity="torque", above=0, words=("torque", "final torque", "applied torque")
    ),
    Column(name="turns", kind="number", at_least=0, words=("turns", "turns past finger tight")),
    Column(name="tools", words=("tool", "tool serial", "wrench", "wrench serial", "serial")),
    *(
        Column(name=name, longest=200, words=(f"{kind.replace('_', ' ')} lot", f"{kind.replace('_', ' ')} batch"))
        for name, kind in LOT_COLUMNS.items()
    ),
    Column(name="notes", words=("remarks", "comment")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeUpEntry:
    """One row for the ledger, judged. `answers` stand by the key of their step, `reasons` are plain as JSON."""

    joint_id: int
    made_up_on: date
    fitter: str | None
    witness: str | None
    method: str | None
    verdict: str
    kind: MakeUpKind
    procedure_code: str | None
    procedure_version: int | None
    torque_n_m: float | None
    turns: float | None
    answers: dict[str, bool | float | str]
    reasons: list[dict[str, str]]
    judged: str
    photos: Sequence[str]
    notes: str | None
    client_uuid: UUID
    supersedes: int | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class MakeUp:
    """A make-up as the ledger has it; None where the record does not say.

    `reasons` is None where no rule was ever held against it. `superseded_by` names its correction.
    """

    make_up_id: int
    joint_id: int
    tag: str
    made_up_on: date
    fitter: str | None
    witness: str | None
    method: str | None
    verdict: str
    kind: MakeUpKind | None
    procedure_code: str | None
    procedure_version: int | None
    torque_n_m: float | None
    turns: float | None
    answers: dict[str, Any] | None
    reasons: list[dict[str, str]] | None
    judged: str | None
    photos: list[str] | None
    tools: list[str]
    lots: list[str]
    """Kind and lot with a colon between."""
    notes: str | None
    client_uuid: UUID | None
    supersedes: int | None
    reason: str | None
    superseded_by: int | None
    recorded_at: datetime


@on_constraint("make_up_once")
class MakeUpRecordedTwice(Conflict):
    """The same make-up was recorded before"""

    slug = "make-up-recorded-twice"


@on_constraint("make_up_superseded_once")
class MakeUpCorrectedBefore(Conflict):
    """This record was corrected before: correct the correction"""

    slug = "make-up-corrected-before"


class MakeUpUnknown(NotFound):
    """There is no such make-up in this site"""

    slug = "make-up-unknown"


@on_constraint("make_up_correction_says_why")
class MakeUpUnfit(Invalid):
    """The record has a value that a make-up cannot have"""

    slug = "make-up-unfit"


@on_constraint("make_up_procedure_exists")
class ProcedureVersionUnknown(NotFound):
    """That version of the procedure was never published here"""

    slug = "procedure-version-unknown"
