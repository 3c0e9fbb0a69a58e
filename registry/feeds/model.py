"""What a crew's calendar is made of, and what can be wrong with asking for one."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from registry.errors import NotFound

WEEKS_BEFORE: Final = 4
WEEKS_AHEAD: Final = 26
"""A calendar shows the plan and the walks from so many weeks ago, and the plan for so many weeks from this one on."""


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """The newest plan. What it says of the weeks from `forecast_from` on will be planned again without regard to it."""

    plan_run_id: int
    starts_on: date
    planned_weeks: int
    changed_at: datetime

    @property
    def forecast_from(self) -> date:
        """The first week that is only a forecast."""
        return self.starts_on + timedelta(weeks=self.planned_weeks)


@dataclass(frozen=True, slots=True)
class FeedBundle:
    """What a crew has in one area in one week: how many checks, their net time [min], how many of them are late."""

    week_starting_on: date
    area_id: int
    area: str | None
    checks: int
    minutes: float
    late: int
    scaffolds: int
    earliest_due_on: date


@dataclass(frozen=True, slots=True)
class FeedRoute:
    """A walk of the crew."""

    route_id: int
    walk_on: date
    area: str | None
    start_gate: str
    walking_minutes: float
    working_minutes: float
    stops: int
    revision: int
    recorded_at: datetime


class CalendarUnknown(NotFound):
    """There is no calendar at this address"""

    slug = "calendar-unknown"
