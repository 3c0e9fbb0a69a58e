"""Noding the walkways of a plan, and what is told of a drawing that is amiss."""

import numpy as np
import pytest
from shapely import LineString, Polygon, box

from registry.plant.drawing_faults import drawing_faults
from registry.plant.model import Area, Gate, Obstacle, PlotPlan, Stair, Walkway
from registry.plant.walking_lines import LADDER, STAIR, WalkingLines, walking_lines

Vertex = tuple[float, float, float]


def walkway(*vertices: Vertex) -> Walkway:
    return Walkway(None, LineString(vertices), 1.0)


def stair(*vertices: Vertex, climb: str = "stair") -> Stair:
    return Stair("S-1", LineString(vertices), climb)


def hut(west: float, south: float, east: float, north: float, base: float = -np.inf, top: float = np.inf) -> Obstacle:
    return Obstacle("hut", box(west, south, east, north), base, top)


def parts(lines: WalkingLines) -> int:
    return len(set(lines.component.tolist()))


def test_walkways_are_joined_where_they_cross_touch_or_share_a_stretch() -> None:
    crossing = walking_lines(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, -5, 0), (4, 5, 0)))))
    assert (len(crossing.nodes), len(crossing.edges), parts(crossing)) == (5, 4, 1)
    touching = walking_lines(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, 0.02, 0), (4, 5, 0)))))
    assert (len(touching.edges), parts(touching)) == (3, 1)
    shared = walking_lines(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, 0, 0), (15, 0, 0)))))
    assert (len(shared.nodes), len(shared.edges), parts(shared)) == (4, 3, 1)
    assert shared.lengths_m.sum() == pytest.approx(15)


def test_a_walkway_that_passes_over_another_is_not_joined_to_it() -> None:
    lines = walking_lines(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, -5, 5.5), (4, 5, 5.5)))))
    assert (len(lines.edges), parts(lines)) == (2, 2)


def test_a_ramp_is_joined_where_it_reaches_the_level_of_another() -> None:
    ramp = walkway((0, 0, 0), (20, 0, 4))
    low, high = walkway((0, -5, 0), (0, 5, 0)), walkway((20, -5, 4), (20, 5, 4))
    under = walkway((10, -5, 0), (10, 5, 0))
    assert parts(walking_lines(PlotPlan(walkways=(ramp, low, high)))) == 1
    assert parts(walking_lines(PlotPlan(walkways=(ramp, low, high, under)))) == 2


def test_stairs_and_ladders_join_levels() -> None:
    ground, rack = walkway((0, 0, 0), (10, 0, 0)), walkway((0, 2, 5.5), (10, 2, 5.5))
    by_stair = walking_lines(PlotPlan(walkways=(ground, rack), stairs=(stair((3, 0.4, 0), (6, 2, 5.5)),)))
    assert parts(by_stair) == 1
    assert (by_stair.kinds == STAIR).sum() == 1
    by_ladder = walking_lines(
        PlotPlan(walkways=(ground, rack), stairs=(stair((5, 1, 0), (5, 1, 5.5), climb="ladder"),))
    )
    assert parts(by_ladder) == 1
    assert (by_ladder.kinds == LADDER).sum() == 1


def test_two_flights_that_share_a_landing_are_joined() -> None:
    ground, top = walkway((0, 0, 0), (10, 0, 0)), walkway((0, 2, 11), (10, 2, 11))
    flights = (stair((5, 0, 0), (5, 4, 5.5)), stair((5.3, 4, 5.5), (5.3, 2, 11)))
    assert parts(walking_lines(PlotPlan(walkways=(ground, top), stairs=flights))) == 1


def test_the_part_of_a_walkway_inside_an_obstacle_is_not_walked() -> None:
    through = walkway((0, 0, 0), (10, 0, 0))
    lines = walking_lines(PlotPlan(walkways=(through,), obstacles=(hut(4, -1, 6, 1),)))
    assert parts(lines) == 2
    assert lines.lengths_m.sum() == pytest.approx(8)
    assert lines.blocked == ((5.0, 0.0, 0.0, 0),)
    along_the_wall = walking_lines(PlotPlan(walkways=(through,), obstacles=(hut(4, 0, 6, 1),)))
    assert along_the_wall.lengths_m.sum() == pytest.approx(10)


