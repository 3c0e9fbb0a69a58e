"""Which of many due joints are put before the solver: the ones worth most, and what lies near them."""

import numpy as np
from scipy.spatial import KDTree

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers

# Measured: the solver chooses well among 400 in a few seconds; a shift holds some forty.
MOST_WEIGHED = 400


def weighed_candidates(prizes: Floats, places: Floats, most: int = MOST_WEIGHED) -> Integers:
    """Which stops to choose from: all, or the half with the best prizes and then those nearest to any of that half.

    Parameters
    ----------
    prizes : (n,) what each is worth [dimensionless].
    places : (n, 2) east and north [m].
    most : how many at most.

    Returns
    -------
    Indices in rising order.

    References
    ----------
    Own method: a crew that goes to a risky joint may as well do its neighbours, and hardly anything else.

    >>> import numpy as np
    >>> east = np.array([0.0, 1.0, 50.0, 51.0, 90.0])
    >>> weighed_candidates(np.array([9.0, 1.0, 8.0, 1.0, 2.0]), np.column_stack([east, 0 * east]), most=4).tolist()
    [0, 1, 2, 3]
    """
    if len(prizes) <= most:
        return np.arange(len(prizes))
    order = np.argsort(-prizes, kind="stable")
    best, rest = order[: most // 2], order[most // 2 :]
    away, _ = KDTree(places[best]).query(places[rest])
    near = rest[np.argsort(away, kind="stable")[: most - len(best)]]
    return np.sort(np.concatenate([best, near]))
