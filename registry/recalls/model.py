"""What a recall is of, which joints it calls in, and how far it has come."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, Literal, get_args

from registry.errors import Invalid, NotFound

RecallKind = Literal["tool", "person", "lot", "procedure"]
JointState = Literal["overdue", "open", "checked", "made again"]

RECALL_KINDS: Final[tuple[RecallKind, ...]] = get_args(RecallKind)
JOINT_STATES: Final[tuple[JointState, ...]] = get_args(JointState)

DAYS_BY_CLASS: Final = (90, 60, 30, 14, 7)
"""Own method: days from a recall to its check for consequence classes 1 to 5, from a quarter where a leak is a nuisance
to a week where it may kill. A joint that nobody scored is taken as class 5. Whoever raises a recall may give others."""

MOST_DAYS: Final = 3650


@dataclass(frozen=True, slots=True, kw_only=True)
class RecallRequest:
    """What turned out bad.

    `subject` is a tool's serial, a fitter's name, a lot, or the code of a procedure, with '/2' behind it for one
    version. Days left out are found: a tool's from its last good calibration to the one that found it out, the
    others' from the first make-up to today.
    """

    kind: RecallKind
    subject: str
    from_on: date | None = None
    until_on: date | None = None
    days_by_class: Sequence[int] = DAYS_BY_CLASS


@dataclass(frozen=True, slots=True)
class Suspects:
    """The joints whose standing make-up a recall is about, before it is raised."""

    kind: RecallKind
    subject: str
    from_on: date
    until_on: date
    why: str
    """Where the days come from, in words."""
    joint_ids: tuple[int, ...]
    made_again: int
    """Joints that were made up so, and accepted again since by something else: not called in."""


@dataclass(frozen=True, slots=True)
class SuspectJoint:
    """A joint that a recall would call in, or has."""

    joint_id: int
    tag: str
    area: str | None
    family: str
    east_m: float
    north_m: float
    made_up_on: date
    fitter: str | None
    consequence_class: int | None
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Recall:
    """A raised recall with its progress."""

    recall_id: int
    kind: RecallKind
    subject: str
    from_on: date
    until_on: date
    reason: str
    raised_by: str
    raised_at: datetime
    joints: int
    closed: int
    overdue: int

    @property
    def open(self) -> int:
        """Joints that are still to be answered."""
        return self.joints - self.closed

    def as_row(self) -> dict[str, Any]:
        """The recall as the API gives it out."""
        return {
            "recall_id": self.recall_id,
            "kind": self.kind,
            "subject": self.subject,
            "from_on": self.from_on,
            "until_on": self.until_on,
            "reason": self.reason,
            "raised_by": self.raised_by,
            "raised_at": self.raised_at,
            "joints": self.joints,
            "closed": self.closed,
            "open": self.open,
            "overdue": self.overdue,
        }


@dataclass(frozen=True, slots=True)
class RecallArea:
    """A recall's progress in one area."""

    area: str | None
    joints: int
    closed: int
    overdue: int


@dataclass(frozen=True, slots=True)
class RecalledJoint:
    """A joint of a raised recall."""

    joint_id: int
    tag: str
    area: str | None
    family: str
    east_m: float
    north_m: float
    elevation_m: float | None
    raised_due_on: date
    checked_at: datetime | None
    """The satisfactory check after the recall that is known of."""
    made_again_on: date | None

    def state(self, today: date) -> JointState:
        """Where it stands."""
        if self.made_again_on is not None:
            return "made again"
        if self.checked_at is not None:
            return "checked"
        return "overdue" if self.raised_due_on < today else "open"


@dataclass(frozen=True, slots=True)
class RaisedRecall:
    """What came of raising a recall."""

    recall_id: int
    joints: int
    moved: int
    """Joints whose due date was brought forward."""
    made_again: int
    first_due_on: date | None


class RecallUnknown(NotFound):
    """There is no such recall in this site"""

    slug = "recall-unknown"


class SubjectUnknown(NotFound):
    """Nothing was ever made up with that"""

    slug = "recall-subject-unknown"


class RecallUnfit(Invalid):
    """A recall names what it is of, who raises it and why, and days that can be kept"""

    slug = "recall-unfit"


class NothingToRecall(Invalid):
    """No joint stands that was made up so"""

    slug = "nothing-to-recall"
