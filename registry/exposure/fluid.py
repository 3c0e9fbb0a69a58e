"""What is known of fluids, and what would come out of a hole in a joint that holds one."""

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from registry.errors import Invalid, Issue
from registry.exposure.phase import is_liquid
from registry.exposure.release import ZERO_CELSIUS_K, gas_release_rate, liquid_release_rate
from registry.policy.model import PHASES, Phase, Policy

Floats = NDArray[np.float64]

PASCAL_PER_BAR = 1e5


class FluidUnknown(Invalid):
    """The policy treats a service as a fluid that is not in the table of fluids"""

    slug = "fluid-unknown"


@dataclass(frozen=True, slots=True)
class Fluid:
    """One row of fluids.csv. NaN where it does not apply: a liquid without critical data is taken not to boil."""

    name: str
    cas: str
    molar_mass_g_mol: float
    boiling_point_degc: float
    gamma: float
    critical_temperature_k: float
    critical_pressure_pa: float
    acentric_factor: float
    liquid_density_kg_m3: float
    auto_ignition_degc: float
    lower_flammable_limit_vol_pct: float
    health: int
    flammability: int
    instability: int
    special: str
    ratings_source: str
    source: str


@dataclass(frozen=True, slots=True)
class FluidColumns:
    """Physics of fluids as columns, one entry a service (or a joint)."""

    molar_mass_kg_mol: Floats
    gamma: Floats
    critical_temperature_k: Floats
    critical_pressure_pa: Floats
    acentric_factor: Floats
    liquid_density_kg_m3: Floats
    auto_ignition_degc: Floats
    phase: NDArray[np.int8]
    """Position in PHASES."""

    def rows(self, chosen: NDArray[np.integer]) -> "FluidColumns":
        """Return the entries at these positions."""
        return FluidColumns(
            self.molar_mass_kg_mol[chosen],
            self.gamma[chosen],
            self.critical_temperature_k[chosen],
            self.critical_pressure_pa[chosen],
            self.acentric_factor[chosen],
            self.liquid_density_kg_m3[chosen],
            self.auto_ignition_degc[chosen],
            self.phase[chosen],
        )


@dataclass(frozen=True, slots=True)
class Outflow:
    """What would come out of a hole, and whether it is taken to be liquid."""

    release_kg_s: Floats
    liquid: NDArray[np.bool_]


@cache
def fluid_facts() -> Mapping[str, Fluid]:
    """Return the table of fluids by name."""
    text = resources.files("registry.exposure").joinpath("fluids.csv").read_text("utf-8")
    return MappingProxyType({row["fluid"]: _fluid(row) for row in csv.DictReader(text.splitlines())})


def fluid_issues(policy: Policy) -> tuple[Issue, ...]:
    """Return what keeps a policy's services from being worked out: fluids unknown, or gas without gas data."""
    facts, issues = fluid_facts(), list[Issue]()
    for at, service in enumerate(policy.services):
        fluid = facts.get(service.treated_as)
        if fluid is None:
            issues.append(Issue(None, f"service[{at}].treated_as", service.treated_as, "is not in the table of fluids"))
        elif service.phase == "gas" and math.isnan(fluid.molar_mass_g_mol + fluid.gamma):
            issues.append(Issue(None, f"service[{at}].phase", "gas", f"{fluid.name} has no data as a gas"))
    return tuple(issues)


def fluid_columns(fluids: Sequence[tuple[str, Phase]]) -> FluidColumns:
    """Return columns for fluids by name and stated phase, or raise `FluidUnknown`."""
    facts = fluid_facts()
    unknown = sorted({name for name, _ in fluids} - facts.keys())
    if unknown:
        issues = [Issue(None, "treated_as", name, "is not in the table of fluids") for name in unknown]
        raise FluidUnknown(f"not in the table of fluids: {', '.join(unknown)}", issues)
    rows = [facts[name] for name, _ in fluids]
    return FluidColumns(
        np.array([row.molar_mass_g_mol / 1000.0 for row in rows]),
        np.array([row.gamma for row in rows]),
        np.array([row.critical_temperature_k for row in rows]),
        np.array([row.critical_pressure_pa for row in rows]),
        np.array([row.acentric_factor for row in rows]),
        np.array([row.liquid_density_kg_m3 for row in rows]),
        np.array([row.auto_ignition_degc for row in rows]),
        np.array([PHASES.index(phase) for _, phase in fluids], np.int8),
    )


