"""Walks through Saltmarsh Point, looked at with plain geometry: every leg on a walkway, a stair or clear ground.

Nothing here asks the code that finds the walks what is in the way: the plot plan's file is read anew.
"""

import json
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from registry.demo.joints import Plant, plant
from registry.demo.layout import blocks_for, plot_plan
from registry.plant.features import checked_features
from registry.plant.geojson import read_geojson
from registry.plant.model import Floats
from registry.plant.model import plot_plan as plan_of
from registry.policy.document import default_policy
from registry.routes.choosing import StopRule, chosen_rounds
from registry.routes.distances import walks_between
from registry.routes.hanging import INSIDE, hung, mainland_from
from registry.routes.ordering import RoundRule
from registry.routes.walkways import walking_ground

JOINTS = 4_000
WEIGHED = 60
HEADROOM_M = 2.0
PLATFORM_M = 3.0
ON_THE_LINE_M = 0.06
ON_THE_LEVEL_M = 0.31
QUICK = StopRule(most_steps=150, patience_steps=50, refills=10, order=RoundRule(rounds=2, kicks_a_place=1))


@dataclass(frozen=True)
class Drawing:
    """The plot plan as its file has it: lines to walk on with their heights, and what stands from where to where."""

    lines: list[LineString]
    obstacles: list[tuple[BaseGeometry, float, float]]
    gates: list[tuple[str, Point]]

    def on_a_line(self, piece: LineString) -> bool:
        """Whether a piece lies on walkways and stairs, at their height."""
        low, high = sorted(z for _, _, z in piece.coords)
        near = [
            line
            for line in self.lines
            if line.distance(piece) <= ON_THE_LINE_M
            and min(z for _, _, z in line.coords) <= high + ON_THE_LEVEL_M
            and max(z for _, _, z in line.coords) >= low - ON_THE_LEVEL_M
        ]
        if not near:
            return False
        flat = shapely.force_2d(piece)
        return flat.difference(shapely.union_all(near).buffer(ON_THE_LINE_M)).length < 0.01

    def by_a_platform(self, piece: LineString) -> bool:
        """Whether a piece lies on the platform beside a raised walkway."""
        level = piece.coords[0][2]
        beside = [
            line
            for line in self.lines
            if line.distance(piece) <= PLATFORM_M and abs(line.coords[0][2] - level) <= ON_THE_LEVEL_M
        ]
        return bool(beside) and shapely.union_all(beside).buffer(PLATFORM_M + 0.01).covers(shapely.force_2d(piece))

    def crossed(self, piece: LineString) -> float:
        """How far a piece leads through what stands in the headroom above it [m]."""
        low, high = sorted(z for _, _, z in piece.coords)
        through = [
            shapely.force_2d(piece).intersection(outline).length
            for outline, base, top in self.obstacles
            if base < high + HEADROOM_M and top > low
        ]
        return sum(through)


@pytest.fixture(scope="module", params=["as drawn", "cluttered"])
def features(request: pytest.FixtureRequest) -> list[dict[str, Any]]:
    """The plant's plan; cluttered, its equipment is in the way too, as it would be without room to walk between it."""
    drawn = plot_plan(blocks_for(JOINTS))["features"]
    if request.param == "as drawn":
        return drawn
    stands = {"kind": "obstacle", "elevation_m": 0.0, "top_elevation_m": 4.0}
    return [{**one, "properties": stands} if one["properties"]["kind"] == "equipment" else one for one in drawn]


@pytest.fixture(scope="module")
def drawing(features: list[dict[str, Any]]) -> Drawing:
    lines: list[LineString] = []
    obstacles: list[tuple[BaseGeometry, float, float]] = []
    gates: list[tuple[str, Point]] = []
    for feature in features:
        given, geometry = feature["properties"], shape(feature["geometry"])
        if given["kind"] in ("walkway", "stair"):
            lines.append(geometry)
        elif given["kind"] == "gate":
            gates.append((given["name"], geometry))
        elif given["kind"] == "obstacle":
            # A joint on a wall is reached with an arm; a hand's breadth is no way through.
            inner = shapely.force_2d(geometry).buffer(-0.02, join_style="mitre")
            obstacles.append((inner, given.get("elevation_m", -np.inf), given.get("top_elevation_m", np.inf)))
    return Drawing(lines, obstacles, gates)


