"""Closing outlines that a drawing has as loose lines."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from registry.errors import Issue
from registry.plant.features import Place

# Own method: line ends closer than this are drawn to meet.
MEET_M = 0.01


@dataclass(frozen=True, slots=True)
class OpenLine:
    """A line on a layer of outlines that does not close by itself."""

    place: Place
    kind: str
    vertices: np.ndarray


def closed_outlines(lines: Sequence[OpenLine]) -> tuple[list[tuple[Place, Polygon]], list[Issue]]:
    """The outlines that the loose lines of one layer make together, and an issue for each that stays open.

    An outline stands at the place of its first line.
    """
    shapes = [LineString(line.vertices) for line in lines]
    snapped = shapely.set_precision(shapely.MultiLineString(shapes), MEET_M)
    polygons = shapely.polygonize(shapely.get_parts(shapely.union_all([snapped])))
    outlines: list[tuple[Place, Polygon]] = []
    used: set[int] = set()
    for polygon in shapely.get_parts(polygons):
        edge = shapely.buffer(polygon.exterior, 2 * MEET_M)
        on = [index for index, shape in enumerate(shapes) if shape.intersection(edge).length > 0.5 * shape.length]
        used.update(on)
        if on:
            outlines.append((lines[min(on)].place, polygon))
    issues = [
        line.place.issue("geometry", None, _not_closed(line)) for index, line in enumerate(lines) if index not in used
    ]
    return outlines, issues


def _not_closed(line: OpenLine) -> str:
    first, last = line.vertices[0], line.vertices[-1]
    gap = float(np.hypot(*(last - first)))
    return (
        f"the outline of this {line.kind} is not closed: it starts at east {first[0]:.2f} m, north {first[1]:.2f} m"
        f" and ends {gap:.2f} m from there, at east {last[0]:.2f} m, north {last[1]:.2f} m, and no other line closes it"
    )
