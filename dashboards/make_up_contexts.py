"""What the templates of make-ups, recalls and work packs are given: one documented dataclass a template."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboards.contexts import Figure, PageContext
from registry.completion.model import Completion, PackJoint, WorkPack
from registry.makeup.instructions import Instructions
from registry.makeup.model import MakeUp
from registry.makeup.procedures import Procedure, Step
from registry.papers.model import Expiring
from registry.recalls.model import Recall, RecallArea, RecalledJoint, SuspectJoint, Suspects


@dataclass(frozen=True, slots=True)
class Way:
    """A link that may be the one that is open: a procedure to choose, or first and re-make."""

    words: str
    href: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class AskedStep:
    """A step as the form asks it."""

    step: Step
    name: str
    """Of its field."""
    value: str
    serials: Sequence[str]
    """Tools of the register that would do."""


@dataclass(frozen=True, slots=True)
class PassRow:
    """One pass over the bolts."""

    part: str
    torque: str | None
    """At the nut; None while the target is not known."""
    setting: str | None
    """What the wrench is set to, where that differs from the torque at the nut."""


@dataclass(frozen=True, slots=True)
class MakeUpFormPage(PageContext):
    """The phone's page: the steps that apply, each with a big answer."""

    template: ClassVar[str] = "make_up_form.html.j2"
    tag: str
    joint_href: str
    place: str
    procedure: Procedure | None
    procedures: Sequence[Way]
    kinds: Sequence[Way]
    kind: str
    sheet: Instructions | None
    turns: str | None
    torque: str | None
    load: str | None
    passes: Sequence[PassRow]
    order: str | None
    steps: Sequence[AskedStep]
    before: Sequence[AskedStep]
    """Readings known before the first turn, from which torque, order and setting are worked out."""
    people: Sequence[str]
    fitter: str
    witness: str
    action: str
    client_uuid: str
    opened_at: str
    today: date


@dataclass(frozen=True, slots=True)
class MakeUpRecordPage(PageContext):
    """One recorded make-up: its verdict with every reason."""

    template: ClassVar[str] = "make_up_record.html.j2"
    record: MakeUp
    against: Sequence[dict[str, str]]
    """Why it is not accepted: refused or questioned."""
    passed_over: Sequence[dict[str, str]]
    answers: Sequence[tuple[str, str]]
    """What was asked, and what was answered."""
    joint_href: str
    again_href: str
    due_on: date | None
    reason: str | None
    cautions: Sequence[str]
    source: str | None


@dataclass(frozen=True, slots=True)
class RecallRow:
    """A recall in a table."""

    recall: Recall
    href: str


@dataclass(frozen=True, slots=True)
class PackRow:
    """A work pack in a table."""

    pack: WorkPack
    href: str


@dataclass(frozen=True, slots=True)
class MakeUpPage(PageContext):
    """Make-up of a site at a glance: recalls, work packs, papers that run out."""

    template: ClassVar[str] = "make_up.html.j2"
    recalls: Sequence[RecallRow]
    packs: Sequence[PackRow]
    expiring: Sequence[Expiring]
    today: date
    kinds: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """A joint that a recall would call in."""

    joint: SuspectJoint
    href: str


@dataclass(frozen=True, slots=True)
class SuspectsPage(PageContext):
    """What a recall would call in, and the form that does."""

    template: ClassVar[str] = "suspects.html.j2"
    found: Suspects
    rows: Sequence[SuspectRow]
    days_by_class: Sequence[int]
    chosen_from: date | None
    chosen_until: date | None
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class RecalledRow:
    """A joint of a recall."""

    joint: RecalledJoint
    href: str
    place: str
    state: str


@dataclass(frozen=True, slots=True)
class RecallPage(PageContext):
    """A recall's progress: on the plan, by area, joint by joint."""

    template: ClassVar[str] = "recall.html.j2"
    recall: Recall
    areas: Sequence[RecallArea]
    rows: Sequence[RecalledRow]
    drawn: Figure | None
    next_href: str | None
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class PackJointRow:
    """A joint of a work pack, with the form of its next step."""

    joint: PackJoint
    href: str
    make_up_href: str
    client_uuid: str


@dataclass(frozen=True, slots=True)
class WorkPackPage(PageContext):
    """What still stands open in a work pack, joint by joint."""

    template: ClassVar[str] = "work_pack.html.j2"
    completion: Completion
    rows: Sequence[PackJointRow]
    root: str
    opened_at: str
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class JointTagPage(PageContext):
    """A joint's tag to be printed, with a code to be scanned."""

    template: ClassVar[str] = "joint_tag.html.j2"
    tag: str
    family: str
    service: str
    size_mm: float | None
    place: str
    area: str | None
    address: str
    code: str
    """The address as an SVG drawing."""
    joint_href: str
