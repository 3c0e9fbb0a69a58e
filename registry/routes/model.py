"""A route: the walk of one crew in one shift, its stops in order and the way between them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, Literal

from registry.errors import Conflict, Invalid, NotFound

# DESIGN of every sheet that sends a person to a joint.
CAUTIONS = (
    "Depressurise, isolate and vent before anything is turned. Never tighten or loosen a fitting under pressure.",
    "Back-up wrench on the body. Eye protection on.",
    "The permit, the local code and a licensed or qualified person decide. This sheet advises; it does not authorise.",
)
SHORTEST_SHIFT_MINUTES, LONGEST_SHIFT_MINUTES = 15.0, 24 * 60.0
MOST_CREWS = 12


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


class StopTaken(Conflict):
    """The joint is on another crew's walk of that day"""

    slug = "stop-taken"


class RouteChangedSince(Conflict):
    """Somebody changed the route in between"""

    slug = "route-changed-since"


@dataclass(frozen=True, slots=True)
class CrewShift:
    """A crew that is to walk: its name, its shift, and where it starts and ends (None: the plan's first gate).

    `tools` are the kinds of tool that it holds: what needs another is left out. None: it takes whatever its stops need.
    A crew of the crews list checks the families that it may; any other name is one that may check them all.
    """

    crew: str
    shift_minutes: float
    start_gate: str | None = None
    tools: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class PinLeftOut:
    """A joint that was to be on a walk, and why it is on none."""

    tag: str
    reason: str


@dataclass(frozen=True, slots=True)
class Unreachable:
    """A joint that no walk reaches, where it is, and why."""

    tag: str
    east_m: float
    north_m: float
    elevation_m: float
    field: str
    reason: str


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
    pinned: bool = False


@dataclass(frozen=True, slots=True)
class Route:
    """A route as made. `considered` counts the due joints that it chose from, `unreachable` those that no walk reaches.

    What another crew of the same making took is not counted. `weighed` were put before the solver: when many are due,
    the riskiest and what lies near those. `waiting_for_outage` joints are due too but need an outage, and are not
    counted; `lacking_tools` says by kind of tool how many of the counted ones the crew cannot do for lack of it (one
    that needs two is counted under both), `without_tools` how many that are. `source` says which list it chose from.
    `pins_left_out` are those of the whole making. `best_walking_minutes` is of the same stops in the best order found.
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
    best_walking_minutes: float
    tools: tuple[str, ...] | None = None
    lacking_tools: Mapping[str, int] = field(default_factory=dict[str, int])
    without_tools: int = 0
    pins_left_out: tuple[PinLeftOut, ...] = ()
    revision: int = 1

    @property
    def left_out(self) -> int:
        """Due joints that can be reached and are not on this walk."""
        return max(0, self.considered - self.unreachable - len(self.stops))


BEST: Final = "best"
"""The order that is found best, of the stops that are neither pinned nor checked."""


@dataclass(frozen=True, slots=True)
class RouteMend:
    """What to change on a route; joints by number.

    `order` names every stop that stays or is added, in walking order; BEST finds one, in which pinned stops and those
    with a result keep their position; None keeps the order, and each added stop goes where it costs the least walking.
    """

    order: tuple[int, ...] | Literal["best"] | None = None
    drop: tuple[int, ...] = ()
    add: tuple[int, ...] = ()
    pin: tuple[int, ...] = ()
    unpin: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Mended:
    """A route before and after a change by hand; of a preview nothing is kept, and `revision` is the present one.

    `best_walking_minutes` is of the stops after the change, in the best order found.
    """

    route_id: int
    revision: int
    shift_minutes: float
    walking_minutes_before: float
    working_minutes_before: float
    walking_minutes: float
    working_minutes: float
    best_walking_minutes: float
    stops: tuple[RouteStop, ...]
    back: RouteStop

    @property
    def added_minutes(self) -> float:
        """What the walk takes longer than before, walking and working; negative where it is shorter."""
        before = self.walking_minutes_before + self.working_minutes_before
        return self.walking_minutes + self.working_minutes - before

    @property
    def order_costs_minutes(self) -> float:
        """What this order takes longer than the best one found for the same stops."""
        return max(0.0, self.walking_minutes - self.best_walking_minutes)

    @property
    def overrun_minutes(self) -> float:
        """By how much it goes over the shift; 0 where it holds it."""
        return max(0.0, self.walking_minutes + self.working_minutes - self.shift_minutes)


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
    revision: int
    tools: list[str] | None
    best_walking_minutes: float | None
    """Of the same stops in the best order found; None for a route of before this was kept."""

    @property
    def order_costs_minutes(self) -> float:
        """What its order takes longer than the best one found for the same stops."""
        return 0.0 if self.best_walking_minutes is None else max(0.0, self.walking_minutes - self.best_walking_minutes)

    @property
    def overrun_minutes(self) -> float:
        """By how much it goes over its shift; 0 where it holds it."""
        return max(0.0, self.walking_minutes + self.working_minutes - self.shift_minutes)


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
    pinned: bool
    result: str | None
    observed_at: datetime | None
    checked_by: str | None
