"""Joints paired with places on their own line: readings, leaks."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

_BLOCK = 2_000_000  # pairs held at once, so that a line of a hundred thousand joints does not fill the memory


class Pairs(NamedTuple):
    """A block of pairs, grouped by joint: positions of joint and place, and where each joint's group starts."""

    joint: Indices
    place: Indices
    starts: Indices


def pairs_on_lines(joint_line: NDArray[np.integer], place_line: NDArray[np.integer]) -> Iterator[Pairs]:
    """Yield every pair of a joint and a place on the same line (line 0 is no line), each joint's pairs in one block.

    Within a joint the places keep the order in which they were given.
    """
    if not len(place_line):
        return
    by_line = np.argsort(place_line, kind="stable")
    # Looked up by line number: a search for each of a million joints would take longer than all the rest.
    on_line = np.bincount(place_line)
    known = np.where((joint_line > 0) & (joint_line < len(on_line)), joint_line, 0)
    first, count_of = (np.cumsum(on_line) - on_line)[known], np.where(known > 0, on_line[known], 0)
    joints = np.flatnonzero(count_of)
    counts = count_of[joints]
    ends = np.cumsum(counts)
    at = 0
    while at < len(joints):
        before = ends[at - 1] if at else 0
        until = max(int(np.searchsorted(ends, before + _BLOCK, "right")), at + 1)
        count = counts[at:until]
        starts = np.cumsum(count) - count
        offset = np.arange(count.sum()) - np.repeat(starts, count)
        chosen = joints[at:until]
        yield Pairs(np.repeat(chosen, count), by_line[np.repeat(first[chosen], count) + offset], starts)
        at = until


def nearest_on_line(
    joint_line: NDArray[np.integer],
    joint_east_m: Floats,
    joint_north_m: Floats,
    place_line: NDArray[np.integer],
    place_east_m: Floats,
    place_north_m: Floats,
    within_m: float,
) -> tuple[Indices, Floats]:
    """Nearest place on each joint's own line, and how far it is.

    argmin over places on the line of sqrt((east - east_place) ** 2 + (north - north_place) ** 2), if <= within

    Parameters
    ----------
    joint_line : ndarray of int, shape (n,) [-]
        0 where the joint is on no line.
    joint_east_m, joint_north_m : ndarray, shape (n,) [m]
    place_line : ndarray of int, shape (k,) [-]
    place_east_m, place_north_m : ndarray, shape (k,) [m]
    within_m : float [m]

    Returns
    -------
    tuple of ndarray, shape (n,) [-] and ndarray, shape (n,) [m]
        Position of the place and distance; -1 and inf where none is near enough. Of places equally near the first given
        is taken, whatever other joints and lines are in the same call.

    References
    ----------
    Own method: straight distance on the plan; the way along the pipe is not known.

    Examples
    --------
    >>> origin, three, four = np.zeros(2), np.array([3.0]), np.array([4.0])
    >>> nearest_on_line(np.array([7, 8]), origin, origin, np.array([7]), three, four, 9.0)
    (array([ 0, -1]), array([ 5., inf]))
    """
    place = np.full(len(joint_line), -1, np.intp)
    distance = np.full(len(joint_line), np.inf)
    for pairs in pairs_on_lines(joint_line, place_line):
        square = (joint_east_m[pairs.joint] - place_east_m[pairs.place]) ** 2
        square += (joint_north_m[pairs.joint] - place_north_m[pairs.place]) ** 2
        least = np.minimum.reduceat(square, pairs.starts)
        sizes = np.diff(np.append(pairs.starts, len(square)))
        first = np.where(square == np.repeat(least, sizes), np.arange(len(square)), len(square))
        chosen = np.minimum.reduceat(first, pairs.starts)
        near = least <= within_m**2
        joint = pairs.joint[pairs.starts[near]]
        place[joint] = pairs.place[chosen[near]]
        distance[joint] = np.sqrt(least[near])
    return place, distance