def outflow(
    fluids: FluidColumns,
    hole_mm: ArrayLike,
    pressure_barg: Floats,
    temperature_degc: Floats,
    discharge_coefficient: float,
    outside_pa: float,
) -> Outflow:
    """Mass flow through a hole, as gas or as liquid by temperature and pressure unless the phase is stated.

    P = 1e5 x gauge pressure + outside pressure, T = 273.15 + temperature; then the gas or the liquid release rate

    Parameters
    ----------
    fluids : FluidColumns, arrays of shape (n,)
    hole_mm : array_like, shape (n,) [mm]
    pressure_barg : ndarray, shape (n,) [bar gauge]
    temperature_degc : ndarray, shape (n,) [degC]
    discharge_coefficient : float [-]
    outside_pa : float [Pa absolute]

    Returns
    -------
    Outflow, arrays of shape (n,) [kg/s]
        0 at and below the outside's pressure: nothing leaves a vacuum.

    References
    ----------
    Own method: the choice between the two cited flows by the vapour pressure of Lee and Kesler 1975. At one
    temperature the flow never falls when the pressure rises: the liquid's is the greater.

    Examples
    --------
    >>> ammonia = fluid_columns([("ammonia", "by temperature")] * 2)
    >>> found = outflow(ammonia, 1.0, np.array([5.0, 15.0]), np.array([25.0, 25.0]), 0.61, 101_325.0)
    >>> found.liquid
    array([False,  True])
    """
    pressure_pa = pressure_barg * PASCAL_PER_BAR + outside_pa
    temperature_k = np.maximum(temperature_degc + ZERO_CELSIUS_K, 1.0)
    by_temperature = is_liquid(
        pressure_pa,
        temperature_k,
        fluids.critical_temperature_k,
        fluids.critical_pressure_pa,
        fluids.acentric_factor,
    )
    liquid = np.where(fluids.phase == 0, by_temperature, fluids.phase == PHASES.index("liquid"))
    as_gas = gas_release_rate(
        hole_mm, pressure_pa, outside_pa, temperature_k, fluids.molar_mass_kg_mol, fluids.gamma, discharge_coefficient
    )
    as_liquid = liquid_release_rate(
        hole_mm, pressure_pa, outside_pa, fluids.liquid_density_kg_m3, discharge_coefficient
    )
    return Outflow(np.where(liquid, as_liquid, as_gas), liquid)


def _fluid(row: Mapping[str, str]) -> Fluid:
    def number(column: str) -> float:
        return float(row[column]) if row[column] else math.nan

    return Fluid(
        name=row["fluid"],
        cas=row["cas"],
        molar_mass_g_mol=number("molar_mass_g_mol"),
        boiling_point_degc=number("boiling_point_degc"),
        gamma=number("gamma"),
        critical_temperature_k=number("critical_temperature_k"),
        critical_pressure_pa=number("critical_pressure_pa"),
        acentric_factor=number("acentric_factor"),
        liquid_density_kg_m3=number("liquid_density_kg_m3"),
        auto_ignition_degc=number("auto_ignition_degc"),
        lower_flammable_limit_vol_pct=number("lower_flammable_limit_vol_pct"),
        health=int(row["health"]),
        flammability=int(row["flammability"]),
        instability=int(row["instability"]),
        special=row["special"],
        ratings_source=row["ratings_source"],
        source=row["source"],
    )
