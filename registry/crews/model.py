"""Crews and outages as the site keeps them, and what can be wrong with what is said of them."""

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final

from registry.errors import Conflict, Invalid, NotFound, on_constraint

WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MINUTES_OF_A_DAY: Final = 1440.0
SHIFT_STARTS_AT: Final = time(7)
LONGEST_NAME: Final = 100
LONGEST_REASON: Final = 200


@dataclass(frozen=True, slots=True)
class CrewRequest:
    """A crew as somebody wants it.

    `families` are codes, labels or aliases of the policy's joint families that the crew may check; none: all of them.
    `minutes_by_weekday`, Monday first, is net time at the joints [min]: walking, permits and breaks are off it already.
    The shift starts by the site's clock. `from_on` and `until_on` are its first and last day, None for no end.
    """

    name: str
    minutes_by_weekday: tuple[float, ...]
    families: tuple[str, ...] = ()
    shift_starts_at: time = SHIFT_STARTS_AT
    from_on: date | None = None
    until_on: date | None = None


@dataclass(frozen=True, slots=True)
class Crew:
    """A crew of the site: see `CrewRequest`. `families` are codes. `recorded_at` is when it was added."""

    crew_id: int
    name: str
    families: tuple[str, ...]
    minutes_by_weekday: tuple[float, ...]
    shift_starts_at: time
    from_on: date | None
    until_on: date | None
    revision: int
    recorded_at: datetime

    @property
    def minutes_per_week(self) -> float:
        """Net time at the joints in a week without days off [min]."""
        return sum(self.minutes_by_weekday)

    def may_check(self, family: str) -> bool:
        """Whether it may check a family of that code."""
        return not self.families or family in self.families

    def as_request(self) -> CrewRequest:
        """What one would ask for to get this crew: the start of a change."""
        return CrewRequest(
            self.name, self.minutes_by_weekday, self.families, self.shift_starts_at, self.from_on, self.until_on
        )


@dataclass(frozen=True, slots=True)
class CrewAbsence:
    """Days on which a crew is not there, both within."""

    crew_absence_id: int
    crew_id: int
    from_on: date
    until_on: date
    reason: str


@dataclass(frozen=True, slots=True)
class OutageRequest:
    """A planned shutdown as somebody wants it: both days within; `areas` by name, none: the whole site."""

    name: str
    from_on: date
    until_on: date
    areas: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Outage:
    """A planned shutdown, both days within, of some areas or (none) of the whole site."""

    outage_id: int
    name: str
    from_on: date
    until_on: date
    area_ids: tuple[int, ...]
    revision: int
    areas: tuple[str, ...] = ()
    """The names of the areas, in the order of `area_ids`."""

    def as_request(self) -> OutageRequest:
        """What one would ask for to get this outage: the start of a change."""
        return OutageRequest(self.name, self.from_on, self.until_on, self.areas)


class CrewUnknown(NotFound):
    """There is no such crew in this site"""

    slug = "crew-unknown"


class AbsenceUnknown(NotFound):
    """The crew has no such absence"""

    slug = "absence-unknown"


class OutageUnknown(NotFound):
    """There is no such outage in this site"""

    slug = "outage-unknown"


@on_constraint("crew_name_once")
class CrewExists(Conflict):
    """A crew of that name is here already"""

    slug = "crew-exists"


@on_constraint("outage_once")
class OutageExists(Conflict):
    """An outage of that name and first day is here already"""

    slug = "outage-exists"


class CrewChangedSince(Conflict):
    """Somebody changed the crew in between"""

    slug = "crew-changed-since"


class OutageChangedSince(Conflict):
    """Somebody changed the outage in between"""

    slug = "outage-changed-since"


class CrewUnfit(Invalid):
    """What is said of the crew cannot be"""

    slug = "crew-unfit"


class AbsenceUnfit(Invalid):
    """What is said of the days off cannot be"""

    slug = "absence-unfit"


class OutageUnfit(Invalid):
    """What is said of the outage cannot be"""

    slug = "outage-unfit"
