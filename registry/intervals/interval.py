"""How long a joint may be left alone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.intervals.model import DAYS_PER_YEAR, LIMITS
from registry.risk.delay_time import longest_delay_span

Floats = NDArray[np.float64]

RISK, FLOOR, CAP, OVERRIDE = range(len(LIMITS))


@dataclass(frozen=True, slots=True)
class Interval:
    """The interval of each joint, what set it, and whether checking can hold the tolerance at all."""

    days: Floats
    limit: NDArray[np.int16]
    beyond_checking: NDArray[np.bool_]
    by_risk_days: Floats
    """Before floor, cap and override; inf where the tolerance holds however long the joint is left."""


def interval(
    defect_rate: Floats,
    delay_rate: Floats,
    detection: Floats,
    tolerable: Floats,
    floor_days: Floats,
    cap_days: Floats,
    override_days: Floats,
) -> Interval:
    """Longest interval whose leak frequency is tolerable, within floor and cap, or an engineer's override.

    largest T with lambda b(T) <= tolerable, then clipped

    Parameters
    ----------
    defect_rate : ndarray, shape (n,) [1/year]
    delay_rate : ndarray, shape (n,) [1/year]
    detection : ndarray, shape (n,) [-]
    tolerable : ndarray, shape (n,) [1/year]
    floor_days, cap_days : ndarray, shape (n,) [day]
        Floor at most cap.
    override_days : ndarray, shape (n,) [day]
        NaN where none is in force.

    Returns
    -------
    Interval, arrays of shape (n,) [day]
        `beyond_checking` where even the floor leaves more leaks than are tolerable, whatever an override says.

    References
    ----------
    Own method: the inverse of the delay-time leak fraction (Christer and Waller 1984) with limits that are policy.

    Examples
    --------
    >>> one = np.ones(3)
    >>> tolerable = np.array([0.001, 0.002, 0.02])
    >>> found = interval(0.01 * one, one, 0.9 * one, tolerable, 14.0 * one, 730.5 * one, np.nan * one)
    >>> found.days.round(1), [LIMITS[code] for code in found.limit]
    (array([ 64.8, 141.9, 730.5]), ['risk', 'risk', 'cap'])
    """
    by_risk = longest_delay_span(tolerable / defect_rate, detection) / delay_rate * DAYS_PER_YEAR
    beyond = by_risk < floor_days
    limit = np.where(beyond, FLOOR, np.where(by_risk > cap_days, CAP, RISK))
    overridden = ~np.isnan(override_days)
    days = np.where(overridden, override_days, np.clip(by_risk, floor_days, cap_days))
    return Interval(days, np.where(overridden, OVERRIDE, limit).astype(np.int16), beyond, by_risk)
