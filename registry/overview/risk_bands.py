"""Five ordered bands of risk now: the only thing on any page that has a colour."""

from typing import Final

import numpy as np
import numpy.typing as npt

BAND_EDGES: Final = (0.01, 0.03, 0.1, 0.3)
"""Risk now, in weighted leaks a year, from which the bands 2, 3, 4 and 5 begin."""

BAND_WORDS: Final = ("very low", "low", "about tolerable", "high", "very high")
"""Bands 1 to 5 in words."""


def risk_band(risk_now: npt.ArrayLike) -> npt.NDArray[np.int16]:
    """Band 1 to 5 of the risk now: half decades of weighted leaks a year.

        band = 1 + number of edges that the risk has reached

    Parameters
    ----------
    risk_now : array_like, shape (n,)
        Leak rate now times the weight of the consequence class [leaks/year].

    Returns
    -------
    ndarray of int, shape (n,)
        Band [1].

    References
    ----------
    Own method. In the shipped policy the tolerable leak rate of a class times its weight lies between 0.02 and 0.1:
    band 3 is where a joint stands when it is about as risky as is tolerated, and each band from there is half a decade.

    Examples
    --------
    >>> risk_band([0.0, 0.01, 0.05, 0.2, 7.0]).tolist()
    [1, 2, 3, 4, 5]
    """
    return (np.searchsorted(BAND_EDGES, np.asarray(risk_now, dtype=np.float64), side="right") + 1).astype(np.int16)


def matrix_bands(likelihood_edges: tuple[float, ...], weights: tuple[float, ...]) -> npt.NDArray[np.int16]:
    """Band of each cell of the risk matrix: of the class's mean leak rate, times the weight of the consequence class.

        mean rate of class k = (edge(k) - edge(k-1)) / ln(edge(k) / edge(k-1));  the outermost are as wide as the next

    Parameters
    ----------
    likelihood_edges : tuple of float, length n
        Edges between the likelihood classes [leaks/year].
    weights : tuple of float, length m
        Weight of each consequence class [1].

    Returns
    -------
    ndarray of int, shape (n + 1, m)
        Band [1]; rows are likelihood classes from 1, columns consequence classes from 1.

    References
    ----------
    Own method: the cells take their colour from the same edges as the joints do, so that map and matrix agree; the mean
    is that of rates spread evenly over the class on a logarithmic scale.

    Examples
    --------
    >>> matrix_bands((1e-4, 1e-3, 1e-2, 1e-1), (1.0, 3.0, 10.0, 30.0, 100.0))[2].tolist()
    [1, 2, 3, 4, 5]
    """
    edges = np.asarray(likelihood_edges, dtype=np.float64)
    first, last = edges[0] / (edges[1] / edges[0]), edges[-1] * (edges[-1] / edges[-2])
    outer = np.concatenate([[first], edges, [last]])
    rates = np.diff(outer) / np.log(outer[1:] / outer[:-1])
    return risk_band(rates[:, None] * np.asarray(weights, dtype=np.float64)[None, :])