@pytest.fixture(scope="module")
def saltmarsh() -> Plant:
    return plant(JOINTS, 1, date(2026, 11, 25))


def walks(features: list[dict[str, Any]], points: Floats, *, seed: int) -> list[Floats]:
    """The legs of a route from the first point through those of the others that are worth most by chance, and back."""
    reading = read_geojson(json.dumps({"type": "FeatureCollection", "features": features}).encode())
    checked, _ = checked_features(reading.features)
    names = [feature.name or "" for feature in checked if feature.kind == "area"]
    plan = plan_of(checked, {name: number for number, name in enumerate(names, start=1)})
    ground = walking_ground(plan, default_policy().walking)
    hanging = hung(ground, points, mainland_from(ground, points[0]))
    found = walks_between(ground, points, hanging)
    out = ~np.isfinite(found.seconds[0])
    # Only what stands in the middle of equipment is out of reach.
    assert (hanging.state[out] == INSIDE).all()
    assert out.mean() < 0.5
    prizes = np.random.default_rng(seed).lognormal(0, 1, len(points))
    working = np.full(len(points), 240.0)
    prizes[0] = working[0] = 0.0
    may = ~out[None, :]
    (order,) = chosen_rounds(found.seconds, working, prizes, [4 * 3600.0], may, seed=seed, rule=QUICK)
    assert len(order) > 10
    return [found.leg(before, after) for before, after in pairwise([0, *order, 0])]


@pytest.mark.parametrize("turn", range(4))
def test_every_leg_lies_on_walkways_or_clear_ground_and_crosses_no_obstacle(
    turn: int, features: list[dict[str, Any]], drawing: Drawing, saltmarsh: Plant
) -> None:
    joints = joint_points(saltmarsh)
    # Half of them anywhere, half where something stands near.
    rng = np.random.default_rng(turn)
    buildings = shapely.union_all([outline for outline, _, _ in drawing.obstacles])
    near = np.argsort(shapely.distance(shapely.points(joints[:, :2]), buildings), kind="stable")[: len(joints) // 10]
    which = np.unique(np.concatenate([rng.choice(len(joints), WEIGHED // 2), rng.choice(near, WEIGHED // 2)]))
    _, gate = drawing.gates[turn % len(drawing.gates)]
    points = np.concatenate([np.array([[gate.x, gate.y, 0.0]]), joints[which]])
    # What looks at the legs is not blind: as the crow flies they would lead through.
    assert sum(drawing.crossed(LineString([points[0], point])) > 1 for point in points[1:]) > 5
    for leg in walks(features, points, seed=turn):
        for before, after in pairwise(leg):
            if np.hypot(*(after - before)[:2]) < 1e-6:
                continue  # up or down a ladder or scaffold at the joint
            piece = LineString([before, after])
            assert drawing.crossed(piece) < 1e-6
            on_ground = abs(before[2]) <= ON_THE_LEVEL_M and abs(after[2]) <= ON_THE_LEVEL_M
            up_there = abs(before[2] - after[2]) <= HEADROOM_M and np.hypot(*(after - before)[:2]) <= HEADROOM_M
            assert drawing.on_a_line(piece) or on_ground or up_there or drawing.by_a_platform(piece)


def joint_points(built: Plant) -> Floats:
    """Where the joints of the plant are whose elevation is known."""
    joints = built.joints
    points = np.column_stack([joints.east_m, joints.north_m, joints.elevation_m])
    return points[np.isfinite(points).all(axis=1)]
