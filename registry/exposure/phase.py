"""Whether a fluid stands as gas or as liquid behind the joint."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def vapour_pressure(
    temperature_k: ArrayLike,
    critical_temperature_k: ArrayLike,
    critical_pressure_pa: ArrayLike,
    acentric_factor: ArrayLike,
) -> Floats:
    """Vapour pressure from the three-parameter corresponding-states correlation.

    ln(P / Pc) = f0 + w f1, with Tr = T / Tc,
    f0 = 5.92714 - 6.09648 / Tr - 1.28862 ln Tr + 0.169347 Tr ** 6,
    f1 = 15.2518 - 15.6875 / Tr - 13.4721 ln Tr + 0.43577 Tr ** 6

    Parameters
    ----------
    temperature_k : array_like, shape (n,) [K]
        Above 0 and below the critical temperature.
    critical_temperature_k : array_like, shape (n,) [K]
    critical_pressure_pa : array_like, shape (n,) [Pa]
    acentric_factor : array_like, shape (n,) [-]

    Returns
    -------
    ndarray, shape (n,) [Pa]
        NaN at and above the critical temperature, where there is no vapour pressure, and at or below 0 K.

    References
    ----------
    B. I. Lee, M. G. Kesler, A generalized thermodynamic correlation based on three-parameter corresponding states,
    AIChE J. 21(3):510-527, 1975. Within 5 % of reference equations for the seven fluids of the published test from
    their boiling point up; for cold water and alcohols up to 30 % low, which errs towards liquid and so towards the
    greater release.

    Examples
    --------
    >>> (vapour_pressure([298.15, 420.0], 369.89, 4.2512e6, 0.1521) / 1000).round(0)
    array([956.,  nan])
    """
    temperature, critical, pressure, acentric = np.broadcast_arrays(
        np.asarray(temperature_k, np.float64), critical_temperature_k, critical_pressure_pa, acentric_factor
    )
    inside = (temperature > 0) & (temperature < critical)
    reduced = np.where(inside, temperature / critical, 1.0)
    logarithm, square = np.log(reduced), reduced * reduced
    sixth = square * square * square  # a general power costs ten times as much
    simple = 5.92714 - 6.09648 / reduced - 1.28862 * logarithm + 0.169347 * sixth
    deviation = 15.2518 - 15.6875 / reduced - 13.4721 * logarithm + 0.43577 * sixth
    return np.where(inside, pressure * np.exp(simple + acentric * deviation), np.nan)


def is_liquid(
    pressure_pa: ArrayLike,
    temperature_k: ArrayLike,
    critical_temperature_k: ArrayLike,
    critical_pressure_pa: ArrayLike,
    acentric_factor: ArrayLike,
) -> NDArray[np.bool_]:
    """Whether a pure fluid is liquid: below its critical temperature and at or above its vapour pressure.

    liquid = T < Tc and P >= P_vapour(T)

    Parameters
    ----------
    pressure_pa : array_like, shape (n,) [Pa absolute]
    temperature_k : array_like, shape (n,) [K]
    critical_temperature_k : array_like, shape (n,) [K]
        NaN for a fluid that is taken not to boil: always liquid.
    critical_pressure_pa : array_like, shape (n,) [Pa]
    acentric_factor : array_like, shape (n,) [-]

    Returns
    -------
    ndarray of bool, shape (n,) [-]

    References
    ----------
    Own method: the definition of saturation with the vapour pressure of Lee and Kesler 1975; a supercritical fluid is
    taken as gas. Mixtures are taken as the pure fluid that the policy names.

    Examples
    --------
    >>> is_liquid(1.101e6, 298.15, [369.89, 373.1], [4.2512e6, 9.0e6], [0.1521, 0.1005])
    array([ True, False])
    """
    saturated = vapour_pressure(temperature_k, critical_temperature_k, critical_pressure_pa, acentric_factor)
    return np.isnan(np.asarray(critical_temperature_k, np.float64)) | (np.asarray(pressure_pa) >= saturated)
