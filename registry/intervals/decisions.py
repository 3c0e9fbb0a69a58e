"""What passes in and out of the intervals: runs, due joints, overrides, and what can be wrong with asking for them."""

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from registry.errors import Invalid, NotFound, on_constraint
from registry.intervals.model import DUE_REASONS, LIMITS
from registry.risk.model import assumed_labels

LONGEST_OVERRIDE_DAYS = 36_525


@dataclass(frozen=True, slots=True)
class ScoreRun:
    """A run of scores: by which policy, as of which day, from what was recorded until when."""

    score_run_id: int
    policy_version: int
    as_of: date
    joints: int
    inputs_until: datetime


@dataclass(frozen=True, slots=True)
class ScoreSummary:
    """A published run in numbers of joints."""

    score_run_id: int
    policy_version: int
    as_of: date
    joints: int
    overdue: int
    due_in_30_days: int
    beyond_checking: int
    vibration_action: int
    no_record: int


@dataclass(frozen=True, slots=True)
class Workload:
    """The checks of a family in some time [min], of joints that need an outage for it or of those that do not."""

    family: str
    needs_outage: bool
    minutes: float


@dataclass(frozen=True, slots=True)
class StoredScore:
    """What a run says of one joint, as far as its account must agree with it."""

    defect_rate_per_year: float
    delay_rate_per_year: float
    consequence_class: int
    interval_days: float
    due_on: date
    leak_rate_now_per_year: float
    risk_now: float
    risk_rank: int


@dataclass(frozen=True, slots=True)
class DueJoint:
    """A joint in the due list. Codes are as stored; `limit`, `reason` and `assumed` say them in words."""

    joint_id: int
    tag: str
    area: str | None
    line: str | None
    family: str
    service: str
    east_m: float
    north_m: float
    elevation_m: float
    due_on: date
    due_reason: int
    interval_days: float
    interval_limit: int
    last_satisfactory_on: date
    consequence_class: int
    likelihood_class: int
    leak_rate_now_per_year: float
    risk_now: float
    risk_rank: int
    check_minutes: float
    beyond_checking: bool
    vibration_action: bool
    assumed_inputs: int

    @property
    def reason(self) -> str:
        """What set the due date."""
        return DUE_REASONS[self.due_reason]

    @property
    def limit(self) -> str:
        """What set the interval."""
        return LIMITS[self.interval_limit]

    @property
    def assumed(self) -> tuple[str, ...]:
        """Which inputs nobody gave."""
        return assumed_labels(self.assumed_inputs)

    def as_row(self) -> dict[str, Any]:
        """The joint as the due list gives it out: codes in words, an elevation that nobody gave as None."""
        return {
            "tag": self.tag,
            "area": self.area,
            "line": self.line,
            "family": self.family,
            "service": self.service,
            "east_m": self.east_m,
            "north_m": self.north_m,
            "elevation_m": None if math.isnan(self.elevation_m) else self.elevation_m,
            "due_on": self.due_on,
            "due_reason": self.reason,
            "interval_days": self.interval_days,
            "limit": self.limit,
            "last_satisfactory_on": self.last_satisfactory_on,
            "consequence_class": self.consequence_class,
            "likelihood_class": self.likelihood_class,
            "leak_rate_now_per_year": self.leak_rate_now_per_year,
            "risk_now": self.risk_now,
            "risk_rank": self.risk_rank,
            "check_minutes": self.check_minutes,
            "beyond_checking": self.beyond_checking,
            "vibration_action": self.vibration_action,
            "assumed": list(self.assumed),
        }


@dataclass(frozen=True, slots=True)
class DueFilter:
    """Which joints a due list holds. `before_on` leaves out what falls due on that day or later: the overdue ones."""

    area: str | None = None
    family: str | None = None
    service: str | None = None
    before_on: date | None = None
    until_on: date | None = None


@dataclass(frozen=True, slots=True)
class Override:
    """An engineer's decision on one joint's interval, in force to and with a day."""

    interval_override_id: int
    joint_id: int
    tag: str
    interval_days: float
    until_on: date
    decided_by: str
    reason: str
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class OverrideRequest:
    """A decision to be recorded. To end one early, record another that ends before today."""

    tag: str
    interval_days: float
    until_on: date
    decided_by: str
    reason: str


class NotScored(NotFound):
    """The site is not scored yet"""

    slug = "not-scored"


class JointNotScored(NotFound):
    """There is no score of this joint"""

    slug = "joint-not-scored"


class OverrideUnfit(Invalid):
    """An override names a joint, a number of days, an end, a person and a reason"""

    slug = "override-unfit"


@on_constraint("interval_override_positive")
class OverrideNotPositive(Invalid):
    """An interval is longer than nothing"""

    slug = "override-not-positive"
