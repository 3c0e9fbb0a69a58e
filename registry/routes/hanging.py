"""How each joint hangs on the walking network: where the crew leaves the walkway, and what it climbs at the joint."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from registry.plant.barriers import barriers_at
from registry.plant.model import Floats
from registry.plant.shapes import point_shapes, tree_of
from registry.plant.walking_lines import LEVEL_M, WALKWAY, Integers
from registry.routes.walkways import WalkingGround

# Own method, a standing person's reach from the floor: up to the raised hand, and down to a knee on the grating.
REACH_UP_M = 2.0
REACH_DOWN_M = 0.5
# Own method: this far beside the line of a raised walkway is still its platform. On the ground any clear way will do.
PLATFORM_M = 3.0
# Own method: an arm reaches this far over the outline of an obstacle.
ARM_M = 0.8
# Own method: how far a blocked joint looks for another way to a walkway, and for the corners that hide it.
LOOK_M = 120.0
CORNER_M = 60.0
_ROUND = 12

REACHED, AROUND, INSIDE, NO_WAY = 0, 1, 2, 3
REASONS = (
    "reached",
    "out of sight of every walkway, reached round a corner",
    "inside an obstacle that nobody can enter",
    "on no walkway that joins the start",
)


@dataclass(frozen=True)
class Hanging:
    """For each point: the edge it hangs on (-1: none), the foot (n, 3) on it, where one stands (n, 3), and the climb.

    `state` is REACHED, AROUND (reached over clear ground past corners: the foot is where one stands), INSIDE or NO_WAY.
    """

    edge: Integers
    foot: Floats
    stand: Floats
    climb_m: Floats
    state: npt.NDArray[np.int8]

    def taken(self, which: Integers) -> "Hanging":
        """Some of the points, in the given order."""
        return Hanging(self.edge[which], self.foot[which], self.stand[which], self.climb_m[which], self.state[which])


def climb_m(elevation_m: Floats, floor_m: Floats) -> Floats:
    """How far one must climb from a floor to reach a joint.

    climb = max(0, elevation - floor - 2.0, floor - elevation - 0.5)

    Parameters
    ----------
    elevation_m : (n,) of the joints [m].
    floor_m : (n,) of the floors [m].

    Returns
    -------
    (n,) [m].

    References
    ----------
    Own method: a standing person reaches 2.0 m up and, kneeling, 0.5 m down.

    >>> import numpy as np
    >>> climb_m(np.array([1.5, 5.5, -1.0]), np.zeros(3)).tolist()
    [0.0, 3.5, 0.5]
    """
    return np.maximum(0.0, np.maximum(elevation_m - floor_m - REACH_UP_M, floor_m - elevation_m - REACH_DOWN_M))


def hung(ground: WalkingGround, points: Floats, mainland: npt.NDArray[np.bool_] | None = None) -> Hanging:
    """Hang points (n, 3) [m] on the network by the nearest place on a walkway that no obstacle cuts off.

    A platform or rack walkway beside a point is taken when it leaves less to climb than the ground does. `mainland`
    says which edges may be used (those joined to the start); None allows all.
    """
    count = len(points)
    allowed = np.ones(len(ground.lines.edges), dtype=bool) if mainland is None else mainland
    stand, state = _standing(ground, points)
    level = float(ground.ground_levels_m[0])
    found = Hanging(np.full(count, -1, dtype=np.int64), stand.copy(), stand, climb_m(points[:, 2], stand[:, 2]), state)
    edges = np.flatnonzero(allowed & ground.on_ground)
    if len(edges):
        _hang_on_ground(ground, edges, points, found)
    elif ground.has_walkways:
        found.state[state == REACHED] = NO_WAY
    else:
        found.state[state == REACHED] = AROUND
        stand[:, 2] = level
    _hang_on_platforms(
        ground, np.flatnonzero(allowed & ~ground.on_ground & (ground.lines.kinds == WALKWAY)), points, found
    )
    return found


def mainland_from(ground: WalkingGround, start: Floats) -> npt.NDArray[np.bool_]:
    """Which edges are joined to where the start (3,) [m] meets the network."""
    if not len(ground.lines.edges):
        return np.zeros(0, dtype=bool)
    if not ground.has_walkways:
        # Every stair that stands on the ground is walked to straight.
        part = ground.lines.component
        return np.isin(part, part[ground.ground_nodes])[ground.lines.edges[:, 0]]
    edge = int(hung(ground, start[None, :]).edge[0])
    if edge < 0:
        # The start sees no walkway: it gets to the nearest one round corners, if at all.
        edges = np.flatnonzero(ground.on_ground)
        if not len(edges):
            return np.zeros(len(ground.lines.edges), dtype=bool)
        edge = int(edges[ground.edges_tree(edges).nearest(shapely.Point(start[:2]))])
    part = ground.lines.component[ground.lines.edges[:, 0]]
    return part == part[edge]


def _standing(ground: WalkingGround, points: Floats) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Where one stands on the ground to reach each point, and whether it is INSIDE an obstacle beyond reach."""
    stand, state = points.copy(), np.full(len(points), REACHED, dtype=np.int8)
    stand[:, 2] = float(ground.ground_levels_m[0])
    barriers = ground.ground_barriers
    held = barriers.holding(points[:, :2])
    for index in np.flatnonzero(held >= 0):
        edge = barriers.outlines[held[index]].boundary
        at = edge.interpolate(edge.project(shapely.Point(points[index, :2])))
        beside = np.array([[at.x, at.y]])
        if np.hypot(*(beside[0] - points[index, :2])) <= ARM_M and barriers.holding(beside)[0] < 0:
            stand[index, :2] = beside[0]
        else:
            state[index] = INSIDE
    return stand, state


