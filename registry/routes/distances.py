"""Walking seconds between stops, and the way that each leg takes, over walkways, stairs and clear ground."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from registry.plant.barriers import barriers_at
from registry.plant.model import Floats
from registry.plant.shapes import point_shapes, tree_of
from registry.plant.walking_lines import Integers
from registry.routes.hanging import AROUND, CORNER_M, INSIDE, NO_WAY, PLATFORM_M, Hanging, hung
from registry.routes.walkways import WalkingGround

# Own method: between stops this near on clear ground nobody goes back to the walkway.
DIRECT_M = 25.0
# Own method: from one joint to another within a step of it nobody climbs down and up again.
STEP_M = 2.0
# A sparse graph holds no edge of length nought.
_LEAST_S = 1e-6
_BLOCK = 200_000


@dataclass(frozen=True)
class Walks:
    """Seconds from stop to stop (n, n), infinite where there is no way, and how to draw each leg."""

    seconds: Floats
    _points: Floats
    _before: npt.NDArray[np.int32]
    _first_stop: int

    def leg(self, start: int, end: int) -> Floats:
        """The way from one stop to another as positions (m, 3) [m]. Raises ValueError where there is none."""
        if not np.isfinite(self.seconds[start, end]):
            raise ValueError(f"there is no way from stop {start} to stop {end}")
        node, source = self._first_stop + end, self._first_stop + start
        way = [node]
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

    A walk may leave the walkway: to a stop, between stops near each other on clear ground, and round the corners of
    obstacles to a stop that sees no walkway. Where the plan has no walkways, all walks go straight over clear ground.
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
    _add_clear_ground(ground, graph, stand, top, points, hanging, usable)
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
    return Walks(np.minimum(between, between.T), np.concatenate(graph.points), before, int(top[0]) if len(top) else 0)


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
    ground: WalkingGround,
    graph: _Graph,
    stand: Integers,
    top: Integers,
    points: Floats,
    hanging: Hanging,
    usable: Integers,
) -> None:
    floor = hanging.stand[:, 2]
    on_ground = np.zeros(len(floor), dtype=bool)
    on_edge = hanging.edge >= 0
    on_ground[on_edge] = ground.on_ground[hanging.edge[on_edge]]
    on_ground |= hanging.state == AROUND
    grounded = usable[on_ground[usable]]
    reach = DIRECT_M if ground.has_walkways else np.inf
    _add_sightlines(ground, graph, stand[grounded], hanging.stand[grounded], reach)
    raised = usable[~on_ground[usable]]
    levels = np.round(floor[raised])
    for level in np.unique(levels):
        here = raised[levels == level]
        pairs = _pairs_within(hanging.stand[here], PLATFORM_M)
        one, two = here[pairs[:, 0]], here[pairs[:, 1]]
        clear = ~barriers_at(ground.plan, float(level)).cuts(hanging.stand[one, :2], hanging.stand[two, :2])
        run = np.linalg.norm(hanging.stand[one] - hanging.stand[two], axis=1)[clear]
        graph.add_edges(stand[one[clear]], stand[two[clear]], run / ground.pace.clear_ground_m_s)
    up = usable[hanging.climb_m[usable] > 0]
    pairs = _pairs_within(points[up], STEP_M)
    apart = np.linalg.norm(points[up[pairs[:, 0]]] - points[up[pairs[:, 1]]], axis=1)
    graph.add_edges(top[up[pairs[:, 0]]], top[up[pairs[:, 1]]], apart / ground.pace.clear_ground_m_s)
    hidden = usable[hanging.state[usable] == AROUND]
    if len(hidden):
        _add_corners(ground, graph, stand, hanging, hidden)


def _add_corners(ground: WalkingGround, graph: _Graph, stand: Integers, hanging: Hanging, hidden: Integers) -> None:
    """The corners of obstacles, tied to each other, to the hidden stops and to the walkways in sight."""
    corners = ground.ground_barriers.corners
    reach = CORNER_M if ground.has_walkways else np.inf
    if ground.has_walkways:
        near = tree_of(point_shapes(hanging.stand[hidden])).query(
            point_shapes(corners), predicate="dwithin", distance=CORNER_M
        )[0]
        corners = corners[np.unique(near)]
    if not len(corners):
        return
    level = float(ground.ground_levels_m[0])
    at = np.column_stack([corners, np.full(len(corners), level)])
    nodes = graph.add_nodes(at)
    _add_sightlines(ground, graph, nodes, at, reach)
    everyone = np.concatenate([nodes, stand[hidden]])
    where = np.concatenate([at, hanging.stand[hidden]])
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
