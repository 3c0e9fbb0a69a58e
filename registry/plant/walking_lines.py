"""A plan's walkways and stairs as one network: noded where they cross on a level, joined by stairs between levels."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree
from shapely import STRtree

from registry.plant.barriers import barriers_at
from registry.plant.model import Floats, PlotPlan
from registry.plant.shapes import piece_shapes, tree_of

# Own method, for drawings exact to centimetres: ends this near are one point, floors this near are one level, and a
# stair's end this near a walkway or another stair of its level stands on it.
SNAP_M = 0.05
LEVEL_M = 0.3
LANDING_M = 1.0

WALKWAY, STAIR, LADDER = 0, 1, 2

Integers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class WalkingLines:
    """A noded network: `nodes` (n, 3) [m], `edges` (m, 2) between them, each of `kinds` WALKWAY, STAIR or LADDER.

    `blocked` holds the places (k, 3) where a walkway ran into an obstacle and was cut, with the obstacle's index;
    `loose_ends` the stair ends that meet nothing, with the stair's.
    """

    nodes: Floats
    edges: Integers
    kinds: npt.NDArray[np.int8]
    blocked: tuple[tuple[float, float, float, int], ...] = ()
    loose_ends: tuple[tuple[float, float, float, int], ...] = ()

    @cached_property
    def component(self) -> Integers:
        """Which connected part of the network each node belongs to."""
        count = len(self.nodes)
        ends = self.edges.T
        _, labels = connected_components(
            coo_array((np.ones(len(self.edges)), (ends[0], ends[1])), shape=(count, count))
        )
        return labels.astype(np.int64)

    @cached_property
    def lengths_m(self) -> Floats:
        """Length of each edge in space [m]."""
        return np.linalg.norm(self.nodes[self.edges[:, 1]] - self.nodes[self.edges[:, 0]], axis=1)


@dataclass
class _Cuts:
    """Where each straight piece of walkway is to be cut: piece and share of its length, in any order."""

    piece: list[Integers]
    share: list[Floats]

    def add(self, piece: Integers, share: Floats) -> None:
        self.piece.append(piece)
        self.share.append(np.clip(share, 0.0, 1.0))


def walking_lines(plan: PlotPlan) -> WalkingLines:
    """The network of a plan's walkways and stairs.

    Walkways are joined where they cross or touch on one level (within 0.3 m of height), never where one passes over
    another; a stretch inside an obstacle is left out. A stair joins what its two ends stand on.
    """
    start, end, blocked = _open_pieces(plan)
    cuts = _Cuts([], [])
    everything = np.arange(len(start))
    cuts.add(everything, np.zeros(len(start)))
    cuts.add(everything, np.ones(len(start)))
    tree = tree_of(piece_shapes(start, end))
    _cut_where_they_meet(start, end, tree, cuts)
    stairs, landings, loose = _landings(plan, start, end, tree, cuts)

    piece, share = np.concatenate(cuts.piece), np.concatenate(cuts.share)
    order = np.lexsort((share, piece))
    piece, share = piece[order], share[order]
    points = start[piece] + share[:, None] * (end[piece] - start[piece])
    along = np.flatnonzero(piece[:-1] == piece[1:])
    edges = [np.stack([along, along + 1], axis=1)]
    kinds = [np.full(len(along), WALKWAY, dtype=np.int8)]
    all_points = [points]
    count = len(points)
    for vertices, kind in stairs:
        here = count + np.arange(len(vertices))
        all_points.append(vertices)
        edges.append(np.stack([here[:-1], here[1:]], axis=1))
        kinds.append(np.full(len(vertices) - 1, kind, dtype=np.int8))
        count += len(vertices)
    for pair in landings:
        all_points.append(pair)
        edges.append(np.array([[count, count + 1]]))
        kinds.append(np.array([WALKWAY], dtype=np.int8))
        count += 2
    nodes, index = _merged(np.concatenate(all_points) if count else np.empty((0, 3)))
    joined, kept = _distinct(index[np.concatenate(edges)], np.concatenate(kinds))
    return WalkingLines(nodes, joined, kept, tuple(blocked), tuple(loose))


def _open_pieces(plan: PlotPlan) -> tuple[Floats, Floats, list[tuple[float, float, float, int]]]:
    """The straight pieces of all walkways without what lies inside an obstacle, and where obstacles cut them."""
    starts, ends = [np.empty((0, 3))], [np.empty((0, 3))]
    for walkway in plan.walkways:
        vertices = shapely.get_coordinates(walkway.line, include_z=True)
        starts.append(vertices[:-1])
        ends.append(vertices[1:])
    start, end = np.concatenate(starts), np.concatenate(ends)
    long = np.hypot(*(end - start)[:, :2].T) > 0
    start, end = start[long], end[long]
    blocked: list[tuple[float, float, float, int]] = []
    levels = np.round((start[:, 2] + end[:, 2]) / 2, 1)
    keep = np.ones(len(start), dtype=bool)
    more: list[tuple[Floats, Floats]] = []
    for level in np.unique(levels):
        barriers = barriers_at(plan, float(level))
        on_level = np.flatnonzero(levels == level)
        for piece in on_level[barriers.cuts(start[on_level, :2], end[on_level, :2])]:
            line = shapely.LineString([start[piece, :2], end[piece, :2]])
            keep[piece] = False
            free = line
            for outline in barriers.crossing(line):
                inside = line.intersection(barriers.outlines[outline])
                middle = (
                    inside.interpolate(0.5, normalized=True) if inside.geom_type == "LineString" else inside.centroid
                )
                blocked.append((middle.x, middle.y, float(level), barriers.obstacle_of[outline]))
                free = free.difference(barriers.outlines[outline])
            for part in shapely.get_parts(free):
                if part.length > SNAP_M:
                    ends_2d = shapely.get_coordinates(part)[[0, -1]]
                    shares = np.hypot(*(ends_2d - start[piece, :2]).T) / line.length
                    both = start[piece] + shares[:, None] * (end[piece] - start[piece])
                    more.append((both[:1], both[1:]))
    start = np.concatenate([start[keep], *(pair[0] for pair in more)])
    end = np.concatenate([end[keep], *(pair[1] for pair in more)])
    return start, end, blocked


def _cut_where_they_meet(start: Floats, end: Floats, tree: STRtree, cuts: _Cuts) -> None:
    if not len(start):
        return
    one, two = tree.query(tree.geometries, predicate="dwithin", distance=SNAP_M)
    fresh = one < two
    one, two = one[fresh], two[fresh]
    along_one, along_two, between = end[one] - start[one], end[two] - start[two], start[two] - start[one]
    turn = _cross(along_one, along_two)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_one = _cross(between, along_two) / turn
        at_two = _cross(between, along_one) / turn
    crosses = (np.abs(turn) > 1e-9) & (at_one >= 0) & (at_one <= 1) & (at_two >= 0) & (at_two <= 1)
    level = start[one, 2] + at_one * along_one[:, 2] - start[two, 2] - at_two * along_two[:, 2]
    crosses &= np.abs(level) <= LEVEL_M
    cuts.add(one[crosses], at_one[crosses])
    cuts.add(two[crosses], at_two[crosses])
    for ends, of, other in ((start, one, two), (end, one, two), (start, two, one), (end, two, one)):
        share, away, rise = _foot(ends[of], start[other], end[other])
        touches = (away <= SNAP_M) & (np.abs(rise) <= LEVEL_M)
        cuts.add(other[touches], share[touches])


def _landings(
    plan: PlotPlan, start: Floats, end: Floats, tree: STRtree, cuts: _Cuts
) -> tuple[list[tuple[Floats, int]], list[Floats], list[tuple[float, float, float, int]]]:
    """The stairs, the short ways from their ends to what they stand on, and the ends that stand on nothing."""
    stairs = [
        (shapely.get_coordinates(stair.line, include_z=True), LADDER if stair.climb == "ladder" else STAIR)
        for stair in plan.stairs
    ]
    feet = np.array([vertices[which] for vertices, _ in stairs for which in (0, -1)]).reshape(-1, 3)
    landings: list[Floats] = []
    loose: list[tuple[float, float, float, int]] = []
    for number, foot in enumerate(feet):
        stands = False
        near = tree.query(shapely.Point(foot[:2]), predicate="dwithin", distance=LANDING_M) if len(start) else []
        near = np.asarray(near, dtype=np.int64)
        share, away, rise = _foot(np.repeat(foot[None], len(near), axis=0), start[near], end[near])
        fit = np.flatnonzero(np.abs(rise) <= LEVEL_M)
        if len(fit):
            best = fit[np.argmin(away[fit])]
            cuts.add(near[best : best + 1], share[best : best + 1])
            on = start[near[best]] + share[best] * (end[near[best]] - start[near[best]])
            landings.append(np.stack([foot, on]))
            stands = True
        others = np.flatnonzero(np.arange(len(feet)) // 2 != number // 2)
        close = np.hypot(*(feet[others] - foot)[:, :2].T) <= LANDING_M
        for other in others[close & (np.abs(feet[others, 2] - foot[2]) <= LEVEL_M)]:
            landings.append(np.stack([foot, feet[other]]))
            stands = True
        if not stands:
            loose.append((float(foot[0]), float(foot[1]), float(foot[2]), number // 2))
    return stairs, landings, loose


def _cross(one: Floats, two: Floats) -> Floats:
    return one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]


def _foot(points: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats, Floats]:
    """Share along the piece nearest each point in plan, how far away in plan, and how much higher the point is."""
    along = end - start
    share = np.einsum("ij,ij->i", (points - start)[:, :2], along[:, :2]) / np.einsum(
        "ij,ij->i", along[:, :2], along[:, :2]
    )
    share = np.clip(share, 0.0, 1.0)
    gap = points - (start + share[:, None] * along)
    return share, np.hypot(gap[:, 0], gap[:, 1]), gap[:, 2]


def _merged(points: Floats) -> tuple[Floats, Integers]:
    """Points nearer than the snap as one node, at the first of them; and the node of each point."""
    if not len(points):
        return points, np.empty(0, dtype=np.int64)
    scaled = points * [1.0, 1.0, SNAP_M / LEVEL_M]
    pairs = KDTree(scaled).query_pairs(SNAP_M, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    _, label = connected_components(graph, directed=False)
    _, first, index = np.unique(label, return_index=True, return_inverse=True)
    return points[first], index.astype(np.int64)


def _distinct(edges: Integers, kinds: npt.NDArray[np.int8]) -> tuple[Integers, npt.NDArray[np.int8]]:
    ordered = np.sort(edges, axis=1)
    real = ordered[:, 0] != ordered[:, 1]
    ordered, kinds = ordered[real], kinds[real]
    _, first = np.unique(ordered, axis=0, return_index=True)
    return ordered[first], kinds[first]
