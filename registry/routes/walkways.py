"""The walking network of a plan in seconds, and the ground that it stands on."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from shapely import STRtree

from registry.plant.barriers import Barriers, barriers_at
from registry.plant.model import Floats, Gate, PlotPlan
from registry.plant.shapes import piece_shapes, tree_of
from registry.plant.walking_lines import LADDER, STAIR, WALKWAY, Integers, WalkingLines, walking_lines
from registry.policy.model import WalkingPolicy

# Own method: floors this near the gates' (or the lowest walkway's) are ground, where people may leave the walkway.
GROUND_M = 1.0


def walking_seconds(run_m: Floats, rise_m: Floats, kind: npt.NDArray[np.int8], pace: WalkingPolicy) -> Floats:
    """Seconds to walk pieces of way.

    seconds = length / speed on a walkway; rise x seconds per metre on a flight of stairs, and its landings as a
    walkway; rise x seconds per metre on a ladder.

    Parameters
    ----------
    run_m : (n,) horizontal length [m].
    rise_m : (n,) height gained or lost [m], not negative.
    kind : (n,) WALKWAY, STAIR or LADDER.
    pace : the policy's speeds.

    Returns
    -------
    (n,) [s].

    References
    ----------
    Own method: a landing is walked level; on a flight the steps set the pace, whatever its slope.

    >>> import numpy as np
    >>> kinds = np.array([WALKWAY, STAIR, LADDER], dtype=np.int8)
    >>> pace = WalkingPolicy(1.2, 1.0, 4.0, 6.0, "Own method")
    >>> walking_seconds(np.array([12.0, 5.0, 0.0]), np.array([0.0, 5.5, 3.0]), kinds, pace).tolist()
    [10.0, 22.0, 18.0]
    """
    level = np.hypot(run_m, rise_m) / pace.walkway_m_s
    flight = np.where(rise_m > 0, rise_m * pace.stair_s_per_m, level)
    return np.select([kind == STAIR, kind == LADDER], [flight, rise_m * pace.ladder_s_per_m], level)


@dataclass(frozen=True)
class WalkingGround:
    """A plan as walkers meet it: the network with its seconds, and what bars the way at each level."""

    plan: PlotPlan
    pace: WalkingPolicy
    lines: WalkingLines

    @cached_property
    def seconds(self) -> Floats:
        """Seconds along each edge of the network."""
        step = self.lines.nodes[self.lines.edges[:, 1]] - self.lines.nodes[self.lines.edges[:, 0]]
        return walking_seconds(np.hypot(step[:, 0], step[:, 1]), np.abs(step[:, 2]), self.lines.kinds, self.pace)

    @cached_property
    def ground_levels_m(self) -> Floats:
        """The elevations that count as ground: the gates' and the lowest walkway's, or 0 where the plan has neither."""
        levels = [gate.elevation_m for gate in self.plan.gates]
        if not levels:
            levels = [float(self.lines.nodes[:, 2].min())] if len(self.lines.nodes) else [0.0]
        return np.unique(levels)

    @cached_property
    def edge_levels_m(self) -> Floats:
        """Mean elevation of each edge [m]."""
        return self.lines.nodes[self.lines.edges, 2].mean(axis=1)

    @cached_property
    def on_ground(self) -> npt.NDArray[np.bool_]:
        """Whether each edge is a walkway on the ground."""
        near = (
            np.abs(self.edge_levels_m[:, None] - self.ground_levels_m[None, :]).min(axis=1, initial=np.inf) <= GROUND_M
        )
        return near & (self.lines.kinds == WALKWAY)

    @cached_property
    def ground_nodes(self) -> Integers:
        """The nodes of the network that stand on the ground: where a stair can be got at over clear ground."""
        away = np.abs(self.lines.nodes[:, 2][:, None] - self.ground_levels_m[None, :]).min(axis=1, initial=np.inf)
        return np.flatnonzero(away <= GROUND_M)

    @cached_property
    def ground_barriers(self) -> Barriers:
        """What cuts off a walk over the ground."""
        return barriers_at(self.plan, float(self.ground_levels_m[0]))

    @cached_property
    def has_walkways(self) -> bool:
        """Whether there is a walkway on the ground; without one, walks go straight over clear ground."""
        return bool(self.on_ground.any())

    def edges_tree(self, edges: Integers) -> STRtree:
        """A search tree over some edges, in plan."""
        start, end = self.lines.edges[edges].T
        return tree_of(piece_shapes(self.lines.nodes[start], self.lines.nodes[end]))

    def start(self, name: str | None) -> Gate:
        """The gate of that name, or the first one in the plan.

        A plan without gates is entered at the south-western end of its ground walkways (or corner of the plan), which
        is then called by its field of the sheet. Raises KeyError for a name that no gate has.
        """
        gates = {" ".join(gate.name.casefold().split()): gate for gate in self.plan.gates}
        if name is not None and self.plan.gates:
            return gates[" ".join(name.casefold().split())]
        if self.plan.gates:
            return self.plan.gates[0]
        if self.has_walkways:
            nodes = self.lines.nodes[np.unique(self.lines.edges[self.on_ground])]
            east, north, elevation = (float(value) for value in nodes[np.argmin(nodes[:, 0] + nodes[:, 1])])
        else:
            west, south, _, _ = self.plan.bounds or (0.0, 0.0, 0.0, 0.0)
            east, north, elevation = west, south, float(self.ground_levels_m[0])
        gate = Gate(f"walkway end {self.plan.grid_reference(east, north)}", east, north, elevation, 2.0)
        if name is not None and name != gate.name:
            raise KeyError(name)
        return gate


def walking_ground(plan: PlotPlan, pace: WalkingPolicy) -> WalkingGround:
    """A plan's network and ground, ready to hang joints on and to walk."""
    return WalkingGround(plan, pace, walking_lines(plan))
