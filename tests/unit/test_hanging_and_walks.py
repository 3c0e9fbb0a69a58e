"""Joints on the walking network, and the walks between them: reachable, timed, drawn, and through no obstacle."""

from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from registry.plant.model import Gate, Obstacle, PlotPlan, Stair, Walkway
from registry.policy.model import WalkingPolicy
from registry.routes.distances import Walks, walks_between
from registry.routes.hanging import AROUND, INSIDE, NO_WAY, REACHED, Hanging, hung, mainland_from
from registry.routes.walkways import WalkingGround, walking_ground

Vertex = tuple[float, float, float]
PACE = WalkingPolicy(1.0, 1.0, stair_s_per_m=4.0, ladder_s_per_m=6.0, source="for this test")


def walkway(*vertices: Vertex) -> Walkway:
    return Walkway(None, LineString(vertices), 1.0)


def hut(west: float, south: float, east: float, north: float, base: float = -np.inf, top: float = np.inf) -> Obstacle:
    return Obstacle("hut", box(west, south, east, north), base, top)


ROAD = walkway((0, 0, 0), (100, 0, 0))
RACK = walkway((0, 10, 5.5), (100, 10, 5.5))
STAIR = Stair(None, LineString([(50, 0, 0), (50, 10, 5.5)]), "stair")


def hang(plan: PlotPlan, *points: Vertex) -> tuple[WalkingGround, Hanging]:
    ground = walking_ground(plan, PACE)
    return ground, hung(ground, np.array(points, dtype=float))


def walked(plan: PlotPlan, *points: Vertex) -> Walks:
    ground, hanging = hang(plan, *points)
    return walks_between(ground, np.array(points, dtype=float), hanging)


def test_a_joint_hangs_on_the_exact_place_of_a_walkway_not_on_a_node() -> None:
    _, hanging = hang(PlotPlan(walkways=(ROAD,)), (33.3, 7, 1.5))
    assert hanging.foot.tolist() == [[33.3, 0, 0]]
    assert hanging.state.tolist() == [REACHED]
    assert hanging.climb_m.tolist() == [0]


def test_a_joint_on_a_rack_hangs_on_the_rack_and_one_nobody_built_up_to_is_climbed_to() -> None:
    _, hanging = hang(PlotPlan(walkways=(ROAD, RACK), stairs=(STAIR,)), (20, 11, 6.5), (20, 11, 1.0), (20, 40, 6.5))
    assert hanging.foot[:, 2].tolist() == [5.5, 0, 0]
    assert hanging.climb_m.tolist() == [0, 0, 4.5]


def test_a_platform_that_no_stair_reaches_is_not_used() -> None:
    plan = PlotPlan(walkways=(ROAD, RACK))
    ground = walking_ground(plan, PACE)
    hanging = hung(ground, np.array([[20, 11, 6.5]]), mainland_from(ground, np.array([0.0, 0, 0])))
    assert (hanging.foot[0, 2], hanging.climb_m[0]) == (0, 4.5)


def test_a_wall_between_sends_the_joint_to_the_nearest_place_that_sees_it() -> None:
    _, hanging = hang(PlotPlan(walkways=(ROAD,), obstacles=(hut(40, 2, 60, 4),)), (48, 10, 1))
    # Of the places where the sight past a corner of the hut meets the road, the nearest.
    assert hanging.state.tolist() == [REACHED]
    foot = hanging.foot[0]
    assert foot[0] == pytest.approx(48 - 8 * 10 / 6, abs=1e-6)
    assert not LineString([foot[:2], (48, 10)]).crosses(box(40.02, 2.02, 59.98, 3.98))


def test_a_joint_out_of_sight_is_reached_round_the_corner() -> None:
    # A yard with its opening to the north, the road to the south.
    shape = Polygon([(40, 5), (60, 5), (60, 25), (59, 25), (59, 6), (41, 6), (41, 25), (40, 25)])
    plan = PlotPlan(walkways=(ROAD,), obstacles=(Obstacle("yard wall", shape, -np.inf, np.inf),))
    ground, hanging = hang(plan, (0, 0, 0), (50, 8, 1))
    assert hanging.state.tolist() == [REACHED, AROUND]
    walks = walks_between(ground, np.array([(0, 0, 0), (50, 8, 1.0)]), hanging)
    # Up the west wall to its head and down into the yard.
    assert walks.seconds[0, 1] >= np.hypot(40, 25) + 1 + np.hypot(9, 17) - 1e-6
    assert walks.seconds[0, 1] == pytest.approx(walks.seconds[1, 0])
    leg = walks.leg(0, 1)
    assert tuple(leg[0]) == (0, 0, 0)
    assert tuple(leg[-1][:2]) == (50, 8)
    assert LineString(leg[:, :2]).intersection(shape.buffer(-0.02)).length == 0


