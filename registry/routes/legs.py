"""An order of stops as a walk: the minutes and the way of each leg, and back to the start."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from registry.routes.distances import Walks
from registry.routes.model import RouteStop


@dataclass(frozen=True, slots=True)
class Visit:
    """A stop to be: its place among the points walked between, its joint, its minutes there, and whether pinned."""

    place: int
    joint_id: int
    working_minutes: float
    pinned: bool


def walk_of(walks: Walks, start: int, visits: Sequence[Visit]) -> tuple[tuple[RouteStop, ...], RouteStop]:
    """The stops in this order, each with the walk to it, and the way back to the start."""
    way = [start, *(visit.place for visit in visits), start]
    legs = [
        (float(walks.seconds[before, after] / 60.0), np.round(walks.leg(before, after), 3).ravel().tolist())
        for before, after in pairwise(way)
    ]
    stops = tuple(
        RouteStop(position, visit.joint_id, minutes, visit.working_minutes, leg, visit.pinned)
        for position, (visit, (minutes, leg)) in enumerate(zip(visits, legs[:-1], strict=True), start=1)
    )
    minutes, leg = legs[-1]
    return stops, RouteStop(0, None, minutes, 0.0, leg)
