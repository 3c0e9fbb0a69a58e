"""Decades of leak rate as classes, for the usual five by five matrix."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray


def likelihood_class(leak_rate_per_year: ArrayLike, edges_per_year: Sequence[float]) -> NDArray[np.int16]:
    """Likelihood class from 1 to 5 by the expected leak rate now.

    1 + number of edges at or below the rate

    Parameters
    ----------
    leak_rate_per_year : array_like, shape (n,) [1/year]
    edges_per_year : sequence of float [1/year]
        Rising.

    Returns
    -------
    ndarray of int, shape (n,) [-]

    References
    ----------
    Own method: a matrix of five by five is common practice; the edges are policy.

    Examples
    --------
    >>> likelihood_class([0.0, 2e-3, 0.5], [1e-4, 1e-3, 1e-2, 1e-1])
    array([1, 3, 5], dtype=int16)
    """
    return (1 + np.searchsorted(np.asarray(edges_per_year), np.asarray(leak_rate_per_year), "right")).astype(np.int16)
