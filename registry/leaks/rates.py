"""Leak counts turned into rates, with limits that are honest about small numbers."""

import numpy as np
import numpy.typing as npt
from scipy.special import gammainccinv, gammaincinv

FloatArray = npt.NDArray[np.float64]


def poisson_lower_limit(count: npt.ArrayLike, confidence: float = 0.95) -> FloatArray:
    """Lower end of the two-sided exact interval for the mean of a Poisson count.

        lower = chi2(alpha/2; 2 n) / 2,  0 for n = 0

    Parameters
    ----------
    count : array_like, shape (n,)
        Events seen [1].
    confidence : float
        Two-sided confidence, 1 - alpha [1].

    Returns
    -------
    ndarray, shape (n,)
        Expected events [1].

    References
    ----------
    F. Garwood, 'Fiducial limits for the Poisson distribution', Biometrika 28 (1936), 437-442. Any count.

    Examples
    --------
    >>> poisson_lower_limit([0, 3]).round(4).tolist()
    [0.0, 0.6187]
    """
    events = np.asarray(count, dtype=np.float64)
    # gammaincinv(0, .) has no meaning; nothing seen leaves zero possible.
    limit = gammaincinv(np.maximum(events, 1.0), (1.0 - confidence) / 2.0)
    return np.where(events > 0, limit, 0.0)


def poisson_upper_limit(count: npt.ArrayLike, confidence: float = 0.95) -> FloatArray:
    """Upper end of the two-sided exact interval for the mean of a Poisson count.

        upper = chi2(1 - alpha/2; 2 n + 2) / 2

    Parameters
    ----------
    count : array_like, shape (n,)
        Events seen [1].
    confidence : float
        Two-sided confidence, 1 - alpha [1]. For no events the one-sided limit is lower (2.996 against 3.689 at 95 %).

    Returns
    -------
    ndarray, shape (n,)
        Expected events [1].

    References
    ----------
    F. Garwood, 'Fiducial limits for the Poisson distribution', Biometrika 28 (1936), 437-442. Any count.

    Examples
    --------
    >>> poisson_upper_limit([0, 3]).round(4).tolist()
    [3.6889, 8.7673]
    """
    events = np.asarray(count, dtype=np.float64)
    return np.asarray(gammainccinv(events + 1.0, (1.0 - confidence) / 2.0), dtype=np.float64)
