"""What is amiss in a drawing that loads: walkways that nearly meet, islands, stairs in the air, areas that overlap."""

import numpy as np
import shapely
from shapely import STRtree

from registry.plant.features import DrawingFault
from registry.plant.model import PlotPlan
from registry.plant.shapes import piece_shapes, tree_of
from registry.plant.walking_lines import LEVEL_M, WALKWAY, WalkingLines, walking_lines

# Own method: a walkway that ends this near another and does not meet it is a slip of the pen.
NEARLY_M = 1.5
# Own method: outlines that share less than this have a common border, drawn twice.
OVERLAP_M2 = 1.0


def drawing_faults(plan: PlotPlan) -> list[DrawingFault]:
    """Every fault of a plan that does not stop it from being loaded, with its place and its field of the sheet."""
    lines = walking_lines(plan)
    return [*_walkway_faults(plan, lines), *_area_faults(plan)]


def _walkway_faults(plan: PlotPlan, lines: WalkingLines) -> list[DrawingFault]:
    faults: list[DrawingFault] = []
    for east, north, elevation, obstacle in lines.blocked:
        name = plan.obstacles[obstacle].name
        what = f"the obstacle '{name}'" if name else "an obstacle"
        faults.append(
            _fault(plan, f"a walkway runs into {what}; the part inside is not walked", east, north, elevation)
        )
    for east, north, elevation, stair in lines.loose_ends:
        name = plan.stairs[stair].name
        what = f"the stair '{name}'" if name else "a stair"
        faults.append(_fault(plan, f"{what} ends here and meets no walkway of this level", east, north, elevation))
    return [*faults, *_near_misses(plan, lines), *_islands(plan, lines)]


def _near_misses(plan: PlotPlan, lines: WalkingLines) -> list[DrawingFault]:
    if not len(lines.edges):
        return []
    degree = np.bincount(lines.edges.ravel(), minlength=len(lines.nodes))
    walkways = lines.edges[lines.kinds == WALKWAY]
    tree = tree_of(piece_shapes(lines.nodes[walkways[:, 0]], lines.nodes[walkways[:, 1]]))
    faults: list[DrawingFault] = []
    told: set[tuple[int, ...]] = set()
    for node in np.flatnonzero(degree == 1):
        east, north, elevation = (float(value) for value in lines.nodes[node])
        here = shapely.Point(east, north)
        near = tree.query(here, predicate="dwithin", distance=NEARLY_M)
        own = walkways[(walkways == node).any(axis=1)]
        # A short stub is near whatever its other end stands on.
        near = near[~np.isin(walkways[near], own).any(axis=1)] if len(own) else near[:0]
        floor = lines.nodes[walkways[near], 2]
        near = near[(floor.min(axis=1) <= elevation + LEVEL_M) & (floor.max(axis=1) >= elevation - LEVEL_M)]
        if not len(near):
            continue
        gaps = shapely.distance(tree.geometries[near], here)
        closest = int(near[np.argmin(gaps)])
        away = np.hypot(*(lines.nodes[walkways[closest]] - lines.nodes[node])[:, :2].T)
        ends = [int(end) for end in walkways[closest][away <= NEARLY_M]]
        if any((end, int(node)) in told for end in ends):
            continue
        told.update((int(node), end) for end in ends)
        reason = f"a walkway ends {gaps.min():.2f} m short of another (less than {NEARLY_M} m); nobody is sent across"
        faults.append(_fault(plan, reason, east, north, elevation))
    return faults


def _islands(plan: PlotPlan, lines: WalkingLines) -> list[DrawingFault]:
    if not len(lines.edges):
        return []
    part = lines.component[lines.edges[:, 0]]
    length = np.bincount(part, weights=lines.lengths_m)
    mainland = {int(np.argmax(length))}
    if plan.gates:
        gates = np.array([[gate.east_m, gate.north_m, gate.elevation_m] for gate in plan.gates])
        away = np.linalg.norm(lines.nodes[None, :, :] - gates[:, None, :], axis=2)
        mainland = {int(lines.component[node]) for node in away.argmin(axis=1)}
    faults: list[DrawingFault] = []
    for island in np.flatnonzero(length > 0):
        if int(island) in mainland:
            continue
        inside = lines.nodes[lines.component == island]
        east, north, elevation = (float(value) for value in inside[np.lexsort(inside.T[::-1])][0])
        reason = f"an island: {length[island]:.1f} m of walkway from here are not joined to the rest of the network"
        faults.append(_fault(plan, reason, east, north, elevation))
    return faults


def _area_faults(plan: PlotPlan) -> list[DrawingFault]:
    faults: list[DrawingFault] = []
    outlines = np.array([area.outline for area in plan.areas], dtype=object)
    one, two = STRtree(outlines).query(outlines, predicate="intersects")
    for first, second in zip(one, two, strict=True):
        if first >= second:
            continue
        shared = plan.areas[first].outline.intersection(plan.areas[second].outline)
        smaller = min(plan.areas[first].outline.area, plan.areas[second].outline.area)
        # An area wholly inside another is meant so.
        if OVERLAP_M2 < shared.area < smaller - OVERLAP_M2:
            at = shared.representative_point()
            names = f"'{plan.areas[first].name}' and '{plan.areas[second].name}'"
            reason = f"the areas {names} overlap by {shared.area:.0f} m2; the smaller has what lies there"
            faults.append(_fault(plan, reason, at.x, at.y, None))
    return faults


def _fault(plan: PlotPlan, reason: str, east_m: float, north_m: float, elevation_m: float | None) -> DrawingFault:
    return DrawingFault(reason, east_m, north_m, elevation_m, f"field {plan.grid_reference(east_m, north_m)}")
