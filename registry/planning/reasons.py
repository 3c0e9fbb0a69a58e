"""Why a check stands in no week, and why it stands elsewhere than in the plan before; the numbers are stored."""

from collections.abc import Mapping
from enum import IntEnum
from types import MappingProxyType
from typing import Final

from registry.errors import Invalid


class ReasonUnknown(Invalid):
    """There is no such reason"""

    slug = "reason-unknown"


class Unplaced(IntEnum):
    """Why a check stands in no week; the numbers are stored."""

    NEEDS_OUTAGE = 1
    NO_CREW = 2
    NO_ROOM = 3
    TOO_LONG = 4
    NO_LEAD = 5
    PINNED_BEYOND = 6

    @property
    def words(self) -> str:
        """The reason, said to a person."""
        return _UNPLACED_WORDS[self]


_UNPLACED_WORDS: Final[Mapping[Unplaced, str]] = MappingProxyType(
    {
        Unplaced.NEEDS_OUTAGE: "an outage is needed, and none falls on the area in the days from first to latest",
        Unplaced.NO_CREW: "no crew that may check the family is there in the days from first to latest",
        Unplaced.NO_ROOM: "every crew that may check the family is full in the days from first to latest",
        Unplaced.TOO_LONG: "the check takes longer than any crew has in one week",
        Unplaced.NO_LEAD: "permit or scaffold cannot be had before the latest day",
        Unplaced.PINNED_BEYOND: "a person put it after the end of this plan",
    }
)


class Moved(IntEnum):
    """Why a check stands elsewhere than in the plan before; the numbers are stored."""

    DONE = 1
    NEW = 2
    NO_LONGER_DUE = 3
    BY_HAND = 4
    ON_ROUTE = 5
    MISSED = 6
    DEFERRED = 7
    DUE_CHANGED = 8
    MINUTES_CHANGED = 9
    OUTAGE_CHANGED = 10
    CREW_CHANGED = 11
    HOURS_CHANGED = 12
    WINDOW_CHANGED = 13
    FOR_OTHERS = 14

    @property
    def words(self) -> str:
        """The reason, said to a person."""
        return _MOVED_WORDS[self]


_MOVED_WORDS: Final[Mapping[Moved, str]] = MappingProxyType(
    {
        Moved.DONE: "done since",
        Moved.NEW: "falls due within the plan now",
        Moved.NO_LONGER_DUE: "no longer due within the plan",
        Moved.BY_HAND: "put there by a person",
        Moved.ON_ROUTE: "on a route that is to be walked",
        Moved.MISSED: "its week has passed without a check",
        Moved.DEFERRED: "deferred",
        Moved.DUE_CHANGED: "its due date changed",
        Moved.MINUTES_CHANGED: "it takes another time now",
        Moved.OUTAGE_CHANGED: "the outages changed, or whether it needs one",
        Moved.CREW_CHANGED: "the crew may not check its family any more, or is gone",
        Moved.HOURS_CHANGED: "the crew's hours of that week changed",
        Moved.WINDOW_CHANGED: "that week lies outside its first and latest day now",
        Moved.FOR_OTHERS: "nothing of its own changed: it makes room for others or goes along with them",
    }
)


def unplaced_named(name: str) -> Unplaced:
    """The reason of that name, such as 'no_room'. Raises ReasonUnknown."""
    try:
        return Unplaced[name.upper()]
    except KeyError as exc:
        raise ReasonUnknown(f"no reason '{name}': {', '.join(reason.name.lower() for reason in Unplaced)}") from exc


def moved_named(name: str) -> Moved:
    """The reason of that name, such as 'due_changed'. Raises ReasonUnknown."""
    try:
        return Moved[name.upper()]
    except KeyError as exc:
        raise ReasonUnknown(f"no reason '{name}': {', '.join(reason.name.lower() for reason in Moved)}") from exc