def _hang_on_ground(ground: WalkingGround, edges: Integers, points: Floats, found: Hanging) -> None:
    free = np.flatnonzero(found.state == REACHED)
    if not len(free):
        return
    tree = ground.edges_tree(edges)
    which, near = tree.query_nearest(point_shapes(found.stand[free]), all_matches=False)
    order = np.argsort(which, kind="stable")
    edge = edges[near[order]]
    foot = _feet(ground, found.stand[free], edge)
    clear = ~ground.ground_barriers.cuts(foot[:, :2], found.stand[free, :2])
    _hang(points, found, free[clear], edge[clear], foot[clear])
    _hang_in_sight(ground, edges, points, found, free[~clear])


def _hang(points: Floats, found: Hanging, which: Integers, edge: Integers, foot: Floats) -> None:
    found.edge[which] = edge
    found.foot[which] = foot
    found.stand[which, 2] = foot[:, 2]
    found.climb_m[which] = climb_m(points[which, 2], foot[:, 2])


def _hang_in_sight(ground: WalkingGround, edges: Integers, points: Floats, found: Hanging, blocked: Integers) -> None:
    """Hang points whose nearest walkway is hidden on the nearest place that is not.

    That place is the foot of some edge's perpendicular, an edge's end, or where the line past an obstacle's corner
    meets an edge: all are tried, nearest first.
    """
    if not len(blocked):
        return
    tree = ground.edges_tree(edges)
    corners = ground.ground_barriers.corners
    corner_tree = tree_of(point_shapes(corners))
    places: list[Floats] = []
    on: list[Integers] = []
    for point in blocked:
        here = shapely.Point(found.stand[point, :2])
        near = edges[tree.query(here, predicate="dwithin", distance=LOOK_M)]
        beside = corners[corner_tree.query(here, predicate="dwithin", distance=CORNER_M)]
        place, edge = _places_in_sight(ground, near, found.stand[point], beside)
        order = np.argsort(np.hypot(*(place[:, :2] - found.stand[point, :2]).T), kind="stable")
        places.append(place[order])
        on.append(edge[order])
    waiting = np.arange(len(blocked))
    for begin in range(0, max(len(place) for place in places), _ROUND):
        tried = [places[index][begin : begin + _ROUND] for index in waiting]
        sizes = np.array([len(place) for place in tried])
        goal = np.repeat(found.stand[blocked[waiting], :2], sizes, axis=0)
        cut = (
            ground.ground_barriers.cuts(np.concatenate(tried)[:, :2], goal) if sizes.sum() else np.empty(0, dtype=bool)
        )
        settled = np.zeros(len(waiting), dtype=bool)
        for row, part in enumerate(np.split(cut, np.cumsum(sizes)[:-1])):
            clear = np.flatnonzero(~part)
            if len(clear):
                best, index = begin + clear[0], waiting[row]
                _hang(
                    points,
                    found,
                    blocked[index : index + 1],
                    on[index][best : best + 1],
                    places[index][best : best + 1],
                )
                settled[row] = True
        waiting = waiting[~settled]
        if not len(waiting):
            return
    found.state[blocked[waiting]] = AROUND


