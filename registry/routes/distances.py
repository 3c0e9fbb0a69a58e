"""Walking seconds between stops, and the way that each leg takes, over walkways, stairs and clear ground."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from registry.plant.barriers import barriers_at
from registry.plant.model import Floats
from registry.plant.shapes import point_shapes, tree_of
from registry.plant.walking_lines import LEVEL_M, Integers
from registry.routes.hanging import AROUND, CORNER_M, INSIDE, NO_WAY, PLATFORM_M, Hanging, hung
from registry.routes.walkways import WalkingGround

# Own method: between stops this near on clear ground nobody goes back to the walkway.
DIRECT_M = 25.0
# Own method: from one joint to another within a step of it nobody climbs down and up again.
STEP_M = 2.0
# A sparse graph holds no edge of length nought.
_LEAST_S = 1e-6
_BLOCK = 200_000
_BY_NETWORK, _BY_FOOT, _UP_THERE = 0, 1, 2


@dataclass(frozen=True)
class Walks:
    """Seconds from stop to stop (n, n), infinite where there is no way, and how to draw each leg."""

    seconds: Floats
    _points: Floats
    _before: npt.NDArray[np.int32]
    _first_stand: int
    _first_stop: int
    _directly: npt.NDArray[np.int8]

    def leg(self, start: int, end: int) -> Floats:
        """The way from one stop to another as positions (m, 3) [m]. Raises ValueError where there is none."""
        if not np.isfinite(self.seconds[start, end]):
            raise ValueError(f"there is no way from stop {start} to stop {end}")
        node, source = self._first_stop + end, self._first_stop + start
        way = [node]
        if self._directly[start, end] == _BY_FOOT:
            way += [self._first_stand + end, self._first_stand + start, source]
        elif self._directly[start, end] == _UP_THERE:
            way.append(source)
        else:
            while node != source:
                node = int(self._before[start, node])
                way.append(node)
        points = self._points[way[::-1]]
        distinct = np.concatenate([[True], np.any(np.abs(np.diff(points, axis=0)) > 1e-3, axis=1)])
        return points[distinct]


@dataclass
class _Graph:
    """Nodes and edges as they are gathered."""

    points: list[Floats]
    start: list[Integers]
    end: list[Integers]
    seconds: list[Floats]
    count: int = 0

    def add_nodes(self, points: Floats) -> Integers:
        self.points.append(points)
        self.count += len(points)
        return np.arange(self.count - len(points), self.count)

    def add_edges(self, start: Integers, end: Integers, seconds: Floats) -> None:
        self.start.append(start)
        self.end.append(end)
        self.seconds.append(np.maximum(seconds, _LEAST_S))


def walks_between(ground: WalkingGround, points: Floats, hanging: Hanging) -> Walks:
    """The shortest walks between points (n, 3) [m] that hang on the network as `hanging` says, the same both ways.

    A walk may leave the walkway: to a stop, from a stop to one near it on clear ground, and round the corners of
    obstacles to a stop that sees no walkway. Where the plan has no walkways, all walks go straight over clear ground.
    How long a walk is does not depend on which other points are asked for.
    """
    graph = _Graph([], [], [], [])
    network = graph.add_nodes(ground.lines.nodes)
    stand = graph.add_nodes(hanging.stand)
    # One climbs where one stands, which for a joint just inside an obstacle is outside it.
    height = np.where(hanging.climb_m > 0, points[:, 2], hanging.stand[:, 2])
    top = graph.add_nodes(np.column_stack([hanging.stand[:, :2], height]))
    usable = np.flatnonzero(~np.isin(hanging.state, (INSIDE, NO_WAY)))
    graph.add_edges(stand[usable], top[usable], hanging.climb_m[usable] * ground.pace.ladder_s_per_m)
    _add_network(ground, graph, network, stand, hanging)
    _add_clear_ground(ground, graph, network, stand, hanging, usable)
    start, end, seconds = (np.concatenate(part) for part in (graph.start, graph.end, graph.seconds))
    # Of several edges between two nodes the quickest counts; a sparse matrix would add them up.
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.lexsort((seconds, high, low))
    low, high, seconds = low[order], high[order], seconds[order]
    fresh = (
        np.concatenate([[True], (np.diff(low) != 0) | (np.diff(high) != 0)]) if len(low) else np.empty(0, dtype=bool)
    )
    matrix = coo_array((seconds[fresh], (low[fresh], high[fresh])), shape=(graph.count, graph.count)).tocsr()
    times, before = dijkstra(matrix, directed=False, indices=top, return_predecessors=True)
    between = times[:, top]
    # Rounding may differ by a bit between the two directions; a walk is as long back as out.
    between = np.minimum(between, between.T)
    directly = np.zeros(between.shape, dtype=np.int8)
    for how, one, two, direct_s in _direct_walks(ground, points, hanging, usable):
        shorter = direct_s < between[one, two]
        one, two, direct_s = one[shorter], two[shorter], direct_s[shorter]
        between[one, two] = between[two, one] = direct_s
        directly[one, two] = directly[two, one] = how
    first_stand, first_top = (int(nodes[0]) if len(nodes) else 0 for nodes in (stand, top))
    return Walks(between, np.concatenate(graph.points), before, first_stand, first_top, directly)


def _add_network(ground: WalkingGround, graph: _Graph, network: Integers, stand: Integers, hanging: Hanging) -> None:
    """The network's edges, cut at the foot of every stop, and the ways from the feet to where one stands."""
    edges = ground.lines.edges
    on = np.flatnonzero(hanging.edge >= 0)
    feet = graph.add_nodes(hanging.foot[on])
    run = np.hypot(*(hanging.stand[on] - hanging.foot[on])[:, :2].T)
    graph.add_edges(feet, stand[on], run / ground.pace.clear_ground_m_s)
    edge = hanging.edge[on]
    used = np.unique(edge)
    whole = np.setdiff1d(np.arange(len(edges)), used)
    graph.add_edges(network[edges[whole, 0]], network[edges[whole, 1]], ground.seconds[whole])
    if not len(on):
        return
    # Each used edge as a row of nodes: its start, the feet in order, its end.
    begin = ground.lines.nodes[edges[edge, 0]]
    share = np.linalg.norm(hanging.foot[on] - begin, axis=1) / ground.lines.lengths_m[edge]
    row_edge = np.concatenate([edge, used, used])
    row_share = np.concatenate([np.clip(share, 0.0, 1.0), np.zeros(len(used)), np.ones(len(used))])
    row_node = np.concatenate([feet, network[edges[used, 0]], network[edges[used, 1]]])
    # At equal share the start goes first and the end last.
    rank = np.concatenate([np.ones(len(on)), np.zeros(len(used)), np.full(len(used), 2.0)])
    order = np.lexsort((rank, row_share, row_edge))
    row_edge, row_share, row_node = row_edge[order], row_share[order], row_node[order]
    along = np.flatnonzero(row_edge[:-1] == row_edge[1:])
    step = row_share[along + 1] - row_share[along]
    graph.add_edges(row_node[along], row_node[along + 1], step * ground.seconds[row_edge[along]])


