"""A route: the walk of one crew in one shift, its stops in order and the way between them."""

from dataclasses import dataclass
from datetime import date, datetime

from registry.errors import Conflict, Invalid, NotFound

# DESIGN of every sheet that sends a person to a joint.
CAUTIONS = (
    "Depressurise, isolate and vent before anything is turned. Never tighten or loosen a fitting under pressure.",
    "Back-up wrench on the body. Eye protection on.",
    "The permit, the local code and a licensed or qualified person decide. This sheet advises; it does not authorise.",
)
SHORTEST_SHIFT_MINUTES, LONGEST_SHIFT_MINUTES = 15.0, 24 * 60.0


class RouteUnknown(NotFound):
    """There is no such route in this site"""

    slug = "route-unknown"


class GateUnknown(NotFound):
    """The plot plan has no such gate"""

    slug = "gate-unknown"


class RouteRefused(Invalid):
    """The route was refused"""

    slug = "route-refused"


class NothingToWalk(Conflict):
    """Nothing is due that a crew could walk to"""

    slug = "nothing-to-walk"


@dataclass(frozen=True, slots=True)
class RouteStop:
    """A stop and the walk to it from the stop before; `leg` is east, north, elevation, east, … in metres.

    Position 0, without a joint, is the way back to the start.
    """

    position: int
    joint_id: int | None
    walking_minutes: float
    working_minutes: float
    leg: list[float]


@dataclass(frozen=True, slots=True)
class Route:
    """A route as made. `considered` counts the due joints that it chose from, `unreachable` those that no walk reaches.

    `weighed` of them were put before the solver: when many are due, the riskiest and what lies near those.
    `waiting_for_outage` joints are due too but need an outage, and are not counted. `source` says which list it chose
    from.
    """

    route_id: int
    walk_on: date
    crew: str
    area: str | None
    start_gate: str
    shift_minutes: float
    walking_minutes: float
    working_minutes: float
    considered: int
    unreachable: int
    weighed: int
    waiting_for_outage: int
    source: str
    stops: tuple[RouteStop, ...]
    back: RouteStop

    @property
    def left_out(self) -> int:
        """Due joints that can be reached and are not on this walk."""
        return self.considered - self.unreachable - len(self.stops)


@dataclass(frozen=True, slots=True)
class RouteSummary:
    """A route in a list."""

    route_id: int
    walk_on: date
    crew: str
    area: str | None
    start_gate: str
    shift_minutes: float
    walking_minutes: float
    working_minutes: float
    considered: int
    unreachable: int
    stops: int
    recorded: int
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class StopOnSheet:
    """A stop as a crew reads it, with what it recorded there on this route; position 0 is the way back."""

    position: int
    joint_id: int | None
    tag: str | None
    area: str | None
    line: str | None
    family: str | None
    service: str | None
    size_mm: float | None
    access: str | None
    east_m: float | None
    north_m: float | None
    elevation_m: float | None
    due_on: date | None
    due_reason: int | None
    walking_minutes: float
    working_minutes: float
    leg: list[float]
    result: str | None
    observed_at: datetime | None
    checked_by: str | None
