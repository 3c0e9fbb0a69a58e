"""ASME B31.3 Process Piping, para. 302.3.5(d): equivalent cycles (1d) and stress-range factor (1c), 2020 and 2022.

The 2022 column is known from a secondary source only; so are its exponent and its floor, which stay settings.
"""

import pytest

from registry.exposure.rainflow import rainflow_cycles
from registry.exposure.thermal import equivalent_cycles, stress_range_factor


@pytest.mark.parametrize(
    ("cycles", "plain", "ferrous"),
    [
        (3125, 1.0, 1.2),
        (7000, 1.0, 1.0212),
        (7776, 1.0, 1.0),
        (14_000, 0.8890, 0.8890),
        (45_000, 0.7039, 0.7039),
        (100_000, 0.6000, 0.6000),
        (1e6, 0.3786, 0.3786),
        (1.024e8, 0.15, 0.15),
    ],
)
def test_factor_of_editions_to_2020(cycles: float, plain: float, ferrous: float) -> None:
    assert float(stress_range_factor(cycles, "2020")) == pytest.approx(plain, abs=1e-4)
    assert float(stress_range_factor(cycles, "2020", factor_max=1.2)) == pytest.approx(ferrous, abs=1e-4)


@pytest.mark.parametrize(
    ("cycles", "factor"),
    [(3125, 1.0), (7000, 1.0), (8000, 1.0), (14_000, 0.8298), (45_000, 0.5623), (100_000, 0.4309), (1e6, 0.2000)],
)
def test_factor_of_2022(cycles: float, factor: float) -> None:
    assert float(stress_range_factor(cycles, "2022")) == pytest.approx(factor, abs=0.5e-4)


def test_the_floor_is_a_setting() -> None:
    assert float(stress_range_factor(1.024e8, "2022", factor_min=0.001)) == pytest.approx(0.042749, abs=0.5e-6)
    assert float(stress_range_factor(1.024e8, "2022")) == 0.15


def test_an_unknown_edition_is_refused() -> None:
    with pytest.raises(KeyError):
        stress_range_factor(1.0, "1999")


def test_equivalent_cycles() -> None:
    ranges, counts = [1.0, 0.5, 0.8], [1000, 10_000, 2000]
    assert equivalent_cycles(ranges, counts, 1.0, 5.0) == pytest.approx(1967.86, abs=0.005)
    assert equivalent_cycles(ranges, counts, 1.0, 3.0) == pytest.approx(3274.0, abs=0.05)


@pytest.mark.parametrize(("ratio", "weight"), [(0.1, 1e-5), (0.3, 0.00243), (0.5, 0.03125), (0.7, 0.16807)])
def test_a_cycle_weighs_the_fifth_power_of_its_range(ratio: float, weight: float) -> None:
    assert equivalent_cycles([ratio], [1], 1.0, 5.0) == pytest.approx(weight, rel=1e-12)


@pytest.mark.parametrize(("exponent", "expected"), [(5.0, 1.148842), (3.0, 1.500686)])
def test_counted_cycles_of_astm_e1049_as_a_displacement_history(exponent: float, expected: float) -> None:
    cycles = rainflow_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    assert equivalent_cycles(cycles.ranges, cycles.counts, 9.0, exponent) == pytest.approx(expected, abs=0.5e-6)
