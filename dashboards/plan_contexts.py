"""What the templates of the plan are given: one documented dataclass a template."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboards.contexts import Figure, NextStep, PageContext
from dashboards.figures.board import Board
from dashboards.plan_words import EffectWords
from registry.planning.changes import Bundle, Deferral, DeferralEffect, PlanJob, PlanMove
from registry.planning.model import CrewWeek, Plan, PlannedCheck, PlanSummary, PlanWeek, UnplacedCheck
from registry.planning.reasons import Moved, Unplaced


@dataclass(frozen=True, slots=True)
class PlanForm:
    """The form that makes a plan, with what stands in its fields."""

    action: str
    starts_on: date
    weeks: int
    frozen_weeks: int
    planned_weeks: int


@dataclass(frozen=True, slots=True)
class BundleRow:
    """What can be moved as one piece, as a card on the board."""

    bundle: Bundle
    place: str
    href: str
    query: str
    """What names it in an address."""


@dataclass(frozen=True, slots=True)
class CostPart:
    """One cause of a plan's cost."""

    name: str
    meaning: str
    hours: float
    percent: float


@dataclass(frozen=True, slots=True)
class ReasonCount:
    """How many checks have a reason, and where they are listed."""

    words: str
    checks: int
    hours: float | None
    href: str


@dataclass(frozen=True, slots=True)
class MoveTargets:
    """Where a bundle may be moved to: (value, words) of every week and crew of the plan from today on."""

    weeks: Sequence[tuple[str, str]]
    crews: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class WeekRow:
    """A week of the plan, all crews together."""

    week: PlanWeek
    href: str
    late_hours: float


@dataclass(frozen=True, slots=True)
class PlanAccount:
    """A plan accounted for: what it costs and why, what limits it, what more time would buy, what moved."""

    told: PlanSummary
    gap: str
    limits: Sequence[str]
    costs: Sequence[CostPart]
    worth: Sequence[CrewWeek]
    """The crew-weeks of which one more would save most."""
    moves: Sequence[ReasonCount]
    unplaced: Sequence[ReasonCount]


@dataclass(frozen=True, slots=True)
class WeeksPage(PageContext):
    """The plan: crews by weeks, what limits it, what moved."""

    template: ClassVar[str] = "weeks.html.j2"
    account: PlanAccount | None
    board: Board | None
    bundles: Sequence[BundleRow]
    """Of the open cell, overdue first."""
    targets: MoveTargets | None
    receipt: str | None
    """What was just done, in words."""
    earlier_href: str | None
    later_href: str | None
    chart: Figure | None
    weeks: Sequence[WeekRow]
    form: PlanForm | None
    job: PlanJob | None
    """The job that was asked for last, while it runs or where it did not end well."""
    outdated: bool
    """Whether the joints were scored again since."""
    hours_changed: int
    """In how many crew-weeks the hours are others by now."""
    next_steps: Sequence[NextStep] = ()


@dataclass(frozen=True, slots=True)
class BundlePage(PageContext):
    """A bundle: its checks, and the way to move all or some of them, with what that does before it is kept."""

    template: ClassVar[str] = "bundle.html.j2"
    bundle: Bundle | None
    """None for checks that stand in no week."""
    place: str
    checks: Sequence[PlannedCheck]
    unplaced: Sequence[UnplacedCheck]
    hrefs: dict[str, str]
    """Address of each joint, by tag."""
    more: bool
    """Whether there are more checks than are listed."""
    fields: Sequence[tuple[str, str]]
    """What names the bundle in a form."""
    chosen: Sequence[int]
    """The joints that were ticked; none ticked means all."""
    targets: MoveTargets
    to_week: str
    to_crew: str
    effect: EffectWords | None
    """None until a week and a crew are chosen."""
    root: str
    """Where the site's pages are."""


@dataclass(frozen=True, slots=True)
class MoveRow:
    """A check that stands elsewhere than before, or that somebody moved."""

    move: PlanMove
    href: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class MovesPage(PageContext):
    """What moved since the plan before, and why."""

    template: ClassVar[str] = "moves.html.j2"
    plan: Plan
    counts: Sequence[ReasonCount]
    reason: Moved | None
    rows: Sequence[MoveRow]
    first_href: str | None
    next_href: str | None
    all_href: str


@dataclass(frozen=True, slots=True)
class UnplacedRow:
    """A check that stands in no week, with the ways on."""

    check: UnplacedCheck
    href: str
    place_href: str
    """Where it can be put into a week by hand."""
    defer_href: str | None
    """Where its deferral is weighed; only a joint's next check can be deferred."""


@dataclass(frozen=True, slots=True)
class UnplacedPage(PageContext):
    """What stands in no week, and why."""

    template: ClassVar[str] = "unplaced.html.j2"
    plan: Plan
    counts: Sequence[ReasonCount]
    reason: Unplaced | None
    rows: Sequence[UnplacedRow]
    first_href: str | None
    next_href: str | None
    all_href: str


@dataclass(frozen=True, slots=True)
class DeferralsPage(PageContext):
    """Checks allowed to be later; the risk that another one would add, before it is decided."""

    template: ClassVar[str] = "deferrals.html.j2"
    deferrals: Sequence[tuple[Deferral, str]]
    """Each with the address of its joint."""
    tag: str
    until_on: str
    effect: DeferralEffect | None
    effect_lines: Sequence[str]
    root: str
    joint_href: str | None


@dataclass(frozen=True, slots=True)
class PlanJobPage(PageContext):
    """A plan being made: how far it is, and the way to stop it."""

    template: ClassVar[str] = "plan_job.html.j2"
    job: PlanJob
    weeks: str
    """What was asked for, in words."""
    root: str
    plan_href: str