def _add_clear_ground(
    ground: WalkingGround, graph: _Graph, network: Integers, stand: Integers, hanging: Hanging, usable: Integers
) -> None:
    """The ways over clear ground: all of them where there is no walkway, else those round the corners."""
    hidden = usable[hanging.state[usable] == AROUND]
    nodes, places = stand[hidden], hanging.stand[hidden]
    if not ground.has_walkways:
        # From stop to stop, and to the stairs that stand on the ground.
        nodes = np.concatenate([network[ground.ground_nodes], nodes])
        places = np.concatenate([ground.lines.nodes[ground.ground_nodes], places])
        _add_sightlines(ground, graph, nodes, places, np.inf)
    if len(nodes):
        _add_corners(ground, graph, nodes, places)


def _on_ground(ground: WalkingGround, hanging: Hanging) -> npt.NDArray[np.bool_]:
    """Whether one stands on the ground at each point, not on a platform."""
    on_ground = hanging.state == AROUND
    on_edge = hanging.edge >= 0
    on_ground[on_edge] |= ground.on_ground[hanging.edge[on_edge]]
    return on_ground


def _direct_walks(
    ground: WalkingGround, points: Floats, hanging: Hanging, usable: Integers
) -> Iterator[tuple[int, Integers, Integers, Floats]]:
    """How, from which point to which, and in how many seconds one may go without going back to the walkway.

    A direct walk is no link of a longer one, or walks would be shorter where more is asked for.
    """
    pace, stand = ground.pace, hanging.stand
    climb_s = hanging.climb_m * pace.ladder_s_per_m
    on_ground = _on_ground(ground, hanging)
    near: list[Integers] = []
    if ground.has_walkways:
        grounded = usable[on_ground[usable]]
        near.append(grounded[_pairs_within(stand[grounded, :2], DIRECT_M)])
    raised = usable[~on_ground[usable]]
    near.append(raised[_pairs_within(stand[raised], PLATFORM_M)])
    one, two = np.concatenate(near).reshape(-1, 2).T
    level = np.abs(stand[one, 2] - stand[two, 2]) <= LEVEL_M
    one, two = one[level], two[level]
    floors = np.round((stand[one, 2] + stand[two, 2]) / 2, 1)
    clear = np.ones(len(one), dtype=bool)
    for floor in np.unique(floors):
        here = np.flatnonzero(floors == floor)
        clear[here] = ~barriers_at(ground.plan, float(floor)).cuts(stand[one[here], :2], stand[two[here], :2])
    one, two = one[clear], two[clear]
    run_s = np.linalg.norm(stand[one] - stand[two], axis=1) / pace.clear_ground_m_s
    yield _BY_FOOT, one, two, climb_s[one] + run_s + climb_s[two]
    up = usable[hanging.climb_m[usable] > 0]
    one, two = up[_pairs_within(points[up], STEP_M)].reshape(-1, 2).T
    yield _UP_THERE, one, two, np.linalg.norm(points[one] - points[two], axis=1) / pace.clear_ground_m_s