def _places_in_sight(ground: WalkingGround, edges: Integers, at: Floats, corners: Floats) -> tuple[Floats, Integers]:
    start, end = (ground.lines.nodes[ground.lines.edges[edges, side]] for side in (0, 1))
    feet = _feet(ground, np.repeat(at[None, :], len(edges), axis=0), edges)
    along, sight = (end - start)[:, None, :2], (corners - at[:2])[None, :, :]
    off = at[None, None, :2] - start[:, None, :2]
    turn = along[..., 0] * sight[..., 1] - along[..., 1] * sight[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (off[..., 0] * sight[..., 1] - off[..., 1] * sight[..., 0]) / turn
        ahead = (off[..., 0] * along[..., 1] - off[..., 1] * along[..., 0]) / turn
    edge, corner = np.nonzero((np.abs(turn) > 1e-9) & (share >= 0) & (share <= 1) & (ahead >= 1))
    past = start[edge] + share[edge, corner][:, None] * (end - start)[edge]
    return np.concatenate([feet, start, end, past]), np.concatenate([edges, edges, edges, edges[edge]])


def _hang_on_platforms(ground: WalkingGround, edges: Integers, points: Floats, found: Hanging) -> None:
    if not len(edges) or not len(points):
        return
    tree = ground.edges_tree(edges)
    point, near = tree.query(point_shapes(points), predicate="dwithin", distance=PLATFORM_M)
    edge = edges[near]
    foot = _feet(ground, points[point], edge)
    climb = climb_m(points[point, 2], foot[:, 2])
    without = np.where(np.isin(found.state, (INSIDE, NO_WAY)), np.inf, found.climb_m)
    better = climb < without[point] - LEVEL_M
    point, edge, foot, climb = point[better], edge[better], foot[better], climb[better]
    cut = np.zeros(len(point), dtype=bool)
    levels = np.round(foot[:, 2], 1)
    for level in np.unique(levels):
        here = np.flatnonzero(levels == level)
        cut[here] = barriers_at(ground.plan, float(level)).cuts(foot[here, :2], points[point[here], :2])
    point, edge, foot, climb = point[~cut], edge[~cut], foot[~cut], climb[~cut]
    away = np.hypot(*(foot - points[point])[:, :2].T)
    # The least climb to the decimetre, then the nearest: the first of each point after sorting.
    order = np.lexsort((edge, away, np.round(climb, 1), point))
    which, first = np.unique(point[order], return_index=True)
    best = order[first]
    found.stand[which, :2] = points[which, :2]
    found.state[which] = REACHED
    _hang(points, found, which, edge[best], foot[best])


def _feet(ground: WalkingGround, points: Floats, edges: Integers) -> Floats:
    start, end = (ground.lines.nodes[ground.lines.edges[edges, side]] for side in (0, 1))
    along = end - start
    square = np.einsum("ij,ij->i", along[:, :2], along[:, :2])
    share = np.einsum("ij,ij->i", (points - start)[:, :2], along[:, :2]) / np.where(square > 0, square, 1.0)
    return start + np.clip(share, 0.0, 1.0)[:, None] * along
