"""The delay-time model: defects arrive, wait, and leak unless a check finds them first."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_SMALL = 0.5  # below it x - (1 - e^-x) is summed as a series, for the difference would lose its digits
_STEPS = 30


def leak_fraction(delay_span: ArrayLike, detection: ArrayLike) -> Floats:
    """Fraction of defects that become leaks when a joint is checked every T.

    b(T) = 1 - p (1 - e^-gT) / (gT (1 - (1 - p) e^-gT))

    Parameters
    ----------
    delay_span : array_like, shape (n,) [-]
        g T, delay rate x interval; 0 or more.
    detection : array_like, shape (n,) [-]
        p, the probability that a check finds a defect that is there; above 0, at most 1.

    Returns
    -------
    ndarray, shape (n,) [-]
        0 at g T = 0, rising towards 1; NaN below 0.

    References
    ----------
    A. H. Christer, W. M. Waller, Delay time models of industrial inspection maintenance problems, J. Opl Res. Soc.
    35:401-406, 1984, and R. D. Baker, W. Wang, IMA J. Math. Appl. Bus. Ind. 3, 1991 (imperfect inspection); citations
    from memory. The closed form is the published series summed for an exponential delay. Steady state, checks
    independent, what is found is repaired.

    Examples
    --------
    >>> leak_fraction([0.0, 1.0, 10.0], 0.9).round(6)
    array([0.      , 0.409363, 0.910004])
    """
    span, p = np.broadcast_arrays(np.asarray(delay_span, np.float64), np.asarray(detection, np.float64))
    inside = (span > 0) & (span < np.inf)
    x = np.where(inside, span, 1.0)
    found = -np.expm1(-x)
    missed = p * _excess(x, found) + (1.0 - p) * x * found
    fraction = missed / (x * (p + (1.0 - p) * found))
    return np.where(inside, fraction, np.where(span == 0, 0.0, np.where(span > 0, 1.0, np.nan)))


def longest_delay_span(fraction: ArrayLike, detection: ArrayLike) -> Floats:
    """Longest g T at which no more than a given fraction of defects becomes leaks: the inverse of the leak fraction.

    b(gT) = c, solved by Newton steps on logit b over ln gT, which is nearly a straight line, kept within bounds

    Parameters
    ----------
    fraction : array_like, shape (n,) [-]
        c, tolerable leaks over defect rate.
    detection : array_like, shape (n,) [-]
        p, above 0, at most 1.

    Returns
    -------
    ndarray, shape (n,) [-]
        0 where the fraction is 0 or less, inf where it is 1 or more: no interval is then too long.

    References
    ----------
    Own method: Newton's with a bracket from the limits b < gT (2 - p) / (2 p) and b > 1 - p / gT; the equation is that
    of Christer and Waller 1984. Relative error of b below 1e-10.

    Examples
    --------
    >>> longest_delay_span([0.0, 0.2, 0.5, 1.0], [1.0, 1.0, 0.7, 0.9]).round(6)
    array([0.      , 0.464213, 0.990315,      inf])
    """
    c, p = np.broadcast_arrays(np.asarray(fraction, np.float64), np.asarray(detection, np.float64))
    inside = (c > 0) & (c < 1)
    aim, chance = np.where(inside, c, 0.5), np.where(inside, p, 1.0)
    target = np.log(aim) - np.log1p(-aim)
    lowest = np.log(aim) + np.log(2.0 * chance / (2.0 - chance))
    highest = np.log(chance) - np.log1p(-aim)
    # Both ends of the line are known; between them this is within a few per cent.
    guess = target + np.log(chance) + (1.0 - aim * aim) * np.log(2.0 / (2.0 - chance))
    guess = np.clip(guess, lowest, highest)
    for _ in range(_STEPS):
        height, slope = _logit(np.exp(guess), chance)
        off = height - target
        lowest = np.where(off < 0, np.maximum(lowest, guess), lowest)
        highest = np.where(off > 0, np.minimum(highest, guess), highest)
        step = guess - off / slope
        step = np.where((step >= lowest) & (step <= highest), step, (lowest + highest) / 2.0)
        moved = np.max(np.abs(step - guess), initial=0.0)
        guess = step
        if moved < 1e-7:  # the error squares at each step: there is nothing left to gain
            break
    return np.where(inside, np.exp(guess), np.where(c >= 1, np.inf, np.where(c <= 0, 0.0, np.nan)))


def defects_missed(
    defect_rate: ArrayLike, delay_span: ArrayLike, delay_rate: ArrayLike, detection: ArrayLike
) -> Floats:
    """Expected number of defects that are still there after a check, in the steady state.

    (1 - p) D, D = lambda (1 - e^-gT) / g / (1 - (1 - p) e^-gT)

    Parameters
    ----------
    defect_rate : array_like, shape (n,) [1/year]
    delay_span : array_like, shape (n,) [-]
        g T.
    delay_rate : array_like, shape (n,) [1/year]
    detection : array_like, shape (n,) [-]

    Returns
    -------
    ndarray, shape (n,) [-]

    References
    ----------
    Own method: the balance D = lambda (1 - e^-gT) / g + (1 - p) D e^-gT of defects present at a check, with the
    assumptions of Christer and Waller 1984.

    Examples
    --------
    >>> defects_missed([0.01], [1.0], [1.0], [0.9]).round(6)
    array([0.000656])
    """
    p = np.asarray(detection, np.float64)
    found = -np.expm1(-np.asarray(delay_span, np.float64))
    present = np.asarray(defect_rate) * found / np.asarray(delay_rate) / (p + (1.0 - p) * found)
    return (1.0 - p) * present


def leak_rate_now(
    defect_rate: ArrayLike, delay_rate: ArrayLike, years: ArrayLike, carried_over: ArrayLike = 0.0
) -> Floats:
    """Expected leak rate at a time after the last satisfactory check or make-up.

    lambda (1 - e^-gt) + (1 - p) D g e^-gt

    Parameters
    ----------
    defect_rate : array_like, shape (n,) [1/year]
    delay_rate : array_like, shape (n,) [1/year]
    years : array_like, shape (n,) [year]
        t; below 0 it counts as 0.
    carried_over : array_like, shape (n,) [-]
        (1 - p) D, the defects that the check is expected to have missed; 0 after a make-up, which carries nothing over.

    Returns
    -------
    ndarray, shape (n,) [1/year]
        Rises towards the defect rate while a check is overdue.

    References
    ----------
    Own method: the rate of the process of Christer and Waller 1984 with exponential delay; its mean over one interval
    is lambda b(T).

    Examples
    --------
    >>> leak_rate_now([0.01], [1.0], [0.0, 1.0, 100.0]).round(6)
    array([0.      , 0.006321, 0.01    ])
    """
    span = np.asarray(delay_rate, np.float64) * np.maximum(np.asarray(years, np.float64), 0.0)
    left = np.exp(-span)
    return np.asarray(defect_rate) * -np.expm1(-span) + np.asarray(carried_over) * np.asarray(delay_rate) * left


def _excess(x: Floats, found: Floats) -> Floats:
    """x - (1 - e^-x), by its series where x is small."""
    small = np.minimum(x, _SMALL)
    total = np.zeros_like(small)
    for k in range(14, 2, -1):
        total = small / k * (1.0 - total)
    return np.where(x < _SMALL, small * small / 2.0 * (1.0 - total), x - found)


def _logit(x: Floats, p: Floats) -> tuple[Floats, Floats]:
    """ln(b / (1 - b)) and its slope over ln x."""
    found = -np.expm1(-x)
    left = 1.0 - found  # good enough for a slope
    missed = p * _excess(x, found) + (1.0 - p) * x * found
    slope = (p * found + (1.0 - p) * (found + x * left)) / missed - left / found
    return np.log(missed / (p * found)), x * slope
