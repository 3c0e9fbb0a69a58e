"""What cuts a walk off at one level: the obstacles that stand there, as shapes that may be touched and not entered."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString, Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from registry.plant.model import Floats, Obstacle, PlotPlan
from registry.plant.shapes import piece_shapes, point_shapes

# Own method: people need this much height to pass; a fence is this thick either side of its line; who brushes a wall by
# a centimetre is not in it.
HEADROOM_M = 2.0
FENCE_M = 0.05
TOUCH_M = 0.01


@dataclass(frozen=True)
class Barriers:
    """The outlines that nobody walks through at one level, and the obstacle of the plan that each is part of."""

    outlines: tuple[Polygon, ...]
    obstacle_of: tuple[int, ...]

    @cached_property
    def _tree(self) -> STRtree:
        inner = shapely.buffer(np.array(self.outlines, dtype=object), -TOUCH_M, join_style="mitre")
        return STRtree(inner)

    def cuts(self, start: Floats, end: Floats) -> npt.NDArray[np.bool_]:
        """Whether a barrier cuts the straight way from each `start` to its `end`, both (n, 2) [m]."""
        cut = np.zeros(len(start), dtype=bool)
        if self.outlines and len(start):
            lines = piece_shapes(start, end)
            cut[self._tree.query(lines, predicate="intersects")[0]] = True
        return cut

    def holding(self, points: Floats) -> npt.NDArray[np.int64]:
        """The index of an outline that each point, (n, 2) [m], lies inside; -1 where none."""
        held = np.full(len(points), -1, dtype=np.int64)
        if self.outlines and len(points):
            which, outline = self._tree.query(point_shapes(points), predicate="intersects")
            held[which] = outline
        return held

    def crossing(self, line: LineString) -> list[int]:
        """The outlines whose inside a line enters."""
        return [int(index) for index in self._tree.query(line, predicate="intersects")] if self.outlines else []

    @cached_property
    def corners(self) -> Floats:
        """The corners that a shortest way can turn at, (n, 2) [m]: convex ones, outside every other barrier."""
        found: list[Floats] = []
        for outline in self.outlines:
            for is_hole, ring in ((False, outline.exterior), *((True, hole) for hole in outline.interiors)):
                vertices = shapely.get_coordinates(ring)[:-1]
                before, after = vertices - np.roll(vertices, 1, axis=0), np.roll(vertices, -1, axis=0) - vertices
                turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
                # The obstacle lies inside its outline and outside its courtyards.
                found.append(vertices[turn > 0 if ring.is_ccw != is_hole else turn < 0])
        corners = np.concatenate(found) if found else np.empty((0, 2))
        return corners[self.holding(corners) < 0]


def barriers_at(plan: PlotPlan, elevation_m: float) -> Barriers:
    """The barriers to somebody who walks at that elevation.

    An obstacle counts when it stands in the headroom above the floor. A gate opens the fences that it stands in.
    """
    outlines: list[Polygon] = []
    owners: list[int] = []
    openings = shapely.union_all(
        [
            Point(gate.east_m, gate.north_m).buffer(gate.width_m / 2)
            for gate in plan.gates
            if abs(gate.elevation_m - elevation_m) < HEADROOM_M
        ]
    )
    for index, obstacle in enumerate(plan.obstacles):
        if _in_the_way(obstacle, elevation_m):
            for part in _parts(_solid(obstacle, openings)):
                outlines.append(part)
                owners.append(index)
    return Barriers(tuple(outlines), tuple(owners))


def _in_the_way(obstacle: Obstacle, elevation_m: float) -> bool:
    return obstacle.base_m < elevation_m + HEADROOM_M and obstacle.top_m > elevation_m


def _solid(obstacle: Obstacle, openings: BaseGeometry) -> BaseGeometry:
    if isinstance(obstacle.shape, LineString):
        fence = obstacle.shape.buffer(FENCE_M, cap_style="square", join_style="mitre")
        return fence.difference(openings)
    return obstacle.shape


def _parts(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and not part.is_empty]
