"""Counting the cycles of a history."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Cycles(NamedTuple):
    """Counted cycles in the order in which they close: range, mean and count (1 or 0.5) of each."""

    ranges: Floats
    means: Floats
    counts: Floats


def rainflow_cycles(history: ArrayLike) -> Cycles:
    """Cycles of a history by the rainflow rule of three points; what is left over counts as half cycles.

    X the newest range, Y the one before: X < Y, read on; Y holds the starting point, count Y as 1/2 and drop its first
    point; otherwise count Y as 1 and drop both its points.

    Parameters
    ----------
    history : array_like, shape (n,) [any unit]
        Finite values in order of time.

    Returns
    -------
    Cycles, arrays of shape (cycles,) [unit of the history, counts [-]]
        Empty where the history never turns and never moves.

    Raises
    ------
    ValueError
        A value is NaN or infinite.

    References
    ----------
    ASTM E1049-85 (2017), Standard Practices for Cycle Counting in Fatigue Analysis, clause 5.4.4. Not clause 5.4.5,
    which closes the history on itself.

    Examples
    --------
    >>> cycles = rainflow_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    >>> list(zip(cycles.ranges.tolist(), cycles.counts.tolist()))
    [(3.0, 0.5), (4.0, 0.5), (4.0, 1.0), (8.0, 0.5), (9.0, 0.5), (8.0, 0.5), (6.0, 0.5)]
    """
    found: list[tuple[float, float, float]] = []
    points: list[float] = []
    for point in _turning_points(np.asarray(history, np.float64)):
        points.append(point)
        while len(points) >= 3:
            newest, before = abs(points[-1] - points[-2]), abs(points[-2] - points[-3])
            if newest < before:
                break
            if len(points) == 3:
                found.append((before, (points[0] + points[1]) / 2, 0.5))
                del points[0]
            else:
                found.append((before, (points[-2] + points[-3]) / 2, 1.0))
                del points[-3:-1]
    found += [(abs(b - a), (a + b) / 2, 0.5) for a, b in pairwise(points)]
    ranges, means, counts = np.array(found, np.float64).reshape(-1, 3).T
    return Cycles(ranges, means, counts)


def _turning_points(history: Floats) -> list[float]:
    """The first and last value and every peak and valley between."""
    if not np.isfinite(history).all():
        raise ValueError("a history of temperatures must be finite")
    if len(history) == 0:
        return []
    moving = history[np.concatenate(([True], np.diff(history) != 0))]
    if len(moving) < 3:
        return moving.tolist()
    turns = np.sign(np.diff(moving[:-1])) != np.sign(np.diff(moving[1:]))
    return moving[np.concatenate(([True], turns, [True]))].tolist()
