"""What a check is worth, and what it costs to have it later: expected leaks, from the delay-time model."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def leaks_taken_away_per_year(
    defect_rate: ArrayLike, delay_rate: ArrayLike, detection: ArrayLike, years: ArrayLike
) -> Floats:
    """Expected leaks that a check takes away per year, just after it is done.

    p lambda (1 - e^-gT)

    Parameters
    ----------
    defect_rate : array_like, shape (n,) [1/year]
    delay_rate : array_like, shape (n,) [1/year]
        g.
    detection : array_like, shape (n,) [-]
        p, the probability that the check finds a defect that is there.
    years : array_like, shape (n,) [year]
        T, from the last satisfactory check to this one; below 0 it counts as 0.

    Returns
    -------
    ndarray, shape (n,) [1/year]
        0 for a joint just checked, rising towards p times the defect rate.

    References
    ----------
    Own method: the leak rate without the check, lambda (1 - e^-gT), less that with it, (1 - p) of it from what the
    check misses; defects that arrive afterwards leak alike in both. What an earlier check missed is left out.

    Examples
    --------
    >>> leaks_taken_away_per_year(0.01, 1.0, 0.9, [0.0, 1.0]).round(6)
    array([0.      , 0.005689])
    """
    span = np.asarray(delay_rate, np.float64) * np.maximum(np.asarray(years, np.float64), 0.0)
    return np.asarray(detection, np.float64) * np.asarray(defect_rate, np.float64) * -np.expm1(-span)


def leaks_of_delay(
    defect_rate: ArrayLike, delay_rate: ArrayLike, detection: ArrayLike, years: ArrayLike, delay_years: ArrayLike
) -> Floats:
    """Expected leaks that come of doing a check later, or (below 0) that do not come of doing it earlier.

    p lambda (1 - e^-gT) (1 - e^-gd) / g

    Parameters
    ----------
    defect_rate : array_like, shape (n,) [1/year]
    delay_rate : array_like, shape (n,) [1/year]
        g, above 0.
    detection : array_like, shape (n,) [-]
        p.
    years : array_like, shape (n,) [year]
        From the last satisfactory check to the day from which the check is moved.
    delay_years : array_like, shape (n,) [year]
        d, by which it is moved; below 0 is earlier. T of the equation is the earlier of the two days.

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    Own method: the leaks that the check would take away per year, which fade as e^-gs after it, summed over the delay.

    Examples
    --------
    >>> leaks_of_delay(0.01, 1.0, 0.9, 1.0, [0.5, -0.5]).round(6)
    array([ 0.002238, -0.001393])
    """
    start, delay = np.asarray(years, np.float64), np.asarray(delay_years, np.float64)
    rate = np.asarray(delay_rate, np.float64)
    taken_away = leaks_taken_away_per_year(defect_rate, rate, detection, np.minimum(start, start + delay))
    return np.sign(delay) * taken_away * -np.expm1(-rate * np.abs(delay)) / rate
