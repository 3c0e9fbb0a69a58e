"""A plan of checks by week, and what can be wrong with asking for one."""

from dataclasses import dataclass
from datetime import date, datetime

from registry.errors import Conflict, Invalid, NotFound, on_constraint

LONGEST_HORIZON_WEEKS = 520


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan: from which run of scores, over which weeks, with how many crew hours in each."""

    plan_run_id: int
    score_run_id: int
    starts_on: date
    weeks: int
    crew_hours_per_week: float
    unplaced: int
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class PlanWeek:
    """A week of a plan. `late` were due before it begins, `early` after it ends, `done` were checked since."""

    week_starting_on: date
    checks: int
    hours: float
    late: int
    early: int
    done: int


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """A plan with its weeks, every one of the horizon, and what found no room in it."""

    plan: Plan
    weeks: tuple[PlanWeek, ...]
    unplaced: int

    @property
    def checks(self) -> int:
        """Checks placed."""
        return sum(week.checks for week in self.weeks)

    @property
    def late(self) -> int:
        """Checks placed after the week of their due date."""
        return sum(week.late for week in self.weeks)


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """One check of a week."""

    joint_id: int
    tag: str
    area: str | None
    due_on: date
    minutes: float
    done: bool


class NotPlanned(NotFound):
    """The site has no plan yet"""

    slug = "not-planned"


class WeekUnknown(NotFound):
    """The plan has no such week"""

    slug = "week-unknown"


class PlanUnfit(Invalid):
    """A plan begins on a Monday and has weeks and hours"""

    slug = "plan-unfit"


@on_constraint("plan_run_starts_on_monday")
@on_constraint("plan_run_weeks_positive")
@on_constraint("plan_run_hours_positive")
class PlanRefused(Conflict):
    """A plan begins on a Monday and has weeks and hours"""

    slug = "plan-refused"