def test_a_joint_inside_an_obstacle_is_unreachable_unless_an_arm_reaches_it() -> None:
    plan = PlotPlan(walkways=(ROAD,), obstacles=(hut(40, 5, 60, 25),))
    _, hanging = hang(plan, (50, 15, 1), (50, 5.5, 1))
    assert hanging.state.tolist() == [INSIDE, REACHED]
    assert hanging.stand[1].tolist() == [50, 5, 0]


def test_joints_on_an_island_hang_on_the_mainland_and_those_walled_in_are_said_to_be_unreachable() -> None:
    ring = Polygon(box(38, 38, 62, 62).exterior.coords, [box(40, 40, 60, 60).exterior.coords])
    plan = PlotPlan(
        walkways=(ROAD, walkway((10, 20, 0), (20, 20, 0))), obstacles=(Obstacle("wall", ring, -np.inf, np.inf),)
    )
    ground = walking_ground(plan, PACE)
    points = np.array([(0, 0, 0), (15, 21, 1), (50, 50, 1.0)])
    hanging = hung(ground, points, mainland_from(ground, points[0]))
    assert hanging.foot[1].tolist() == [15, 0, 0]
    walks = walks_between(ground, points, hanging)
    assert np.isfinite(walks.seconds[0, 1])
    assert np.isinf(walks.seconds[0, 2])
    with pytest.raises(ValueError, match="no way"):
        walks.leg(0, 2)


def test_no_walkway_joins_the_start_is_said() -> None:
    plan = PlotPlan(walkways=(ROAD, RACK), gates=(Gate("Roof", 0, 10, 5.5, 2), Gate("Main", 0, 0, 0, 2)))
    ground = walking_ground(plan, PACE)
    nothing = np.zeros(len(ground.lines.edges), dtype=bool)
    assert hung(ground, np.array([[5.0, 5, 1]]), nothing).state.tolist() == [NO_WAY]


def test_walking_time_is_that_of_walkway_stair_and_climb() -> None:
    walks = walked(PlotPlan(walkways=(ROAD, RACK), stairs=(STAIR,)), (0, 0, 0), (80, 10, 6.0), (90, 0, 9.5))
    # 50 m of road, 5.5 m of rise at 4 s, 30 m of rack.
    assert walks.seconds[0, 1] == pytest.approx(50 + 22 + 30)
    # 90 m of road and 7.5 m of ladder at 6 s: an outstretched arm saves two metres.
    assert walks.seconds[0, 2] == pytest.approx(90 + 45)
    assert walks.leg(0, 1)[:, 2].max() == 5.5


def test_neighbours_on_clear_ground_are_walked_between_directly_and_far_ones_by_the_walkway() -> None:
    near = walked(PlotPlan(walkways=(ROAD,)), (10, 20, 1), (20, 20, 1))
    assert near.seconds[0, 1] == pytest.approx(10)
    far = walked(PlotPlan(walkways=(ROAD,)), (10, 20, 1), (50, 20, 1))
    assert far.seconds[0, 1] == pytest.approx(20 + 40 + 20)


def test_two_joints_up_the_same_scaffold_are_not_climbed_to_twice() -> None:
    walks = walked(PlotPlan(walkways=(ROAD,)), (10, 0, 9), (11, 0, 9), (0, 0, 0))
    assert walks.seconds[0, 1] == pytest.approx(1)
    assert walks.seconds[2, 0] == pytest.approx(10 + 7 * 6)


def test_a_plan_without_walkways_is_walked_straight_and_round_its_obstacles() -> None:
    plan = PlotPlan(obstacles=(hut(10, -20, 20, 20),))
    walks = walked(plan, (0, 0, 0), (30, 0, 0), (0, 30, 0))
    assert walks.seconds[0, 1] == pytest.approx(2 * np.hypot(10, 20) + 10)
    assert walks.seconds[0, 2] == pytest.approx(30)
    assert [tuple(point) for point in walks.leg(0, 1)[:, :2]] in (
        [(0, 0), (10, 20), (20, 20), (30, 0)],
        [(0, 0), (10, -20), (20, -20), (30, 0)],
    )


def test_without_walkways_on_the_ground_a_stair_is_walked_to_straight_and_round_obstacles() -> None:
    plan = PlotPlan(
        walkways=(RACK,), stairs=(STAIR,), obstacles=(hut(20, -20, 30, 20),), gates=(Gate("Main", 0, 0, 0, 2),)
    )
    ground = walking_ground(plan, PACE)
    points = np.array([(0, 0, 0), (80, 10, 6.0), (80, -5, 1.0)])
    hanging = hung(ground, points, mainland_from(ground, points[0]))
    assert hanging.climb_m.tolist() == [0, 0, 0]
    walks = walks_between(ground, points, hanging)
    # Round the hut to the stair's foot, 5.5 m of rise at 4 s, 30 m of rack.
    assert walks.seconds[0, 1] == pytest.approx(np.hypot(20, 20) + 10 + np.hypot(20, 20) + 22 + 30)
    assert walks.leg(0, 1)[:, 2].max() == 5.5
    assert walks.seconds[0, 2] == pytest.approx(np.hypot(20, 20) + 10 + np.hypot(50, 15))


