"""Rows as pages show them."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final, Literal

from registry.errors import Invalid, NotFound

DueState = Literal["overdue", "due_soon", "later"]
DUE_STATES: Final[tuple[DueState, ...]] = ("overdue", "due_soon", "later")
SOON_DAYS: Final = 30
"""A check due in so many days counts as 'due soon'."""


class FilterUnknown(Invalid):
    """There is nothing of that name to filter by"""

    slug = "filter-unknown"


class WindowUnfit(Invalid):
    """The map window is not one"""

    slug = "window-unfit"


class TagUnknown(NotFound):
    """There is no joint of that tag in this site"""

    slug = "tag-unknown"


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the title block says, and the stamp by which a browser knows that nothing has changed."""

    site_code: str
    site_name: str
    score_run_id: int | None
    """None until the site was scored for the first time."""
    policy_version: int | None
    as_of: date | None
    scored_joints: int | None
    plot_plan_intake_id: int | None
    """The load of the newest plot plan, None where there is none."""
    has_joints: bool
    stamp: str
    """Changes whenever a score, a check, a leak, a repair, a make-up, a decision or a loaded file does."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing to filter by; `number` 0 of kind 'area' is 'in no area'."""

    kind: str
    number: int
    name: str


@dataclass(frozen=True, slots=True)
class Choices:
    """The areas, families and services of a site."""

    areas: tuple[Choice, ...]
    families: tuple[Choice, ...]
    services: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class JointFilter:
    """Which joints are meant, by the names that stand in the address bar. None is 'all'."""

    area: str | None = None
    family: str | None = None
    service: str | None = None
    due: DueState | None = None

    @property
    def is_empty(self) -> bool:
        """Whether every joint is meant."""
        return self == JointFilter()


@dataclass(frozen=True, slots=True)
class JointConditions:
    """A filter as the queries take it."""

    area_id: int | None
    family_id: int | None
    service_id: int | None
    due_from: date | None
    due_until: date | None


def joint_conditions(wanted: JointFilter, choices: Choices, today: date) -> JointConditions:
    """A filter's names as the site's numbers and dates. Raises FilterUnknown."""
    due_from, due_until = due_window(wanted.due, today)
    return JointConditions(
        area_id=_number(wanted.area, choices.areas, "area"),
        family_id=_number(wanted.family, choices.families, "family"),
        service_id=_number(wanted.service, choices.services, "service"),
        due_from=due_from,
        due_until=due_until,
    )


def due_window(state: DueState | None, today: date) -> tuple[date | None, date | None]:
    """First and last due date of a due state, None where it has no end.

    >>> due_window("due_soon", date(2026, 3, 1))
    (datetime.date(2026, 3, 1), datetime.date(2026, 3, 31))
    """
    soon = today + timedelta(days=SOON_DAYS)
    if state == "overdue":
        return None, today - timedelta(days=1)
    if state == "due_soon":
        return today, soon
    if state == "later":
        return soon + timedelta(days=1), None
    return None, None


def due_state(due_on: date, today: date) -> DueState:
    """How a due date stands against today.

    >>> due_state(date(2026, 3, 1), date(2026, 3, 1))
    'due_soon'
    """
    if due_on < today:
        return "overdue"
    return "due_soon" if due_on <= today + timedelta(days=SOON_DAYS) else "later"


@dataclass(frozen=True, slots=True)
class AreaSummary:
    """One area's joints in numbers; `area` None is 'in no area'."""

    area_id: int
    area: str | None
    joints: int
    overdue: int
    due_soon: int
    worst_band: int
    beyond_checking: int


@dataclass(frozen=True, slots=True)
class ListedJoint:
    """A joint as a list shows it."""

    joint_id: int
    tag: str
    area: str | None
    family: str
    service: str
    east_m: float
    north_m: float
    elevation_m: float | None
    due_on: date
    due_reason: int
    interval_days: float
    leak_rate_now_per_year: float
    consequence_class: int
    risk_now: float
    band: int
    risk_rank: int
    check_minutes: float
    beyond_checking: bool


@dataclass(frozen=True, slots=True)
class DueCount:
    """Joints and hours of checking under a filter, by due state."""

    joints: int
    hours: float
    overdue: int
    due_soon: int


@dataclass(frozen=True, slots=True)
class FoundTag:
    """A joint that a search found."""

    tag: str
    area: str | None
    family: str


@dataclass(frozen=True, slots=True)
class JointRecord:
    """A joint as registered, with its score; the score's fields are None until the site was scored."""

    joint_id: int
    tag: str
    family: str
    service: str
    line: str | None
    area: str | None
    size_mm: float | None
    east_m: float
    north_m: float
    elevation_m: float | None
    pressure_barg: float
    temperature_degc: float | None
    access: str | None
    requires_outage: bool | None
    notes: str | None
    source_name: str
    recorded_at: datetime
    due_on: date | None
    due_reason: int | None
    interval_days: float | None
    interval_limit: int | None
    beyond_checking: bool | None
    vibration_action: bool | None
    risk_now: float | None
    band: int | None
    risk_rank: int | None


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One thing that happened to a joint. A day-only entry stands at midnight UTC."""

    kind: Literal["make_up", "check", "leak", "repair", "reading", "override", "change"]
    at: datetime
    what: str
    by: str | None
    number: float | None
    """mm/s of a reading, ppmv of a check or a leak, days of an override."""
    notes: str | None
    superseded: bool


@dataclass(frozen=True, slots=True)
class RouteStop:
    """A stop and the walk to it; position 0, without a joint, is the way back to the gate."""

    position: int
    joint_id: int | None
    tag: str | None
    family: str | None
    service: str | None
    size_mm: float | None
    pressure_barg: float | None
    access: str | None
    east_m: float | None
    north_m: float | None
    elevation_m: float | None
    due_on: date | None
    band: int | None
    walking_minutes: float
    working_minutes: float
    leg: list[float]
    """East, north, elevation, east, … of the walk from the stop before [m]."""
    result: str | None
    """Newest result recorded on this route, None while there is none."""
    recorded_at: datetime | None
    checked_by: str | None


@dataclass(frozen=True, slots=True)
class ScoreGroup:
    """How many joints share these codes of the score."""

    likelihood_class: int
    consequence_class: int
    interval_limit: int
    beyond_checking: bool
    vibration_action: bool
    assumed_inputs: int
    joints: int


@dataclass(frozen=True, slots=True)
class LeakOnPlan:
    """An open leak where it stands on the plan."""

    tag: str
    east_m: float
    north_m: float
    severity: str
    observed_at: datetime


@dataclass(frozen=True, slots=True)
class PlanShape:
    """A feature of the plot plan as it is drawn: GeoJSON geometry in plant-grid metres."""

    kind: str
    name: str | None
    geometry: dict[str, object]


def _number(name: str | None, choices: tuple[Choice, ...], kind: str) -> int | None:
    if name is None:
        return None
    for choice in choices:
        if choice.name == name:
            return choice.number
    raise FilterUnknown(f"no {kind} '{name}' in this site")
