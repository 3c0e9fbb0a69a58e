"""What a fitter sends of a make-up, and what comes of recording it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID

from registry.errors import Conflict
from registry.makeup.procedures import MakeUpKind

Given = Mapping[str, bool | float | str]
"""Answers by the key of their step: yes or no, a reading, a serial, a lot; words and figures may come as text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeUpSent:
    """A make-up as the fitter reports it.

    `client_uuid` is made where it was made up, so that sending it twice counts once. Without `procedure` the only one
    for the joint and `method` is taken. `tools` are serials of tools that no step asks for. With `supersedes` it
    corrects an earlier record, for a `reason`.
    """

    tag: str
    made_up_on: date
    fitter: str | None
    client_uuid: UUID
    witness: str | None = None
    kind: MakeUpKind = "first"
    method: str | None = None
    procedure: str | None = None
    procedure_version: int | None = None
    answers: Given = field(default_factory=dict[str, bool | float | str])
    tools: Sequence[str] = ()
    photos: Sequence[str] = ()
    notes: str | None = None
    supersedes: int | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class EarlierMakeUp:
    """A make-up of the same joint that was recorded before."""

    make_up_id: int
    made_up_on: date
    fitter: str | None
    verdict: str
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class MakeUpAnswer:
    """What came of a make-up: its verdict with every reason, what was recorded before it, where the due date went.

    The dates are None while the site is not scored. `repeated` says that the very same report was recorded before:
    nothing was added, the verdict is the one that was given then, and `old_due_on` is what stands now.
    """

    make_up_id: int
    joint_id: int
    tag: str
    verdict: str
    reasons: list[dict[str, str]]
    procedure: str | None
    procedure_version: int | None
    earlier: tuple[EarlierMakeUp, ...]
    """Records of this joint that stood before this one, the newest first."""
    old_due_on: date | None
    new_due_on: date | None
    due_reason: str | None
    repeated: bool


class MakeUpReportedOtherwise(Conflict):
    """The same report was recorded before with other content"""

    slug = "make-up-reported-otherwise"
