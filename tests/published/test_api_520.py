"""API Standard 520 Part I, 9th ed. 2014, Sizing, selection and installation of pressure-relieving devices.

Flow of an ideal gas at and below the speed of sound, as coded in the PyPI package `fluids`; discharge coefficient 0.61,
298.15 K, Z = 1, 101 325 Pa outside.
"""

import math

import numpy as np
import pytest
from fluids.compressible import P_critical_flow, is_critical_flow
from fluids.safety_valve import API520_A_g

from registry.exposure.release import gas_release_rate, sonic_pressure_ratio

OUTSIDE_PA = 101_325.0
GASES = [
    # k, kg/mol, kg/s at 10 bar g, kg/s through sqrt(3) mm at 10 bar g, kg/s at 0.5 bar g
    ("methane", 1.31, 0.01604, 8.979873e-04, 2.693962e-03, 1.187794e-04),
    ("hydrogen", 1.41, 0.002016, 3.266124e-04, 9.798371e-04, 4.280542e-05),
    ("ammonia", 1.31, 0.01703, 9.252846e-04, 2.775854e-03, 1.223901e-04),
    ("propane", 1.13, 0.04410, 1.412222e-03, 4.236665e-03, 1.898497e-04),
    ("hydrogen sulfide", 1.32, 0.03408, 1.312433e-03, 3.937300e-03, 1.734396e-04),
    ("air", 1.40, 0.028965, 1.234974e-03, 3.704922e-03, 1.620034e-04),
]


def _rate(hole_mm: float, pressure_pa: float, molar_mass: float, k: float) -> float:
    return float(gas_release_rate(hole_mm, pressure_pa, OUTSIDE_PA, 298.15, molar_mass, k, 0.61))


@pytest.mark.parametrize(
    ("k", "ratio"),
    [(1.13, 0.578454), (1.30, 0.545728), (1.31, 0.543927), (1.32, 0.542139), (1.40, 0.528282), (1.41, 0.526603)],
)
def test_sonic_pressure_ratio(k: float, ratio: float) -> None:
    assert float(sonic_pressure_ratio(k)) == pytest.approx(ratio, abs=0.5e-6)
    assert float(sonic_pressure_ratio(k)) == pytest.approx(P_critical_flow(1.0, k), rel=1e-12)


@pytest.mark.parametrize(("name", "k", "molar_mass", "sonic", "wider", "slow"), GASES)
def test_release_rates(name: str, k: float, molar_mass: float, sonic: float, wider: float, slow: float) -> None:
    assert _rate(1.0, 1_101_325.0, molar_mass, k) == pytest.approx(sonic, rel=1e-6)
    assert _rate(math.sqrt(3), 1_101_325.0, molar_mass, k) == pytest.approx(wider, rel=1e-6)
    assert _rate(1.0, 151_325.0, molar_mass, k) == pytest.approx(slow, rel=1e-6)


@pytest.mark.parametrize(("name", "k", "molar_mass", "sonic", "wider", "slow"), GASES)
@pytest.mark.parametrize("pressure_pa", [110e3, 151_325.0, 185e3, 400e3, 1_101_325.0, 8e6])
def test_area_that_the_standard_asks_for_is_that_of_the_hole(
    name: str, k: float, molar_mass: float, sonic: float, wider: float, slow: float, pressure_pa: float
) -> None:
    rate = _rate(1.0, pressure_pa, molar_mass, k)
    area = API520_A_g(
        m=rate, T=298.15, Z=1.0, MW=molar_mass * 1000, k=k, P1=pressure_pa, P2=OUTSIDE_PA, Kd=0.61, Kb=1.0, Kc=1.0
    )
    # The standard rounds its constants: to 2e-5 for sonic flow, to 6e-4 below it.
    tolerance = 1e-4 if is_critical_flow(pressure_pa, OUTSIDE_PA, k) else 1e-3
    assert area == pytest.approx(math.pi / 4 * 1e-6, rel=tolerance)


def test_flow_has_no_step_at_the_sonic_ratio_and_none_at_the_outside_pressure() -> None:
    edge = OUTSIDE_PA / float(sonic_pressure_ratio(1.31))
    assert _rate(1.0, edge * (1 - 1e-9), 0.016, 1.31) == pytest.approx(_rate(1.0, edge * (1 + 1e-9), 0.016, 1.31))
    assert _rate(1.0, OUTSIDE_PA, 0.016, 1.31) == 0.0
    assert 0 < _rate(1.0, OUTSIDE_PA + 1e-3, 0.016, 1.31) < 1e-7


def test_air_in_the_classic_form() -> None:
    flux = _rate(1.0, 5e5, 0.028965, 1.40) / 0.61 / (math.pi / 4 * 1e-6)
    assert flux / 5e5 * math.sqrt(298.15) == pytest.approx(0.0404149, abs=0.5e-6)


def test_nothing_leaves_a_vacuum() -> None:
    pressure = np.array([0.0, 50e3, OUTSIDE_PA])
    np.testing.assert_array_equal(gas_release_rate(1.0, pressure, OUTSIDE_PA, 298.15, 0.016, 1.31, 0.61), 0.0)
