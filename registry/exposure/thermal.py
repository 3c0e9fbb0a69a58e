"""Accounting of temperature cycles, borrowed from the flexibility rules for metal pipe."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_LAWS = {"2020": (6.0, 0.2), "2022": (20.0, 1.0 / 3.0)}


def equivalent_cycles(ranges: ArrayLike, counts: ArrayLike, reference_range: float, exponent: float) -> float:
    """Number of cycles of the reference range that count as much as the cycles given.

    N = sum of counts x (range / reference range) ** exponent

    Parameters
    ----------
    ranges : array_like, shape (n,) [degC, or any unit]
    counts : array_like, shape (n,) [-]
    reference_range : float [unit of the ranges]
        The code takes the greatest range of the system, so that no ratio is above 1. Jointwright takes one reference
        for the whole plant, so that joints compare; a greater range then counts as more than one cycle.
    exponent : float [-]
        5 for editions to 2020; with the slope of 2022 logically 3, which is unverified.

    Returns
    -------
    float [-]

    References
    ----------
    ASME B31.3-2020, Process Piping, para. 302.3.5(d), eq. (1d), for ratios up to 1.

    Examples
    --------
    >>> round(equivalent_cycles([1.0, 0.5, 0.8], [1000, 10_000, 2000], 1.0, 5.0), 2)
    1967.86
    """
    ratios = np.asarray(ranges, np.float64) / reference_range
    return float(np.sum(np.asarray(counts, np.float64) * ratios**exponent))


def stress_range_factor(cycles: ArrayLike, edition: str, factor_max: float = 1.0, factor_min: float = 0.15) -> Floats:
    """Stress-range factor for a number of equivalent full displacement cycles.

    f = 6.0 N ** -0.2 (to 2020) or 20 N ** (-1/3) (2022), from factor_min to factor_max

    Parameters
    ----------
    cycles : array_like, shape (n,) [-]
        0 or more.
    edition : str
        '2020' for 2020 and before, or '2022'.
    factor_max : float [-]
        1.2 for ferrous materials within the limits of the clause, otherwise 1.0.
    factor_min : float [-]
        0.15 by the footnote of editions to 2020; whether it outlived 2022 is unverified.

    Returns
    -------
    ndarray, shape (n,) [-]
        NaN where the number of cycles is NaN or below 0.

    Raises
    ------
    KeyError
        The edition is not one of the two.

    References
    ----------
    ASME B31.3-2020, Process Piping, para. 302.3.5(d), eq. (1c) and its footnote; ASME B31.3-2022, the same clause,
    known from a secondary source only.

    Examples
    --------
    >>> stress_range_factor([0, 7776, 100_000], "2020").round(4)
    array([1. , 1. , 0.6])
    >>> stress_range_factor([100_000], "2022").round(4)
    array([0.4309])
    """
    scale, slope = _LAWS[edition]
    count = np.asarray(cycles, np.float64)
    count = np.where(count >= 0, count, np.nan)
    # Below one cycle the law would pass every factor_max anyway; the maximum keeps it finite at none.
    return np.clip(scale * np.maximum(count, 1.0) ** -slope, factor_min, factor_max)
