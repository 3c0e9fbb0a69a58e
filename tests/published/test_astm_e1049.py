"""ASTM E1049-85 (2017), Standard Practices for Cycle Counting in Fatigue Analysis, clause 5.4.4: the worked example."""

import numpy as np
import pytest
import rainflow

from registry.exposure.rainflow import rainflow_cycles

SERIES = [-2, 1, -3, 5, -1, 3, -4, 4, -2]


def _table(history: list[float]) -> dict[float, float]:
    cycles = rainflow_cycles(history)
    return {value: float(cycles.counts[cycles.ranges == value].sum()) for value in np.unique(cycles.ranges).tolist()}


def test_the_series_of_the_standard_gives_its_table() -> None:
    assert _table(SERIES) == {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}


def test_events_come_in_the_order_of_the_standard() -> None:
    cycles = rainflow_cycles(SERIES)
    assert list(zip(*(column.tolist() for column in cycles), strict=True)) == [
        (3, -0.5, 0.5),
        (4, -1, 0.5),
        (4, 1, 1),
        (8, 1, 0.5),
        (9, 0.5, 0.5),
        (8, 0, 0.5),
        (6, 1, 0.5),
    ]


def test_what_is_left_over_is_not_closed() -> None:
    # A count that closes the history on itself (clause 5.4.5) gives 7 and 4 whole cycles here.
    assert 7 not in _table(SERIES)


@pytest.mark.parametrize("seed", range(20))
def test_random_histories_agree_with_the_rainflow_package(seed: int) -> None:
    history = np.random.default_rng(seed).normal(size=400).round(2).tolist()
    expected: dict[float, float] = {}
    for size, _, count, _, _ in rainflow.extract_cycles(history):
        expected[round(size, 9)] = expected.get(round(size, 9), 0.0) + count
    cycles = rainflow_cycles(history)
    found: dict[float, float] = {}
    for size, count in zip(cycles.ranges.round(9).tolist(), cycles.counts.tolist(), strict=True):
        found[size] = found.get(size, 0.0) + count
    assert found == pytest.approx(expected)
