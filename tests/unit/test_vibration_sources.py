"""Where a joint's vibration comes from."""

from typing import Any

import numpy as np
import pytest

from registry.exposure.on_line import nearest_on_line, pairs_on_lines
from registry.exposure.readings import LineReadings, VibrationZones
from registry.exposure.vibration_sources import SOURCES, VibrationExposure, vibration_exposure

NONE = np.nan


def _lines(*rows: tuple[int, float, float, float, float]) -> LineReadings:
    line, east, north, velocity, frequency = zip(*rows, strict=True)
    return LineReadings(
        np.array(line), *(np.array(column, np.float64) for column in (east, north, velocity, frequency))
    )


def _zones(*rows: tuple[float, float, float, float, float, float]) -> VibrationZones:
    return VibrationZones(*(np.array(column, np.float64) for column in zip(*rows, strict=True)))


def _found(
    reading: tuple[float, float] = (NONE, NONE), listed: tuple[float, float] = (NONE, NONE), **given: Any
) -> VibrationExposure:
    own = [(np.array([velocity]), np.array([frequency])) for velocity, frequency in (reading, listed)]
    return vibration_exposure(
        np.array([given.get("east", 0.0)]),
        np.array([given.get("north", 0.0)]),
        np.array([given.get("line", 7)]),
        own,
        given.get("lines", LineReadings.none()),
        given.get("zones", VibrationZones.none()),
        15.0,
        2.0,
        25.0,
    )


def _summary(found: VibrationExposure) -> tuple[str, float, float]:
    return SOURCES[found.source[0]], float(found.velocity_mm_s[0]), float(found.frequency_hz[0])


LINE = _lines((7, 3.0, 0.0, 5.0, 40.0))
ZONE = _zones((0.0, 4.0, 8.0, 30.0, 20.0, 0.5))


def test_the_newest_reading_comes_before_all_else() -> None:
    found = _found((1.0, 10.0), (9.0, 20.0), lines=LINE, zones=ZONE)
    assert _summary(found) == ("reading", 1.0, 10.0)


def test_then_the_joint_list_then_the_line_then_the_zone_then_the_policy() -> None:
    assert _summary(_found((NONE, NONE), (9.0, 20.0), lines=LINE, zones=ZONE)) == ("joint_list", 9.0, 20.0)
    assert _summary(_found(lines=LINE, zones=ZONE)) == ("line", 5.0, 40.0)
    assert _summary(_found(zones=ZONE)) == ("zone", 4.0, 30.0)
    assert _summary(_found()) == ("assumed", 2.0, 25.0)


@pytest.mark.parametrize("reading", [(3.0, 0.99), (3.0, 300.5), (np.inf, 20.0), (-1.0, 20.0), (3.0, 0.0)])
def test_a_reading_outside_the_lines_is_set_aside_and_said_so(reading: tuple[float, float]) -> None:
    found = _found(reading, (9.0, 20.0))
    assert _summary(found) == ("joint_list", 9.0, 20.0)
    assert found.refused[0]
    assert _summary(_found(reading)) == ("assumed", 2.0, 25.0)


@pytest.mark.parametrize("frequency", [1.0, 300.0])
def test_the_ends_of_the_lines_are_inside(frequency: float) -> None:
    assert _summary(_found((3.0, frequency))) == ("reading", 3.0, frequency)


def test_a_reading_without_a_frequency_takes_the_policys_and_says_so() -> None:
    found = _found((3.0, NONE))
    assert _summary(found) == ("reading", 3.0, 25.0)
    assert found.frequency_assumed[0]
    assert not found.refused[0]


def test_a_line_reading_counts_up_to_the_distance_and_on_its_own_line_only() -> None:
    assert _summary(_found(east=18.0, lines=LINE))[0] == "line"
    assert _summary(_found(east=18.001, lines=LINE))[0] == "assumed"
    assert _summary(_found(line=8, lines=LINE))[0] == "assumed"
    assert _summary(_found(line=0, lines=_lines((0, 0.0, 0.0, 5.0, 40.0))))[0] == "assumed"


def test_the_nearest_line_reading_counts_and_at_one_place_the_highest_against_its_line() -> None:
    near = _lines((7, 9.0, 0.0, 50.0, 40.0), (7, 3.0, 0.0, 4.0, 200.0), (7, 3.0, 0.0, 3.0, 5.0))
    found = _found(lines=near)
    assert _summary(found) == ("line", 3.0, 5.0)
    assert float(found.distance_m[0]) == 3.0


def test_a_line_reading_outside_the_lines_is_passed_over_for_a_good_one_further_off() -> None:
    found = _found(lines=_lines((7, 1.0, 0.0, 50.0, 500.0), (7, 9.0, 0.0, 4.0, 50.0)))
    assert _summary(found) == ("line", 4.0, 50.0)
    only_bad = _found(lines=_lines((7, 1.0, 0.0, 50.0, 500.0)))
    assert _summary(only_bad)[0] == "assumed"
    assert only_bad.refused[0]


def test_a_zone_reaches_to_its_radius() -> None:
    zone = _zones((10.0, 0.0, 8.0, 30.0, 10.0, 0.5))
    source, velocity, _ = _summary(_found(zones=zone))
    assert (source, velocity) == ("zone", pytest.approx(8.0 / np.sqrt(10.0)))
    assert _summary(_found(east=-0.001, zones=zone))[0] == "assumed"


def test_of_two_zones_the_higher_against_its_line_counts_whatever_their_order() -> None:
    low, high = (0.0, 1.0, 6.0, 200.0, 30.0, 0.5), (0.0, 1.0, 5.0, 5.0, 30.0, 0.5)
    for zones in (_zones(low, high), _zones(high, low)):
        assert _summary(_found(zones=zones)) == ("zone", 5.0, 5.0)


def test_a_zone_outside_the_lines_is_set_aside() -> None:
    found = _found(zones=_zones((0.0, 1.0, 6.0, 400.0, 30.0, 0.5)))
    assert _summary(found)[0] == "assumed"
    assert found.refused[0]


def test_many_joints_agree_with_a_search_one_by_one() -> None:
    generator = np.random.default_rng(5)
    joints, places = 700, 90
    east, north = generator.uniform(0, 60, (2, joints)).round(0)
    line = generator.integers(0, 6, joints)
    place_east, place_north = generator.uniform(0, 60, (2, places)).round(0)
    place_line = generator.integers(0, 7, places)
    place, distance = nearest_on_line(line, east, north, place_line, place_east, place_north, 9.0)
    for joint in range(joints):
        away = np.hypot(place_east - east[joint], place_north - north[joint])
        away[(place_line != line[joint]) | (line[joint] == 0)] = np.inf
        nearest = int(np.argmin(away))
        if away[nearest] <= 9.0:
            assert place[joint] == nearest
            assert distance[joint] == pytest.approx(away[nearest])
        else:
            assert place[joint] == -1


def test_pairs_come_in_blocks_that_lose_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.exposure.on_line._BLOCK", 10)
    joint_line, place_line = np.array([1, 2, 0, 1, 3, 2, 1]), np.array([2, 1, 1, 1, 2, 0, 9, 1])
    found = {
        (int(joint), int(place))
        for pairs in pairs_on_lines(joint_line, place_line)
        for joint, place in zip(pairs.joint, pairs.place, strict=True)
    }
    expected = {
        (joint, place)
        for joint, on in enumerate(joint_line.tolist())
        for place, at in enumerate(place_line.tolist())
        if on == at and on
    }
    assert found == expected


def test_no_places_are_no_pairs() -> None:
    assert list(pairs_on_lines(np.array([1, 2]), np.array([], np.int64))) == []
