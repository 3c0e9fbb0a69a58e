"""What people and later plans change: bundles moved by hand, moves, deferrals, and the jobs that make plans."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from registry.errors import Conflict, Invalid, NotFound
from registry.planning.reasons import Moved


@dataclass(frozen=True, slots=True)
class BundleKey:
    """Which checks of which plan: one week, one crew, one area and scaffold (0: none). `joint_ids` takes only some.

    A week of None is for checks that stand in no week: then `joint_ids` says which, and the rest does not matter.
    """

    plan_run_id: int
    week_starting_on: date | None
    crew_id: int | None
    area_id: int | None = None
    scaffold: int | None = None
    joint_ids: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Bundle:
    """The checks of one area and scaffold that one crew has in one week: what is moved as one piece.

    `late` are those whose week begins after their due date; `later_rounds` are not the next check of their joint.
    """

    plan_run_id: int
    week_starting_on: date
    crew_id: int
    crew: str
    area_id: int
    area: str | None
    scaffold: int
    checks: int
    minutes: float
    earliest_due_on: date
    earliest_latest_on: date
    late: int
    pinned: int
    done: int
    need_outage: int
    later_rounds: int

    @property
    def key(self) -> BundleKey:
        """What names it."""
        return BundleKey(self.plan_run_id, self.week_starting_on, self.crew_id, self.area_id, self.scaffold)


@dataclass(frozen=True, slots=True)
class PlanMove:
    """A check that stands elsewhere than in the plan before, or that a person moved since. None: in no week.

    `occurrence` counts as in this plan; -1 is a check that was done since.
    """

    plan_move_id: int
    joint_id: int
    occurrence: int
    tag: str
    area: str | None
    from_week: date | None
    from_crew: str | None
    to_week: date | None
    to_crew: str | None
    reason: Moved
    note: str | None
    moved_by: str | None
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class MoveEffect:
    """What moving some checks does, before or after it is done. None: they stood in no week.

    `cost_added_minutes` is in crew minutes; `risk_added` is expected leaks times the weight of their class; both may be
    below 0. `refused` says, where it is not empty, why it cannot be. `not_kept` are later rounds of joints, which the
    next plan may move again: only a joint's next check is kept where a person puts it.
    """

    checks: int
    minutes: float
    from_week: date | None
    from_crew: str | None
    to_week: date
    to_crew: str
    cost_added_minutes: float
    risk_added: float
    late_before: int
    late_after: int
    planned_minutes_after: float
    capacity_minutes: float
    not_kept: int
    refused: tuple[str, ...]

    @property
    def over_minutes(self) -> float:
        """By how much the crew's week would exceed the crew's time."""
        return max(self.planned_minutes_after - self.capacity_minutes, 0.0)


@dataclass(frozen=True, slots=True)
class MovableCheck:
    """A check that may be moved, with all that bears on where to.

    `could_be_placed` is about one that stands in no week: whether it is for want of room alone. `on_route_on`: it is to
    be walked to on that day.
    """

    joint_id: int
    occurrence: int
    tag: str
    family: str
    area_id: int
    scaffold: int
    week_starting_on: date | None
    crew_id: int | None
    could_be_placed: bool
    due_on: date
    latest_on: date
    minutes: float
    late_cost_per_week: float
    early_cost_per_week: float
    requires_outage: bool
    needs_scaffold: bool
    consequence_class: int
    defect_rate_per_year: float
    delay_rate_per_year: float
    detection_probability: float
    interval_days: float
    last_satisfactory_on: date
    on_route_on: date | None


@dataclass(frozen=True, slots=True)
class DeferralRequest:
    """A check that somebody allows to be later than the policy does."""

    tag: str
    until_on: date
    reason: str
    decided_by: str


@dataclass(frozen=True, slots=True)
class DeferralEffect:
    """What a deferral does: the risk that it adds is expected leaks times the weight of the joint's class."""

    joint_id: int
    tag: str
    due_on: date
    until_on: date
    latest_on: date | None
    """Its latest day in the newest plan; None where it is not in it."""
    planned_week: date | None
    consequence_class: int
    risk_added: float


@dataclass(frozen=True, slots=True)
class Deferral:
    """A check allowed to be later, by a named person. It counts until its day has passed or the joint was checked."""

    deferral_id: int
    joint_id: int
    tag: str
    area: str | None
    due_on: date
    until_on: date
    reason: str
    decided_by: str
    risk_added: float
    in_force: bool
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class PlanJob:
    """A plan being made in the background.

    `state` is 'running', 'done', 'failed', 'stopped' or 'cut off': whoever worked on it is gone. `share_done` goes from
    0 to 1, `stage` says in words what is being done.
    """

    plan_job_id: int
    request: Mapping[str, Any]
    state: str
    stage: str
    share_done: float
    stop_asked: bool
    plan_run_id: int | None
    failure: str | None
    asked_by: str
    asked_at: datetime
    finished_at: datetime | None

    @property
    def over(self) -> bool:
        """Whether nobody works on it any more."""
        return self.state not in ("queued", "running")


class BundleUnknown(NotFound):
    """The plan has no such checks"""

    slug = "bundle-unknown"


class MoveUnfit(Invalid):
    """A move needs a reason and a named person"""

    slug = "move-unfit"


class MoveRefused(Conflict):
    """These checks cannot be done there"""

    slug = "move-refused"


class CrewFull(Conflict):
    """The crew has not the time in that week"""

    slug = "crew-full"


class DeferralUnfit(Invalid):
    """A deferral needs a reason, a named person and an end after the due date"""

    slug = "deferral-unfit"


class JobUnknown(NotFound):
    """There is no such job"""

    slug = "job-unknown"


class JobOver(Conflict):
    """The job is over"""

    slug = "job-over"