def _add_corners(ground: WalkingGround, graph: _Graph, hidden: Integers, places: Floats) -> None:
    """The corners of obstacles, tied to each other, to the hidden nodes at `places` and to the walkways in sight."""
    corners = ground.ground_barriers.corners
    reach = CORNER_M if ground.has_walkways else np.inf
    if ground.has_walkways:
        near = tree_of(point_shapes(places)).query(point_shapes(corners), predicate="dwithin", distance=CORNER_M)[0]
        corners = corners[np.unique(near)]
    if not len(corners):
        return
    level = float(ground.ground_levels_m[0])
    at = np.column_stack([corners, np.full(len(corners), level)])
    nodes = graph.add_nodes(at)
    _add_sightlines(ground, graph, nodes, at, reach)
    everyone = np.concatenate([nodes, hidden])
    where = np.concatenate([at, places])
    first = len(nodes)
    _add_sightlines(ground, graph, everyone, where, reach, between=(first, len(everyone)))
    if not ground.has_walkways:
        return
    tied = hung(ground, at)
    tied_on = np.flatnonzero((tied.edge >= 0) & (tied.climb_m == 0))
    feet = graph.add_nodes(tied.foot[tied_on])
    run = np.hypot(*(at[tied_on] - tied.foot[tied_on])[:, :2].T)
    graph.add_edges(nodes[tied_on], feet, run / ground.pace.clear_ground_m_s)
    for side in (0, 1):
        end = ground.lines.edges[tied.edge[tied_on], side]
        length = np.linalg.norm(ground.lines.nodes[end] - tied.foot[tied_on], axis=1)
        graph.add_edges(feet, end, length / ground.pace.walkway_m_s)


def _add_sightlines(
    ground: WalkingGround,
    graph: _Graph,
    nodes: Integers,
    points: Floats,
    reach_m: float,
    *,
    between: tuple[int, int] | None = None,
) -> None:
    """Edges over clear ground between nodes that see each other; with `between`, from that slice to those before it."""
    if between is None:
        pairs = _pairs_within(points, reach_m)
    else:
        begin, end = between
        one, two = (part.ravel() for part in np.meshgrid(np.arange(begin, end), np.arange(begin), indexing="ij"))
        pairs = np.stack([one, two], axis=1)
        pairs = pairs[np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]])[:, :2].T) <= reach_m]
    for block in range(0, len(pairs), _BLOCK):
        one, two = pairs[block : block + _BLOCK].T
        clear = ~ground.ground_barriers.cuts(points[one, :2], points[two, :2])
        run = np.linalg.norm(points[one] - points[two], axis=1)[clear]
        graph.add_edges(nodes[one[clear]], nodes[two[clear]], run / ground.pace.clear_ground_m_s)


def _pairs_within(points: Floats, reach_m: float) -> Integers:
    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    if np.isinf(reach_m):
        return np.stack(np.triu_indices(len(points), k=1), axis=1)
    return KDTree(points).query_pairs(reach_m, output_type="ndarray").astype(np.int64).reshape(-1, 2)
