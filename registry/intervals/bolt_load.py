"""How bolt load is predicted to fall after a make-up, and when it asks for retightening."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def hot_loss_per_decade(
    loss_per_decade: ArrayLike, temperature_degc: ArrayLike, hot_from_degc: ArrayLike, growth_per_100_degc: ArrayLike
) -> Floats:
    """Loss of bolt load per decade of time at a temperature.

    a = a0 (1 + growth x max(0, temperature - hot from) / 100)

    Parameters
    ----------
    loss_per_decade : array_like, shape (n,) [-]
        Fraction of the first load, cold.
    temperature_degc : array_like, shape (n,) [degC]
    hot_from_degc : array_like, shape (n,) [degC]
    growth_per_100_degc : array_like, shape (n,) [-]

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    Own method: gaskets creep more when hot; a straight line is the least that says so.

    Examples
    --------
    >>> hot_loss_per_decade([0.05], [150.0], 50.0, 0.4)
    array([0.07])
    """
    above = np.maximum(np.subtract(temperature_degc, hot_from_degc, dtype=np.float64), 0.0)
    growth = np.asarray(growth_per_100_degc, np.float64)
    return np.asarray(loss_per_decade, np.float64) * (1.0 + growth * above / 100.0)


def load_fraction(days: ArrayLike, loss_per_decade: ArrayLike, first_days: ArrayLike) -> Floats:
    """Fraction of the first bolt load that is left some days after the make-up.

    F / F0 = 1 - a log10(1 + t / t0)

    Parameters
    ----------
    days : array_like, shape (n,) [day]
    loss_per_decade : array_like, shape (n,) [-]
    first_days : array_like, shape (n,) [day]
        t0, the time after which the decades are counted.

    Returns
    -------
    ndarray, shape (n,) [-]
        Never below 0.

    References
    ----------
    Own method: relaxation with the logarithm of time, the usual shape of creep; no published constants are claimed.

    Examples
    --------
    >>> load_fraction([0.0, 9.0, 99.0], 0.05, 1.0)
    array([1.  , 0.95, 0.9 ])
    """
    decades = np.log10(1.0 + np.divide(days, first_days, dtype=np.float64))
    return np.maximum(1.0 - np.asarray(loss_per_decade, np.float64) * decades, 0.0)


def days_until_fraction(least_fraction: ArrayLike, loss_per_decade: ArrayLike, first_days: ArrayLike) -> Floats:
    """Days after the make-up until the bolt load has fallen to a fraction of what it was.

    t = t0 (10 ** ((1 - least) / a) - 1)

    Parameters
    ----------
    least_fraction : array_like, shape (n,) [-]
    loss_per_decade : array_like, shape (n,) [-]
    first_days : array_like, shape (n,) [day]

    Returns
    -------
    ndarray, shape (n,) [day]
        At most a million, which is longer than any joint lives.

    References
    ----------
    Own method: the inverse of the load fraction.

    Examples
    --------
    >>> days_until_fraction([0.8], 0.07, 1.0).round(1)
    array([718.7])
    """
    decades = np.minimum((1.0 - np.asarray(least_fraction, np.float64)) / np.asarray(loss_per_decade, np.float64), 12.0)
    return np.minimum(np.asarray(first_days, np.float64) * (10.0**decades - 1.0), 1e6)
