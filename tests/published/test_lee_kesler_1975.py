"""Lee and Kesler, AIChE J. 21(3):510-527, 1975: vapour pressure.

Against the PyPI package `chemicals` (the same correlation) and against CoolProp (reference equations of state).
"""

import numpy as np
import pytest
from chemicals.vapor_pressure import Lee_Kesler
from CoolProp.CoolProp import PropsSI

from registry.exposure.fluid import fluid_columns, fluid_facts, outflow
from registry.exposure.phase import vapour_pressure


@pytest.mark.parametrize("name", ["propane", "ammonia", "hydrogen sulfide", "benzene", "water", "chlorine"])
@pytest.mark.parametrize("reduced", [0.45, 0.7, 0.95])
def test_it_is_the_published_correlation(name: str, reduced: float) -> None:
    fluid = fluid_facts()[name]
    data = (fluid.critical_temperature_k, fluid.critical_pressure_pa, fluid.acentric_factor)
    temperature = reduced * fluid.critical_temperature_k
    assert float(vapour_pressure(temperature, *data)) == pytest.approx(Lee_Kesler(temperature, *data), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "reference"),
    [
        ("propane", "Propane"),
        ("butane", "Butane"),
        ("ammonia", "Ammonia"),
        ("hydrogen sulfide", "HydrogenSulfide"),
        ("sulfur dioxide", "SulfurDioxide"),
        ("benzene", "Benzene"),
        ("hydrogen chloride", "HydrogenChloride"),
    ],
)
def test_within_five_per_cent_of_reference_equations_from_the_boiling_point_up(name: str, reference: str) -> None:
    fluid = fluid_facts()[name]
    for temperature in np.linspace(fluid.boiling_point_degc + 273.15, 0.99 * fluid.critical_temperature_k, 12):
        found = vapour_pressure(
            temperature, fluid.critical_temperature_k, fluid.critical_pressure_pa, fluid.acentric_factor
        )
        expected = PropsSI("P", "T", float(temperature), "Q", 0, reference)
        assert float(found) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(
    ("name", "saturated_kpa"), [("propane", 952.1), ("ammonia", 1002.7), ("hydrogen sulfide", 2017.3)]
)
def test_vapour_pressure_at_25_degc(name: str, saturated_kpa: float) -> None:
    fluid = fluid_facts()[name]
    found = vapour_pressure(298.15, fluid.critical_temperature_k, fluid.critical_pressure_pa, fluid.acentric_factor)
    assert float(found) / 1000 == pytest.approx(saturated_kpa, rel=0.01)


@pytest.mark.parametrize(
    ("name", "barg", "degc", "liquid"),
    [
        ("propane", 10.0, 25.0, True),
        ("ammonia", 10.0, 25.0, True),
        ("hydrogen sulfide", 10.0, 25.0, False),
        ("hydrogen", 700.0, 25.0, False),  # supercritical
        ("ammonia", 5.0, 25.0, False),
        ("ammonia", 0.05, -33.5, True),
        ("water", 10.0, 150.0, True),
        ("water", 1.0, 150.0, False),
    ],
)
def test_phase(name: str, barg: float, degc: float, liquid: bool) -> None:
    found = outflow(fluid_columns([(name, "by temperature")]), 1.0, np.array([barg]), np.array([degc]), 0.61, 101_325.0)
    assert bool(found.liquid[0]) is liquid


def test_there_is_no_vapour_pressure_outside_the_range() -> None:
    assert np.isnan(vapour_pressure([0.0, -5.0, 369.89, 400.0, np.nan], 369.89, 4.2512e6, 0.1521)).all()
