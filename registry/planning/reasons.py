"""Why a check stands in no week, and why it stands elsewhere than in the plan before; the numbers are stored."""

from collections.abc import Mapping
from enum import IntEnum
from types import MappingProxyType
from typing import Final


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
        Unplaced.NEEDS_OUTAGE: "needs an outage, and none of its area falls before its latest day",
        Unplaced.NO_CREW: "no crew that may check this family is there before its latest day",
        Unplaced.NO_ROOM: "the crews that may check it are full until its latest day",
        Unplaced.TOO_LONG: "takes longer than any crew has in one week",
        Unplaced.NO_LEAD: "its permit or scaffold cannot be had before its latest day",
        Unplaced.PINNED_BEYOND: "a person put it into a week after the end of this plan",
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