def test_a_plan_with_nothing_on_it_is_walked_straight() -> None:
    assert walked(PlotPlan(), (0, 0, 0), (3, 4, 1)).seconds[0, 1] == pytest.approx(5)


def random_plan(rng: np.random.Generator, *, walkways: bool) -> PlotPlan:
    huts = []
    for west, south in rng.uniform(5, 85, (12, 2)):
        width, depth = rng.uniform(3, 15, 2)
        huts.append(hut(west, south, west + width, south + depth))
    paths: list[Walkway] = []
    if walkways:
        for at in (0.0, 40.0, 100.0):
            paths += [walkway((at, 0, 0), (at, 100, 0)), walkway((0, at, 0), (100, at, 0))]
        paths += [walkway((20, 45, 5.5), (80, 45, 5.5))]
    stairs = (Stair(None, LineString([(40, 40, 0), (40, 45, 5.5)]), "stair"),) if walkways else ()
    return PlotPlan(walkways=tuple(paths), obstacles=tuple(huts), stairs=stairs)


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000), walkways=st.booleans())
def test_no_drawn_leg_goes_through_an_obstacle_and_legs_are_as_long_as_they_say(seed: int, walkways: bool) -> None:
    rng = np.random.default_rng(seed)
    plan = random_plan(rng, walkways=walkways)
    points = np.column_stack([rng.uniform(0, 100, (14, 2)), rng.choice([0.5, 1.5, 6.0, 9.0], 14)])
    points[0] = (0, 0, 0)
    ground = walking_ground(plan, replace(PACE, stair_s_per_m=0.0, ladder_s_per_m=0.0))
    hanging = hung(ground, points, mainland_from(ground, points[0]) if walkways else None)
    walks = walks_between(ground, points, hanging)
    solid = shapely.union_all([obstacle.shape.buffer(-0.02, join_style="mitre") for obstacle in plan.obstacles])
    inside = shapely.contains_xy(shapely.union_all([obstacle.shape for obstacle in plan.obstacles]), points[:, :2])
    for start in range(len(points)):
        for end in range(len(points)):
            if start == end or not np.isfinite(walks.seconds[start, end]):
                # Only what stands inside an obstacle may be out of reach here, or walled in by several.
                hidden = np.isin(hanging.state[[start, end]], (AROUND, NO_WAY)).any()
                assert start == end or inside[start] or inside[end] or hidden
                continue
            leg = walks.leg(start, end)
            assert LineString(leg[:, :2]).intersection(solid).length < 1e-6 if len(leg) > 1 else True
            flat = np.hypot(*np.diff(leg[:, :2], axis=0).T).sum()
            assert walks.seconds[start, end] == pytest.approx(flat, abs=0.2) or leg[:, 2].max() > 0


def test_times_are_the_same_both_ways_and_no_matter_what_else_is_asked_for() -> None:
    rng = np.random.default_rng(7)
    plan = random_plan(rng, walkways=True)
    points = np.column_stack([rng.uniform(0, 100, (40, 2)), rng.choice([0.5, 6.0, 9.0], 40)])
    ground, hanging = hang(plan, *(tuple(point) for point in points))
    walks = walks_between(ground, points, hanging)
    assert np.array_equal(walks.seconds, walks.seconds.T)
    some = np.flatnonzero(hanging.state == REACHED)[:12]
    fewer = walks_between(ground, points[some], hanging.taken(some))
    assert np.allclose(fewer.seconds, walks.seconds[np.ix_(some, some)])
    drawn, whole = (LineString(found[:, :2]) for found in (fewer.leg(2, 9), walks.leg(int(some[2]), int(some[9]))))
    assert drawn.length == pytest.approx(whole.length)


def test_twelve_thousand_joints_are_hung_in_seconds() -> None:
    rng = np.random.default_rng(1)
    paths = [walkway((at, 0, 0), (at, 600, 0)) for at in np.arange(0.0, 601, 30)]
    paths += [walkway((0, at, 0), (600, at, 0)) for at in np.arange(0.0, 601, 30)]
    huts = tuple(hut(east, north, east + 12, north + 8) for east, north in rng.uniform(0, 580, (80, 2)))
    ground = walking_ground(PlotPlan(walkways=tuple(paths), obstacles=huts), PACE)
    points = np.column_stack([rng.uniform(0, 600, (12_000, 2)), rng.choice([0.5, 1.5, 9.0], 12_000)])
    began = perf_counter()
    hanging = hung(ground, points, mainland_from(ground, np.array([0.0, 0, 0])))
    seconds = perf_counter() - began
    assert (hanging.state == REACHED).mean() > 0.8
    # About 1 s on a quiet machine; the bound only keeps a loop over joints from creeping in.
    assert seconds < 8
