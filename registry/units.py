"""Units that plants use, as data: which quantity each measures and how it maps onto ours.

A column's unit is the end of its name (`pressure_psig` is a pressure in psig). Every map is a straight line,
`ours = given * factor + offset`, so a whole column converts at once. A vibration velocity is RMS unless the unit ends
in `_pk`: the peak of a sine, which is its RMS times the root of two. A pressure says gauge or absolute; 'bar' alone
is no unit here, because guessing between the two is an error of one atmosphere.
"""

import math
import re
from dataclasses import dataclass
from typing import Final, Literal, TypeVar

import numpy as np
import polars as pl
from numpy.typing import NDArray

Quantity = Literal[
    "length", "pressure", "temperature", "temperature_difference", "velocity", "frequency", "torque", "yearly_count"
]
Values = TypeVar("Values", float, NDArray[np.float64], pl.Series, pl.Expr)

# Exact by definition: international inch, pound and standard acceleration, standard atmosphere.
INCH_M: Final = 0.0254
POUND_FORCE_N: Final = 0.45359237 * 9.80665
ATMOSPHERE_BAR: Final = 1.01325
_PSI_BAR: Final = POUND_FORCE_N / INCH_M**2 / 1e5
_KGF_CM2_BAR: Final = 0.980665
_PEAK: Final = 1 / math.sqrt(2)
_FAHRENHEIT: Final = 5 / 9


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by its suffix: `ours = given * factor + offset`, ours being the first unit of its quantity."""

    suffix: str
    quantity: Quantity
    factor: float
    offset: float = 0.0


def _pressures(name: str, bar: float) -> tuple[Unit, Unit]:
    return Unit(f"{name}g", "pressure", bar), Unit(f"{name}a", "pressure", bar, -ATMOSPHERE_BAR)


_UNITS: Final = (
    Unit("m", "length", 1.0),
    Unit("mm", "length", 1e-3),
    Unit("cm", "length", 1e-2),
    Unit("km", "length", 1e3),
    Unit("in", "length", INCH_M),
    Unit("ft", "length", 12 * INCH_M),
    Unit("yd", "length", 36 * INCH_M),
    Unit("us_ft", "length", 1200 / 3937),
    *_pressures("bar", 1.0),
    *_pressures("mbar", 1e-3),
    *_pressures("psi", _PSI_BAR),
    *_pressures("pa", 1e-5),
    *_pressures("kpa", 1e-2),
    *_pressures("mpa", 10.0),
    *_pressures("kg_cm2", _KGF_CM2_BAR),
    Unit("atma", "pressure", ATMOSPHERE_BAR, -ATMOSPHERE_BAR),
    Unit("degc", "temperature", 1.0),
    Unit("degf", "temperature", _FAHRENHEIT, -32 * _FAHRENHEIT),
    Unit("k", "temperature", 1.0, -273.15),
    Unit("degr", "temperature", _FAHRENHEIT, -273.15),
    Unit("degc", "temperature_difference", 1.0),
    Unit("degf", "temperature_difference", _FAHRENHEIT),
    Unit("k", "temperature_difference", 1.0),
    Unit("degr", "temperature_difference", _FAHRENHEIT),
    Unit("mm_s", "velocity", 1.0),
    Unit("cm_s", "velocity", 10.0),
    Unit("m_s", "velocity", 1e3),
    Unit("in_s", "velocity", 1e3 * INCH_M),
    Unit("mm_s_pk", "velocity", _PEAK),
    Unit("cm_s_pk", "velocity", 10.0 * _PEAK),
    Unit("m_s_pk", "velocity", 1e3 * _PEAK),
    Unit("in_s_pk", "velocity", 1e3 * INCH_M * _PEAK),
    Unit("hz", "frequency", 1.0),
    Unit("khz", "frequency", 1e3),
    Unit("cpm", "frequency", 1 / 60),
    Unit("rad_s", "frequency", 1 / (2 * math.pi)),
    Unit("nm", "torque", 1.0),
    Unit("lbf_ft", "torque", POUND_FORCE_N * 12 * INCH_M),
    Unit("lbf_in", "torque", POUND_FORCE_N * INCH_M),
    Unit("kgf_m", "torque", 9.80665),
    Unit("per_year", "yearly_count", 1.0),
    Unit("per_month", "yearly_count", 12.0),
    Unit("per_week", "yearly_count", 365.25 / 7),
    Unit("per_day", "yearly_count", 365.25),
)
UNITS: Final[dict[tuple[Quantity, str], Unit]] = {(unit.quantity, unit.suffix): unit for unit in _UNITS}

# Other ways to write the same suffix; what a heading says is brought to this form by `unit_spelling`.
_SPELLINGS: Final = {
    "c": "degc", "celsius": "degc", "f": "degf", "fahrenheit": "degf", "degk": "k", "kelvin": "k", "rankine": "degr",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "millimetres": "mm", "foot": "ft", "feet": "ft",
    "inch": "in", "inches": "in", "dn": "mm", "rpm": "cpm", "hertz": "hz", "cps": "hz",
    "kgf_cm2g": "kg_cm2g", "kgf_cm2a": "kg_cm2a", "ksc_g": "kg_cm2g", "kscg": "kg_cm2g",
    "n_m": "nm", "ft_lbf": "lbf_ft", "ft_lb": "lbf_ft", "lb_ft": "lbf_ft", "in_lbf": "lbf_in", "lb_in": "lbf_in",
    "mms": "mm_s", "ips": "in_s", "yr": "per_year", "year": "per_year", "a": "per_year", "month": "per_month",
    "week": "per_week", "day": "per_day", "per_yr": "per_year",
}  # fmt: skip
_PRESSURE_TAIL: Final = re.compile(r"^(bar|mbar|psi|pa|kpa|mpa|kgf?_cm2)_(g|a|abs|gauge|ga)$")
_VELOCITY_TAIL: Final = re.compile(r"^(mm_s|cm_s|m_s|in_s|mms|ips|in_sec|mm_sec)(?:_(rms|pk|peak|0_pk|zero_pk))?$")


def unit_spelling(text: str) -> str:
    """A unit as a heading writes it, in the form of our suffixes; unknown ones come back as they are, in that form.

    Examples
    --------
    >>> [unit_spelling(text) for text in ("in/s pk", "°C", "bar(g)", "kg/cm² g", "PSIG", "N·m", "mm/s RMS")]
    ['in_s_pk', 'degc', 'barg', 'kg_cm2g', 'psig', 'nm', 'mm_s']
    """
    plain = text.strip().lower().replace("²", "2").replace("°", "deg").replace("º", "deg").replace("deg.", "deg")
    plain = re.sub(r"[^a-z0-9]+", "_", plain).strip("_").replace("deg_", "deg")
    if found := _PRESSURE_TAIL.match(plain):
        plain = found[1] + found[2][0]
    if found := _VELOCITY_TAIL.match(plain):
        velocity = {"in_sec": "in_s", "mm_sec": "mm_s"}.get(found[1], _SPELLINGS.get(found[1], found[1]))
        return velocity + ("_pk" if found[2] and found[2] != "rms" else "")
    return _SPELLINGS.get(plain, plain)


def suffixes(quantity: Quantity) -> list[str]:
    """The suffixes that a quantity accepts, ours first."""
    return [unit.suffix for unit in _UNITS if unit.quantity == quantity]


def unit_at_end(name: str, quantity: Quantity) -> tuple[str, Unit] | None:
    """The stem and the unit of a column name that ends in a unit of this quantity, the longest that fits; or None.

    Examples
    --------
    >>> stem, unit = unit_at_end("vibration_in_s_pk", "velocity")
    >>> stem, unit.suffix, round(unit.factor, 4)
    ('vibration', 'in_s_pk', 17.9605)
    """
    words = name.lower().split("_")
    for start in range(1, len(words)):
        if unit := UNITS.get((quantity, unit_spelling("_".join(words[start:])))):
            return "_".join(words[:start]), unit
    return None


def converted(values: Values, from_unit: str, to_unit: str, quantity: Quantity | None = None) -> Values:
    r"""Values of one unit in another of the same quantity.

    .. math:: x_{to} = (x_{from} f_{from} + o_{from} - o_{to}) / f_{to}

    Parameters
    ----------
    values : float, array, polars series or expression, any shape [from_unit]
        What was given; NaN stays NaN and null stays null.
    from_unit, to_unit : str [-]
        Suffixes of this module, such as `psig`.
    quantity : str, optional [-]
        Needed for a temperature difference, which shares its units with a temperature; None takes the first that fits.

    Returns
    -------
    same as values, same shape [to_unit]
        The very values given when both units are one.

    Raises
    ------
    ValueError
        No quantity has both units.

    References
    ----------
    BIPM, The International System of Units, 9th edition (2019), section 2.3 and table 8; NIST Special Publication 811
    (2008), appendix B.8, for inch, pound-force, kilogram-force and the standard atmosphere of 101 325 Pa; both from
    memory, checked against the general library pint. Peak of a sine to RMS: division by the root of two.

    Examples
    --------
    >>> round(converted(14.5038, "psig", "barg"), 4), round(converted(1.01325, "bara", "barg"), 5)
    (1.0, 0.0)
    >>> round(converted(212.0, "degf", "degc"), 9), round(converted(180.0, "degf", "degc", "temperature_difference"), 9)
    (100.0, 100.0)
    >>> round(converted(1.0, "in_s_pk", "mm_s"), 4), round(converted(1488.0, "cpm", "hz"), 9)
    (17.9605, 24.8)
    """
    if from_unit == to_unit:
        return values
    for unit in _UNITS:
        if unit.suffix == from_unit and quantity in (None, unit.quantity):
            target = UNITS.get((unit.quantity, to_unit))
            if target is not None:
                scaled = values * (unit.factor / target.factor)
                shift = (unit.offset - target.offset) / target.factor
                return scaled + shift if shift else scaled
    raise ValueError(f"{from_unit!r} does not convert to {to_unit!r}")
