"""From exposure to the rate at which defects start and the rate at which they become leaks."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from registry.exposure.thermal import stress_range_factor
from registry.exposure.vibration import concern_velocity

Floats = NDArray[np.float64]


def vibration_factor(velocity_mm_s: ArrayLike, frequency_hz: ArrayLike, exponent: float, cap: float) -> Floats:
    """Factor on the defect rate for vibration.

    M = clip((v / v_concern(f)) ** m, 1, cap)

    Parameters
    ----------
    velocity_mm_s : array_like, shape (n,) [mm/s RMS]
    frequency_hz : array_like, shape (n,) [Hz]
        From 1 to 300 Hz.
    exponent : float [-]
    cap : float [-]

    Returns
    -------
    ndarray, shape (n,) [-]
        NaN outside 1 to 300 Hz.

    References
    ----------
    Own method: a power of the distance from the published line. Below the line nothing is gained, so that a quiet
    reading never lengthens an interval beyond the family's own rate.

    Examples
    --------
    >>> vibration_factor([2.0, 10.0, 90.0], 10.0, 2.0, 10.0).round(3)
    array([ 1.   ,  4.061, 10.   ])
    """
    ratio = np.asarray(velocity_mm_s, np.float64) / concern_velocity(frequency_hz)
    return np.clip(ratio**exponent, 1.0, cap)


def thermal_factor(
    cycles_per_year: ArrayLike,
    design_years: float,
    edition: str,
    factor_max: float,
    factor_min: float,
    exponent: float,
) -> Floats:
    """Factor on the defect rate for temperature cycles.

    M = (1 / f_N) ** k, N = equivalent cycles a year x design years

    Parameters
    ----------
    cycles_per_year : array_like, shape (n,) [1/year]
        Equivalent full cycles.
    design_years : float [year]
    edition : str
        Of the stress-range factor, '2020' or '2022'.
    factor_max, factor_min : float [-]
    exponent : float [-]

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    Own method: the stress-range factor of ASME B31.3 para. 302.3.5(d), a rule for metal fatigue of pipe, borrowed as
    the accounting of cycles and turned into a factor.

    Examples
    --------
    >>> thermal_factor([12.0, 5000.0], 20.0, "2020", 1.0, 0.15, 1.0).round(4)
    array([1.    , 1.6667])
    """
    cycles = np.asarray(cycles_per_year, np.float64) * design_years
    return stress_range_factor(cycles, edition, factor_max, factor_min) ** -exponent


def size_factor(size_mm: ArrayLike, reference_mm: ArrayLike, exponent: ArrayLike) -> Floats:
    """Factor on a family's base rate for size.

    (size / reference) ** exponent

    Parameters
    ----------
    size_mm : array_like, shape (n,) [mm]
    reference_mm : array_like, shape (n,) [mm]
    exponent : array_like, shape (n,) [-]
        0 where size does not matter.

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    Own method: a longer gasket line has more places to leak, less than in proportion.

    Examples
    --------
    >>> size_factor([100.0, 200.0], 100.0, 0.3).round(4)
    array([1.    , 1.2311])
    """
    return np.divide(size_mm, reference_mm, dtype=np.float64) ** np.asarray(exponent, np.float64)


def delay_rate(base_per_year: ArrayLike, vibration: ArrayLike, exponent: float) -> Floats:
    """Rate at which a defect becomes a leak.

    g = g0 x M_vibration ** q

    Parameters
    ----------
    base_per_year : array_like, shape (n,) [1/year]
    vibration : array_like, shape (n,) [-]
        The vibration factor.
    exponent : float [-]

    Returns
    -------
    ndarray, shape (n,) [1/year]

    References
    ----------
    Own method: what loosens a joint also opens it faster, though less than in proportion.

    Examples
    --------
    >>> delay_rate([1.0], [4.0], 0.5)
    array([2.])
    """
    return np.asarray(np.asarray(base_per_year, np.float64) * np.asarray(vibration, np.float64) ** exponent)
