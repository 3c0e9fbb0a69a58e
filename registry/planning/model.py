"""A plan as kept: which check in which week by which crew, and what that costs."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from registry.errors import Conflict, Invalid, NotFound
from registry.planning.reasons import Moved, Unplaced

LONGEST_HORIZON_WEEKS: Final = 260


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What a plan is asked to cover: weeks from a Monday. None takes the policy's horizons."""

    starts_on: date
    weeks: int = 52
    frozen_weeks: int | None = None
    planned_weeks: int | None = None


@dataclass(frozen=True, kw_only=True)
class NewPlan:
    """A plan: from which scores and policy, over which weeks, and what it costs in crew minutes by cause.

    `bound_minutes` is what no plan of the same checks and crews can cost less than. Checks that no plan can place, for
    want of an outage or of a crew, cost nothing in either.
    """

    score_run_id: int
    policy_version: int
    starts_on: date
    weeks: int
    frozen_weeks: int
    planned_weeks: int
    late_minutes: float
    early_minutes: float
    visit_minutes: float
    moved_minutes: float
    unplaced_minutes: float
    bound_minutes: float
    solving_seconds: float
    made_by: str


@dataclass(frozen=True, kw_only=True)
class Plan(NewPlan):
    """A plan as kept."""

    plan_run_id: int
    recorded_at: datetime

    @property
    def ends_on(self) -> date:
        """The first day after the plan."""
        return self.starts_on + timedelta(weeks=self.weeks)

    @property
    def cost_minutes(self) -> float:
        """All of its cost [crew minutes]."""
        return self.late_minutes + self.early_minutes + self.visit_minutes + self.moved_minutes + self.unplaced_minutes

    @property
    def gap(self) -> float:
        """How much dearer than the bound it is, as a share of the bound."""
        if self.bound_minutes <= 0:
            return 0.0 if self.cost_minutes <= 0 else float("inf")
        return (self.cost_minutes - self.bound_minutes) / self.bound_minutes

    def has_week(self, monday: date) -> bool:
        """Whether a week of the plan begins on a day."""
        days = (monday - self.starts_on).days
        return days % 7 == 0 and 0 <= days < 7 * self.weeks

    def horizon_of(self, monday: date) -> str:
        """Whether a week is 'frozen', 'planned' or 'forecast'."""
        week = (monday - self.starts_on).days // 7
        return "frozen" if week < self.frozen_weeks else "planned" if week < self.planned_weeks else "forecast"


@dataclass(frozen=True, slots=True)
class CrewWeek:
    """What a crew has to do in a week of the plan. Times in minutes at the joints.

    `late` were due before the week begins, `early` fall due after it ends, `done` were checked since the plan was made,
    `pinned` were put there by a person. `worth_minutes` prices one more week of this crew then: it would save at most
    that and the plan's gap.
    """

    week_starting_on: date
    crew_id: int
    crew: str
    checks: int
    minutes: float
    capacity_minutes: float
    late: int
    early: int
    done: int
    pinned: int
    worth_minutes: float

    @property
    def over_minutes(self) -> float:
        """By how much it exceeds the crew's time."""
        return max(self.minutes - self.capacity_minutes, 0.0)


@dataclass(frozen=True, slots=True)
class PlanWeek:
    """A week of the plan, all crews together."""

    week_starting_on: date
    horizon: str
    checks: int
    minutes: float
    capacity_minutes: float
    late: int
    early: int
    done: int


@dataclass(frozen=True, slots=True)
class UnplacedCount:
    """How many checks stand in no week, for one reason, in one area and family."""

    reason: Unplaced
    area: str | None
    family: str
    checks: int
    minutes: float


@dataclass(frozen=True, slots=True)
class MoveCount:
    """How many checks stand elsewhere than in the plan before, for one reason."""

    reason: Moved
    checks: int


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """A plan in numbers. `crew_weeks` holds every crew and week in which the crew has time or checks, by week."""

    plan: Plan
    crew_weeks: tuple[CrewWeek, ...]
    unplaced: tuple[UnplacedCount, ...]
    moves: tuple[MoveCount, ...]

    @property
    def checks(self) -> int:
        """Checks that have a week."""
        return sum(row.checks for row in self.crew_weeks)

    @property
    def late(self) -> int:
        """Checks in a week that begins after their due date."""
        return sum(row.late for row in self.crew_weeks)

    @property
    def unplaced_checks(self) -> int:
        """Checks that have no week."""
        return sum(row.checks for row in self.unplaced)

    @property
    def moved_checks(self) -> int:
        """Checks that stand elsewhere than in the plan before."""
        return sum(row.checks for row in self.moves)

    @property
    def weeks(self) -> tuple[PlanWeek, ...]:
        """Every week of the plan, those without checks too."""
        mondays = [self.plan.starts_on + timedelta(weeks=week) for week in range(self.plan.weeks)]
        rows: dict[date, list[CrewWeek]] = {monday: [] for monday in mondays}
        for row in self.crew_weeks:
            rows[row.week_starting_on].append(row)
        return tuple(_whole_week(self.plan, monday, crews) for monday, crews in rows.items())


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """One check of a week. `occurrence` 0 is its joint's next one, 1 the one after it."""

    joint_id: int
    occurrence: int
    tag: str
    area: str | None
    area_id: int
    scaffold: int
    family: str
    week_starting_on: date
    crew_id: int
    crew: str
    due_on: date
    latest_on: date
    minutes: float
    requires_outage: bool
    pinned: bool
    done: bool

    @property
    def late(self) -> bool:
        """Whether its week begins after its due date."""
        return self.due_on < self.week_starting_on


@dataclass(frozen=True, slots=True)
class UnplacedCheck:
    """A check that stands in no week, and why."""

    joint_id: int
    occurrence: int
    tag: str
    area: str | None
    family: str
    due_on: date
    latest_on: date
    minutes: float
    reason: Unplaced


class NotPlanned(NotFound):
    """The site has no plan yet"""

    slug = "not-planned"


class WeekUnknown(NotFound):
    """The plan has no such week"""

    slug = "week-unknown"


class CrewsMissing(Conflict):
    """A plan needs a crew"""

    slug = "crews-missing"


class PlanUnfit(Invalid):
    """A plan begins on a Monday, and its horizons follow one another"""

    slug = "plan-unfit"


class PlanOvertaken(Conflict):
    """There is a newer plan"""

    slug = "plan-overtaken"


class PlanBusy(Conflict):
    """A plan is being made"""

    slug = "plan-busy"


def _whole_week(plan: Plan, monday: date, crews: list[CrewWeek]) -> PlanWeek:
    return PlanWeek(
        monday,
        plan.horizon_of(monday),
        sum(row.checks for row in crews),
        sum(row.minutes for row in crews),
        sum(row.capacity_minutes for row in crews),
        sum(row.late for row in crews),
        sum(row.early for row in crews),
        sum(row.done for row in crews),
    )