def test_an_obstacle_of_stated_height_lets_a_rack_pass_over_it() -> None:
    plan = PlotPlan(walkways=(walkway((0, 0, 5.5), (10, 0, 5.5)),), obstacles=(hut(4, -1, 6, 1, base=0, top=4),))
    assert not walking_lines(plan).blocked


def test_a_gate_opens_the_fence_it_stands_in() -> None:
    fence = Obstacle("fence", LineString([(5, -10), (5, 10)]), -np.inf, np.inf)
    path = walkway((0, 0, 0), (10, 0, 0))
    assert parts(walking_lines(PlotPlan(walkways=(path,), obstacles=(fence,)))) == 2
    gate = Gate("Main gate", 5, 0, 0, 3)
    assert parts(walking_lines(PlotPlan(walkways=(path,), obstacles=(fence,), gates=(gate,)))) == 1


def told(plan: PlotPlan) -> list[str]:
    return [str(fault) for fault in drawing_faults(plan)]


def test_a_sound_plan_has_no_faults() -> None:
    ground, rack = walkway((0, 0, 0), (100, 0, 0)), walkway((0, 2, 5.5), (100, 2, 5.5))
    assert not told(PlotPlan(walkways=(ground, rack), stairs=(stair((3, 0, 0), (6, 2, 5.5)),)))
    assert not told(PlotPlan())


def test_a_walkway_that_nearly_meets_another_is_told_with_its_place_once() -> None:
    faults = told(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, 0.8, 0), (4, 9, 0)))))
    near = [fault for fault in faults if "short of another" in fault]
    assert len(near) == 1
    assert near[0].startswith("east 4.00 m, north 0.80 m, elevation 0.00 m; field")
    assert "0.80 m short" in near[0]
    ends = told(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((10.5, 0, 0), (20, 0, 0)))))
    assert sum("short of another" in fault for fault in ends) == 1
    above = told(PlotPlan(walkways=(walkway((0, 0, 0), (10, 0, 0)), walkway((4, 0.8, 5), (4, 9, 5)))))
    assert not any("short of another" in fault for fault in above)


def test_an_island_is_told_with_its_length() -> None:
    main, island = walkway((0, 0, 0), (50, 0, 0)), walkway((0, 20, 0), (12, 20, 0))
    assert told(PlotPlan(walkways=(main, island))) == [
        "east 0.00 m, north 20.00 m, elevation 0.00 m; field A1: an island: 12.0 m of walkway from here are not joined"
        " to the rest of the network"
    ]
    # The mainland is where people come in, however short.
    by_gate = told(PlotPlan(walkways=(main, island), gates=(Gate("North gate", 0, 20, 0, 2),)))
    assert len(by_gate) == 1
    assert "50.0 m of walkway" in by_gate[0]


def test_a_stair_in_the_air_a_blocked_walkway_and_overlapping_areas_are_told() -> None:
    ground = walkway((0, 0, 0), (50, 0, 0))
    assert any(
        fault.startswith("east 6.00 m, north 9.00 m, elevation 5.50 m") and "the stair 'S-1' ends here" in fault
        for fault in told(PlotPlan(walkways=(ground,), stairs=(stair((6, 0, 0), (6, 9, 5.5)),)))
    )
    blocked = told(PlotPlan(walkways=(ground,), obstacles=(hut(20, -2, 30, 2),)))
    assert any("runs into the obstacle 'hut'" in fault and "east 25.00 m" in fault for fault in blocked)
    areas = (Area(1, "10 Hall", "rare", box(0, 0, 20, 20)), Area(2, "20 Yard", "rare", box(15, 0, 40, 20)))
    assert any("'10 Hall' and '20 Yard' overlap by 100 m2" in fault for fault in told(PlotPlan(areas=areas)))
    inner = (areas[0], Area(2, "11 Hut", "rare", Polygon([(1, 1), (5, 1), (5, 5), (1, 5)])))
    assert not told(PlotPlan(areas=inner))
