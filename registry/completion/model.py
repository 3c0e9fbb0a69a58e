"""A work pack, its joints and how far each has come, and what can be wrong with asking for more."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Literal, get_args
from uuid import UUID

from registry.errors import Conflict, Invalid, NotFound, on_constraint

PackStepKind = Literal["broken", "leak_tested"]
PackJointState = Literal["to be broken", "to be made again", "not accepted", "to be leak-tested", "leaked", "complete"]

PACK_STEPS: Final[tuple[PackStepKind, ...]] = get_args(PackStepKind)

OPEN_WORDS: Final[dict[PackJointState, str]] = {
    "to be broken": "was never broken: take it out of the work or break it",
    "to be made again": "is broken and not made up again",
    "not accepted": "was made up again and not accepted",
    "to be leak-tested": "is made up again and not leak-tested",
    "leaked": "did not pass its leak test",
}
"""What is to be done about a joint that stands open."""


@dataclass(frozen=True, slots=True)
class PackJoint:
    """A joint of a work pack, with what happened to it since it was broken the last time.

    The make-up is the newest that was recorded after the joint was broken, and the leak test the newest that was
    recorded after that make-up: what came before the joint was last opened proves nothing of it.
    """

    joint_id: int
    tag: str
    area: str | None
    family: str
    service: str
    size_mm: float | None
    broken_at: datetime | None
    broken_by: str | None
    make_up_id: int | None
    made_up_on: date | None
    fitter: str | None
    witness: str | None
    method: str | None
    verdict: str | None
    procedure_code: str | None
    procedure_version: int | None
    reasons: Sequence[dict[str, str]] | None
    tested_at: datetime | None
    tested_by: str | None
    test_passed: bool | None
    test_notes: str | None

    @property
    def state(self) -> PackJointState:
        """How far it has come."""
        if self.broken_at is None:
            return "to be broken"
        if self.verdict is None:
            return "to be made again"
        if self.verdict != "accepted":
            return "not accepted"
        if self.test_passed is None:
            return "to be leak-tested"
        return "complete" if self.test_passed else "leaked"


@dataclass(frozen=True, slots=True)
class WorkPack:
    """A work pack."""

    work_pack_id: int
    code: str
    title: str
    opened_by: str
    opened_at: datetime
    handed_back_by: str | None
    handed_back_at: datetime | None
    joints: int


@dataclass(frozen=True, slots=True)
class Completion:
    """A work pack with its joints."""

    pack: WorkPack
    joints: Sequence[PackJoint]

    @property
    def open(self) -> list[PackJoint]:
        """The joints that keep it from being handed back."""
        return [joint for joint in self.joints if joint.state != "complete"]

    def as_row(self) -> dict[str, Any]:
        """The pack as the API gives it out."""
        pack = self.pack
        return {
            "work_pack_id": pack.work_pack_id,
            "code": pack.code,
            "title": pack.title,
            "opened_by": pack.opened_by,
            "opened_at": pack.opened_at,
            "handed_back_by": pack.handed_back_by,
            "handed_back_at": pack.handed_back_at,
            "open": len(self.open),
            "joints": [{"state": joint.state, "joint": joint} for joint in self.joints],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReport:
    """A joint of a pack was broken, or leak-tested; `client_uuid` is made where it was done."""

    tag: str
    step: PackStepKind
    passed: bool
    observed_at: datetime
    done_by: str
    client_uuid: UUID
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class RecordedStep:
    """A step as far as the same report again must agree with it."""

    work_pack_id: int
    joint_id: int
    step: str
    passed: bool
    observed_at: datetime
    done_by: str
    notes: str | None


class WorkPackUnknown(NotFound):
    """There is no such work pack in this site"""

    slug = "work-pack-unknown"


class NotInPack(NotFound):
    """The joint is not in this work pack"""

    slug = "joint-not-in-work-pack"


@on_constraint("work_pack_code_unique")
class WorkPackExists(Conflict):
    """There is a work pack of this code already"""

    slug = "work-pack-exists"


class WorkPackUnfit(Invalid):
    """A work pack has a code, a title, a person and joints of this site"""

    slug = "work-pack-unfit"


class StepOutOfOrder(Conflict):
    """The step is not the joint's next"""

    slug = "work-pack-step-out-of-order"


class StepReportedOtherwise(Conflict):
    """The same step was recorded before with other content"""

    slug = "work-pack-step-reported-otherwise"


class HandedBack(Conflict):
    """The work pack is handed back, and closed"""

    slug = "work-pack-handed-back"


class StandsOpen(Invalid):
    """Something still stands open"""

    slug = "work-pack-stands-open"


class NotHandedBack(Conflict):
    """There is no certificate before the work pack is handed back"""

    slug = "work-pack-not-handed-back"
