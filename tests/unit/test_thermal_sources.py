"""Where a joint's temperature cycles come from."""

import numpy as np
import pytest

from registry.exposure.rainflow import rainflow_cycles
from registry.exposure.readings import ThermalHistory
from registry.exposure.thermal import stress_range_factor
from registry.exposure.thermal_sources import SOURCES, ThermalExposure, thermal_exposure


def _found(cycles: float, span: float, *histories: ThermalHistory, joint: int = 1, line: int = 7) -> ThermalExposure:
    return thermal_exposure(
        np.array([joint]), np.array([line]), np.array([cycles]), np.array([span]), histories, 100.0, 5.0, 12.0, 60.0
    )


def test_a_history_of_the_joint_comes_before_its_lines_and_that_before_the_joint_list() -> None:
    joint = ThermalHistory(1, 0, 2.0, [100.0], [6.0])
    line = ThermalHistory(0, 7, 0.5, [100.0, 50.0], [1.0, 32.0])
    found = _found(50.0, 100.0, joint, line)
    assert (SOURCES[found.source[0]], float(found.equivalent_cycles_per_year[0])) == ("joint_history", 3.0)
    found = _found(50.0, 100.0, line)
    assert (SOURCES[found.source[0]], float(found.equivalent_cycles_per_year[0])) == ("line_history", 4.0)
    found = _found(50.0, 100.0)
    assert (SOURCES[found.source[0]], float(found.equivalent_cycles_per_year[0])) == ("joint_list", 50.0)


def test_a_history_of_another_line_or_of_no_line_says_nothing() -> None:
    other = ThermalHistory(0, 8, 1.0, [100.0], [9.0])
    assert SOURCES[_found(np.nan, np.nan, other).source[0]] == "assumed"
    assert SOURCES[_found(np.nan, np.nan, other, line=0).source[0]] == "assumed"


def test_histories_of_one_subject_are_pooled_over_their_spans() -> None:
    parts = [ThermalHistory(1, 0, 1.0, [100.0], [10.0]), ThermalHistory(1, 0, 3.0, [100.0], [2.0])]
    assert float(_found(1.0, 1.0, *parts).equivalent_cycles_per_year[0]) == 3.0


def test_what_is_missing_is_assumed_piece_by_piece() -> None:
    found = _found(np.nan, 100.0)
    assert float(found.equivalent_cycles_per_year[0]) == 12.0
    assert (bool(found.cycles_assumed[0]), bool(found.range_assumed[0])) == (True, False)
    found = _found(100.0, np.nan)
    assert float(found.equivalent_cycles_per_year[0]) == pytest.approx(100 * 0.6**5)
    assert (bool(found.cycles_assumed[0]), bool(found.range_assumed[0])) == (False, True)


def test_a_counted_history_leaves_nothing_assumed() -> None:
    found = _found(np.nan, np.nan, ThermalHistory(1, 0, 1.0, [10.0], [1.0]))
    assert not found.cycles_assumed[0]
    assert not found.range_assumed[0]


@pytest.mark.parametrize("history", [[], [20.0], [20.0, 20.0, 20.0]])
def test_a_history_that_never_moves_has_no_cycles(history: list[float]) -> None:
    assert len(rainflow_cycles(history).ranges) == 0


def test_a_history_that_only_rises_is_half_a_cycle() -> None:
    cycles = rainflow_cycles([20.0, 25.0, 25.0, 60.0])
    assert (cycles.ranges.tolist(), cycles.counts.tolist()) == ([40.0], [0.5])


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_history_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        rainflow_cycles([1.0, value, 2.0])


def test_the_factor_of_no_cycles_is_the_greatest_and_of_nonsense_none() -> None:
    np.testing.assert_array_equal(stress_range_factor([0.0, 0.5, np.inf], "2020"), [1.0, 1.0, 0.15])
    assert np.isnan(stress_range_factor([np.nan, -1.0], "2020")).all()
