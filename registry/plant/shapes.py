"""Arrays of points and of straight pieces, and trees that find them by place."""

from typing import cast

import numpy as np
import numpy.typing as npt
import shapely
from shapely import STRtree

from registry.plant.model import Floats

Shapes = npt.NDArray[np.object_]


def point_shapes(points: Floats) -> Shapes:
    """Points in plan from positions (n, 2 or more) [m]."""
    return cast("Shapes", shapely.points(points[:, :2]))


def piece_shapes(start: Floats, end: Floats) -> Shapes:
    """Straight pieces in plan between positions (n, 2 or more) [m]."""
    return cast("Shapes", shapely.linestrings(np.stack([start[:, :2], end[:, :2]], axis=1)))


def tree_of(shapes: Shapes) -> STRtree:
    """A search tree over shapes."""
    return STRtree(shapes)
