"""A worse joint never gets a longer interval: vibration, cycling, pressure, hazard."""

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.exposure.readings import LineReadings, ThermalHistory, VibrationZones
from registry.intervals.model import JointColumns
from tests.unit.some_joints import FAMILIES, POLICY, SERVICES, policy_with, scores_of, some_joints

families, services = st.sampled_from(list(FAMILIES.values())), st.sampled_from(list(SERVICES.values()))
maybe_hz = st.one_of(st.just(float("nan")), st.floats(0.1, 400.0))
velocities = st.floats(0.0, 200.0)
pressures = st.floats(-1.01325, 800.0)
temperatures = st.one_of(st.just(float("nan")), st.floats(-200.0, 600.0))
FEW = settings(max_examples=150)


@st.composite
def joints(draw: st.DrawFn) -> dict[str, Any]:
    """One joint, as uneven as joint lists are."""
    return {
        "family": draw(families),
        "service": draw(services),
        "pressure_barg": draw(pressures),
        "temperature_degc": draw(temperatures),
        "size_mm": draw(st.one_of(st.just(float("nan")), st.floats(3.0, 900.0))),
        "area_id": draw(st.sampled_from([0, 1, 2])),
        "vibration_mm_s": draw(velocities),
        "vibration_hz": draw(maybe_hz),
        "thermal_cycles_per_year": draw(st.one_of(st.just(float("nan")), st.floats(0.0, 5000.0))),
        "thermal_range_degc": draw(st.one_of(st.just(float("nan")), st.floats(0.0, 400.0))),
        "line_id": 7,
    }


def _assert_never_grows(joint: dict[str, Any], column: str, low: float, high: float) -> None:
    found = scores_of(some_joints(**{**joint, column: sorted((low, high))}))
    assert found.interval_days[1] <= found.interval_days[0] * (1 + 1e-9)
    assert found.consequence_class[1] >= found.consequence_class[0]


@FEW
@given(joint=joints(), low=velocities, high=velocities)
def test_with_vibration_of_the_joint_list(joint: dict[str, Any], low: float, high: float) -> None:
    _assert_never_grows(joint, "vibration_mm_s", low, high)


@FEW
@given(joint=joints(), low=velocities, high=velocities)
def test_with_the_newest_reading(joint: dict[str, Any], low: float, high: float) -> None:
    _assert_never_grows({**joint, "last_vibration_hz": joint["vibration_hz"]}, "last_vibration_mm_s", low, high)


@FEW
@given(joint=joints(), low=pressures, high=pressures)
def test_with_pressure_also_where_the_phase_changes(joint: dict[str, Any], low: float, high: float) -> None:
    _assert_never_grows(joint, "pressure_barg", low, high)


@FEW
@given(joint=joints(), low=st.floats(0.0, 1e5), high=st.floats(0.0, 1e5))
def test_with_thermal_cycles(joint: dict[str, Any], low: float, high: float) -> None:
    _assert_never_grows(joint, "thermal_cycles_per_year", low, high)


@FEW
@given(joint=joints(), low=st.floats(0.0, 500.0), high=st.floats(0.0, 500.0))
def test_with_thermal_range(joint: dict[str, Any], low: float, high: float) -> None:
    _assert_never_grows(joint, "thermal_range_degc", low, high)


@FEW
@given(
    joint=joints(),
    hazard=st.sampled_from([row.name for row in POLICY.consequence.hazards]),
    ratings=st.tuples(st.integers(0, 4), st.integers(0, 4)),
)
def test_with_a_hazard_rating(joint: dict[str, Any], hazard: str, ratings: tuple[int, int]) -> None:
    found = [
        scores_of(
            some_joints(**joint),
            policy_with(
                services=tuple(
                    replace(row, ratings={**row.ratings, hazard: rating}) if row.name == joint["service"] else row
                    for row in POLICY.services
                )
            ),
        )
        for rating in sorted(ratings)
    ]
    assert found[1].interval_days[0] <= found[0].interval_days[0] * (1 + 1e-9)


def _unread(joint: dict[str, Any]) -> JointColumns:
    return some_joints(**{**joint, "vibration_mm_s": float("nan"), "vibration_hz": float("nan")})


@FEW
@given(joint=joints(), low=velocities, high=velocities, frequency=maybe_hz)
def test_with_a_reading_on_the_line(joint: dict[str, Any], low: float, high: float, frequency: float) -> None:
    place = np.zeros(1)
    days = [
        scores_of(
            _unread(joint),
            line_readings=LineReadings(np.array([7]), place, place, place + velocity, place + frequency),
        ).interval_days[0]
        for velocity in sorted((low, high))
    ]
    assert days[1] <= days[0] * (1 + 1e-9)


@FEW
@given(joint=joints(), low=velocities, high=velocities, frequency=maybe_hz, other=velocities)
def test_with_a_zone_beside_another(
    joint: dict[str, Any], low: float, high: float, frequency: float, other: float
) -> None:
    two = np.array([3.0, 5.0])
    days = [
        scores_of(
            _unread(joint),
            zones=VibrationZones(
                two, two, np.array([velocity, other]), np.array([frequency, 50.0]), two + 20, two * 0 + 0.5
            ),
        ).interval_days[0]
        for velocity in sorted((low, high))
    ]
    assert days[1] <= days[0] * (1 + 1e-9)


@FEW
@given(joint=joints(), ranges=st.lists(st.floats(0.0, 300.0), min_size=1, max_size=5), more=st.floats(0.0, 300.0))
def test_with_a_temperature_history_of_greater_ranges(joint: dict[str, Any], ranges: list[float], more: float) -> None:
    days = [
        scores_of(
            some_joints(**joint),
            thermal_histories=[ThermalHistory(1, 0, 0.5, [size + extra for size in ranges], [1.0] * len(ranges))],
        ).interval_days[0]
        for extra in (0.0, more)
    ]
    assert days[1] <= days[0] * (1 + 1e-9)
