"""A leak, what was done about it, and how often an area leaks."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from registry.errors import Conflict, Invalid, NotFound, on_constraint

Severity = Literal["weep", "drip", "spray"]
FoundDuring = Literal["check", "operation"]
Step = Literal["first_attempt", "repaired"]

SEVERITIES: tuple[Severity, ...] = ("weep", "drip", "spray")
STEPS: tuple[Step, ...] = ("first_attempt", "repaired")


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakReport:
    """A leak as somebody reports it. `client_uuid` is made where it was seen, so that sending it twice counts once."""

    tag: str
    observed_at: datetime
    severity: Severity
    client_uuid: UUID
    found_during: FoundDuring = "operation"
    found_by: str | None = None
    screening_ppmv: float | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReport:
    """What was done about a leak: a first attempt, or the repair that closes it."""

    leak_id: int
    step: Step
    observed_at: datetime
    client_uuid: UUID
    done_by: str | None = None
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class RecordedLeak:
    """A row of the ledger as far as a repeated report must agree with it."""

    leak_id: int
    joint_id: int
    observed_at: datetime
    severity: Severity
    found_by: str | None
    found_during: FoundDuring
    screening_ppmv: float | None
    notes: str | None


@dataclass(frozen=True, slots=True)
class RecordedStep:
    """A row of the ledger as far as a repeated report must agree with it."""

    leak_step_id: int
    leak_id: int
    step: Step
    observed_at: datetime
    done_by: str | None
    notes: str | None


@dataclass(frozen=True, slots=True)
class Leak:
    """A leak with its joint and the state of its repair. Times are UTC."""

    leak_id: int
    joint_id: int
    tag: str
    area: str | None
    observed_at: datetime
    severity: Severity
    found_by: str | None
    found_during: FoundDuring
    screening_ppmv: float | None
    notes: str | None
    first_attempt_at: datetime | None
    repaired_at: datetime | None
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class AreaCount:
    """What the ledger says of one area over a window of days; `area_id` 0 is 'in no area'."""

    area_id: int
    area: str | None
    joints: int
    joint_years: float
    leaks: int
    weeps: int
    drips: int
    sprays: int
    open_now: int
    oldest_open_days: int | None
    repaired: int
    median_repair_days: float | None


@dataclass(frozen=True, slots=True)
class AreaRate:
    """An area's count as a rate per 1,000 joint-years with its exact 95 % limits; None where there is no exposure."""

    count: AreaCount
    leaks_per_1000_joint_years: float | None
    lower_limit: float | None
    upper_limit: float | None

    def as_row(self) -> dict[str, Any]:
        """The area in one row: its counts, its rate, what is open and how long repairs take."""
        count = self.count
        return {
            "area": count.area,
            "joints": count.joints,
            "joint_years": count.joint_years,
            "leaks": count.leaks,
            "weeps": count.weeps,
            "drips": count.drips,
            "sprays": count.sprays,
            "leaks_per_1000_joint_years": self.leaks_per_1000_joint_years,
            "lower_limit": self.lower_limit,
            "upper_limit": self.upper_limit,
            "open_now": count.open_now,
            "oldest_open_days": count.oldest_open_days,
            "repaired": count.repaired,
            "median_repair_days": count.median_repair_days,
        }


@dataclass(frozen=True, slots=True)
class LeakRates:
    """Leaks of a window of days, area by area and for the whole site; `since_on` is None where nothing is recorded."""

    since_on: date | None
    until_on: date
    areas: list[AreaRate]
    whole_site: AreaRate


class LeakUnknown(NotFound):
    """There is no such leak in this site"""

    slug = "leak-unknown"


class InTheFuture(Invalid):
    """What has not happened yet cannot be recorded"""

    slug = "in-the-future"


@on_constraint("leak_once")
@on_constraint("leak_step_once")
class LeakReportedOtherwise(Conflict):
    """The same report was recorded before with other content"""

    slug = "leak-reported-otherwise"


class LeakClosed(Conflict):
    """The leak is repaired already"""

    slug = "leak-closed"


@on_constraint("leak_severity_known")
@on_constraint("leak_found_during_known")
@on_constraint("leak_step_known")
@on_constraint("leak_screening_not_negative")
class LeakUnfit(Invalid):
    """The leak report has a value that a leak cannot have"""

    slug = "leak-unfit"


@on_constraint("ledger_append_only")
class LedgerAppendOnly(Conflict):
    """A ledger is added to and never changed"""

    slug = "ledger-append-only"
