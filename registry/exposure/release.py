"""Mass flow out of a hole."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324  # J/(mol K), exact since the SI of 2019
ZERO_CELSIUS_K = 273.15


def sonic_pressure_ratio(gamma: ArrayLike) -> Floats:
    """Ratio of outside to stagnation pressure at and below which a gas leaves at the speed of sound.

    r = (2 / (k + 1)) ** (k / (k - 1))

    Parameters
    ----------
    gamma : array_like, shape (n,) [-]
        Ratio of heat capacities k, above 1.

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    API Standard 520 Part I, 9th ed. 2014, 5.6.2 (critical flow pressure ratio of an ideal gas); ideal gas, isentropic.

    Examples
    --------
    >>> sonic_pressure_ratio([1.40]).round(6)
    array([0.528282])
    """
    k = np.asarray(gamma, np.float64)
    return np.asarray((2.0 / (k + 1.0)) ** (k / (k - 1.0)))


def gas_release_rate(
    hole_mm: ArrayLike,
    pressure_pa: ArrayLike,
    outside_pa: float,
    temperature_k: ArrayLike,
    molar_mass_kg_mol: ArrayLike,
    gamma: ArrayLike,
    discharge_coefficient: float,
) -> Floats:
    """Mass flow of an ideal gas through a sharp-edged hole, at the speed of sound or below it.

    m = C A P sqrt(M / (R T)) psi, with r = P_outside / P,
    psi = sqrt(k) (2 / (k + 1)) ** ((k + 1) / (2 (k - 1))) where r is at or below the sonic ratio,
    psi = sqrt(2 k / (k - 1) (r ** (2 / k) - r ** ((k + 1) / k))) above it

    Parameters
    ----------
    hole_mm : array_like, shape (n,) [mm]
        Diameter.
    pressure_pa : array_like, shape (n,) [Pa absolute]
        Stagnation pressure behind the hole.
    outside_pa : float [Pa absolute]
    temperature_k : array_like, shape (n,) [K]
    molar_mass_kg_mol : array_like, shape (n,) [kg/mol]
    gamma : array_like, shape (n,) [-]
    discharge_coefficient : float [-]

    Returns
    -------
    ndarray, shape (n,) [kg/s]
        0 where the pressure is not above the outside's. NaN where temperature, molar mass or gamma is NaN.

    References
    ----------
    API Standard 520 Part I, 9th ed. 2014, 5.6.3 and 5.6.4, in their SI form from the isentropic nozzle; compressibility
    factor 1, so at very high pressure good to some tens of per cent only.

    Examples
    --------
    >>> gas_release_rate(1.0, [1_101_325.0, 90_000.0], 101_325.0, 298.15, 0.01604, 1.31, 0.61)
    array([0.00089799, 0.        ])
    """
    pressure, k = np.asarray(pressure_pa, np.float64), np.asarray(gamma, np.float64)
    ratio = outside_pa / np.maximum(pressure, outside_pa)
    # The slow flow is greatest at the sonic ratio and stays there: one expression holds on both sides.
    ratio = np.maximum(ratio, sonic_pressure_ratio(k))
    psi = np.sqrt(np.maximum(2.0 * k / (k - 1.0) * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)), 0.0))
    flux = pressure * psi * np.sqrt(np.asarray(molar_mass_kg_mol) / (GAS_CONSTANT * np.asarray(temperature_k)))
    return np.where(pressure > outside_pa, discharge_coefficient * _area(hole_mm) * flux, 0.0)


def liquid_release_rate(
    hole_mm: ArrayLike,
    pressure_pa: ArrayLike,
    outside_pa: float,
    density_kg_m3: ArrayLike,
    discharge_coefficient: float,
) -> Floats:
    """Mass flow of a liquid through a sharp-edged hole.

    m = C A sqrt(2 rho (P - P_outside))

    Parameters
    ----------
    hole_mm : array_like, shape (n,) [mm]
        Diameter.
    pressure_pa : array_like, shape (n,) [Pa absolute]
    outside_pa : float [Pa absolute]
    density_kg_m3 : array_like, shape (n,) [kg/m3]
    discharge_coefficient : float [-]

    Returns
    -------
    ndarray, shape (n,) [kg/s]
        0 where the pressure is not above the outside's. A liquefied gas that boils in the hole lets out less: an upper
        bound.

    References
    ----------
    ISO 5167-1:2022, general equation for the mass flow of an incompressible fluid, at diameter ratio 0 (Bernoulli).

    Examples
    --------
    >>> liquid_release_rate(1.0, [1_101_325.0], 101_325.0, 998.2, 0.61).round(6)
    array([0.021406])
    """
    drop = np.maximum(np.asarray(pressure_pa, np.float64) - outside_pa, 0.0)
    return discharge_coefficient * _area(hole_mm) * np.sqrt(2.0 * np.asarray(density_kg_m3, np.float64) * drop)


def _area(hole_mm: ArrayLike) -> Floats:
    return np.asarray(np.pi / 4.0 * (np.asarray(hole_mm, np.float64) / 1000.0) ** 2)
