"""The shortest round made of the legs of several good rounds, by integer programming: most legs are in all of them."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from registry.plant.walking_lines import Integers

# Own method: most rounds of 200 places merge within a few nodes of the search tree; where not, the best will do.
MOST_NODES = 200
MOST_CUTTINGS = 100
_WHOLE = 1e-6


def merged_round(distances: Integers, rounds: Sequence[list[int]]) -> list[int]:
    """The shortest round over the legs of these rounds through the same places; the best of them where that takes long.

    A round begins and ends at place 0, which is not listed.
    """
    ways = [np.array([0, *order]) for order in rounds]
    best = min(rounds, key=lambda order: _length(distances, order))
    legs = np.concatenate([np.stack([way, np.roll(way, -1)], axis=1) for way in ways])
    legs = np.unique(np.sort(legs, axis=1), axis=0)
    places = np.sort(ways[0])
    if len(legs) == len(places):
        return list(best)
    found = _shortest(distances[legs[:, 0], legs[:, 1]], np.searchsorted(places, legs), len(places))
    if found is None:
        return list(best)
    order = _order(legs[found])
    return order if _length(distances, order) < _length(distances, best) else list(best)


def _shortest(lengths: Integers, legs: Integers, count: int) -> Integers | None:
    """Which legs make the shortest round, or None where the search was given up."""
    leg = np.tile(np.arange(len(legs)), 2)
    legs_at = csr_array(coo_array((np.ones(len(leg)), (legs.T.ravel(), leg)), shape=(count, len(legs))))
    cuts: list[Integers] = []
    whole = False
    # First in fractions, which finds most of the cuts at little cost.
    for _ in range(MOST_CUTTINGS):
        taken = _solved(lengths, legs_at, cuts, whole=whole)
        if taken is None:
            return None
        used = taken > _WHOLE
        fresh = _cuts_between(legs, used, count)
        if fresh:
            cuts += fresh
        elif whole or np.abs(taken - np.round(taken)).max() < _WHOLE:
            return np.flatnonzero(taken > 0.5)
        else:
            whole = True
    return None


def _solved(lengths: Integers, legs_at: csr_array, cuts: list[Integers], *, whole: bool) -> np.ndarray | None:
    rules = [LinearConstraint(legs_at, 2, 2)]
    if cuts:
        row = np.concatenate([np.full(len(cut), number) for number, cut in enumerate(cuts)])
        crossing = coo_array((np.ones(len(row)), (row, np.concatenate(cuts))), shape=(len(cuts), len(lengths)))
        rules.append(LinearConstraint(csr_array(crossing), 2, np.inf))
    answer: OptimizeResult = milp(
        lengths.astype(np.float64),
        integrality=np.full(len(lengths), int(whole)),
        bounds=Bounds(0, 1),
        constraints=rules,
        options={"node_limit": MOST_NODES},
    )
    return answer.x if answer.status == 0 else None


def _cuts_between(legs: Integers, used: np.ndarray, count: int) -> list[Integers]:
    """The legs out of each separate part: at least two of them must be walked."""
    joined = coo_array((np.ones(int(used.sum())), (legs[used, 0], legs[used, 1])), shape=(count, count))
    parts, part_of = connected_components(joined, directed=False)
    if parts == 1:
        return []
    sizes = np.bincount(part_of)
    smaller = [part for part in range(parts) if 2 * sizes[part] <= count]
    return [np.flatnonzero((part_of[legs[:, 0]] == part) != (part_of[legs[:, 1]] == part)) for part in smaller]


def _order(legs: Integers) -> list[int]:
    beside: dict[int, list[int]] = {}
    for one, two in legs.tolist():
        beside.setdefault(one, []).append(two)
        beside.setdefault(two, []).append(one)
    before, here = 0, min(beside[0])
    order: list[int] = []
    while here != 0:
        order.append(here)
        one, two = beside[here]
        before, here = here, two if one == before else one
    return order


def _length(distances: Integers, order: list[int]) -> int:
    way = np.array([0, *order, 0])
    return int(distances[way[:-1], way[1:]].sum())
