"""BIPM, The International System of Units, 9th edition (2019), as the general library pint states its units.

Gauge pressure is pint's absolute value less the standard atmosphere, and a peak is the root of two above its RMS:
neither is a unit there, so these two steps are written out here.
"""

import math

import numpy as np
import pint
import pytest

from registry.units import UNITS, converted

REGISTRY = pint.UnitRegistry()
PINT_NAME = {
    "m": "metre", "mm": "millimetre", "cm": "centimetre", "km": "kilometre", "in": "inch", "ft": "foot", "yd": "yard",
    "us_ft": "survey_foot", "mm_s": "millimetre/second", "cm_s": "centimetre/second", "m_s": "metre/second",
    "in_s": "inch/second", "hz": "hertz", "khz": "kilohertz", "cpm": "1/minute", "rad_s": "radian/second",
    "nm": "newton*metre", "lbf_ft": "force_pound*foot", "lbf_in": "force_pound*inch", "kgf_m": "force_kilogram*metre",
    "degc": "degree_Celsius", "degf": "degree_Fahrenheit", "k": "kelvin", "degr": "degree_Rankine",
    "bar": "bar", "mbar": "millibar", "psi": "psi", "pa": "pascal", "kpa": "kilopascal", "mpa": "megapascal",
    "kg_cm2": "force_kilogram/centimetre**2", "atm": "atmosphere",
    "per_year": "1/year", "per_month": "1/month", "per_week": "1/week", "per_day": "1/day",
}  # fmt: skip
OURS = {
    "length": "m", "pressure": "barg", "temperature": "degc", "temperature_difference": "degc", "velocity": "mm_s",
    "frequency": "hz", "torque": "nm", "yearly_count": "per_year",
}  # fmt: skip
GIVEN = (-3.5, 0.0, 0.1, 12.0, 1488.0)


def expected(value: float, suffix: str, quantity: str) -> float:
    ours = OURS[quantity]
    if quantity == "pressure":
        absolute = REGISTRY.Quantity(value, PINT_NAME[suffix[:-1]])
        if suffix.endswith("g"):
            absolute += REGISTRY.Quantity(1, "atmosphere")
        return (absolute - REGISTRY.Quantity(1, "atmosphere")).to("bar").magnitude
    if quantity == "temperature_difference":
        name = {"degc": "delta_degree_Celsius", "degf": "delta_degree_Fahrenheit"}.get(suffix, PINT_NAME[suffix])
        return REGISTRY.Quantity(value, name).to("delta_degree_Celsius").magnitude
    peak = suffix.endswith("_pk")
    given = REGISTRY.Quantity(value / math.sqrt(2) if peak else value, PINT_NAME[suffix.removesuffix("_pk")])
    if quantity == "frequency" and suffix == "rad_s":
        return value / (2 * math.pi)  # pint's radian is dimensionless and turns no angle into a cycle
    return given.to(PINT_NAME[ours]).magnitude


@pytest.mark.parametrize(("quantity", "suffix"), [pytest.param(*key, id="-".join(key)) for key in UNITS])
def test_every_unit_converts_to_ours_as_pint_has_it(quantity: str, suffix: str) -> None:
    for value in GIVEN:
        assert converted(value, suffix, OURS[quantity], quantity) == pytest.approx(
            expected(value, suffix, quantity), rel=1e-12, abs=1e-12
        )


@pytest.mark.parametrize(("quantity", "suffix"), [pytest.param(*key, id="-".join(key)) for key in UNITS])
def test_there_and_back_is_the_same_number(quantity: str, suffix: str) -> None:
    given = np.array(GIVEN)
    there = converted(given, suffix, OURS[quantity], quantity)
    np.testing.assert_allclose(converted(there, OURS[quantity], suffix, quantity), given, rtol=1e-12, atol=1e-9)


def test_absolute_and_gauge_differ_by_the_standard_atmosphere() -> None:
    assert converted(1.01325, "bara", "barg") == pytest.approx(0.0, abs=1e-15)
    assert converted(14.695948775513, "psia", "barg") == pytest.approx(0.0, abs=1e-12)
    assert converted(0.0, "barg", "kpaa") == pytest.approx(101.325, rel=1e-12)
