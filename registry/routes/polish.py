"""A local search of our own on the order of a round: turn stretches round, move short stretches elsewhere."""

import numpy as np

from registry.plant.walking_lines import Integers

LONGEST_MOVED = 3


def round_length(distances: Integers, order: list[int], start: int = 0) -> int:
    """Length of the round from `start` through `order` and back, in the unit of the symmetric matrix.

    >>> import numpy as np
    >>> round_length(np.array([[0, 3, 4], [3, 0, 5], [4, 5, 0]]), [1, 2])
    12
    """
    way = np.array([start, *order, start])
    return int(distances[way[:-1], way[1:]].sum())


def polished_round(distances: Integers, order: list[int], start: int = 0) -> list[int]:
    """A round from `start` no longer than the given one, which no single change of two kinds can shorten.

    The changes: turning a stretch round (2-opt), and moving a stretch of up to three stops elsewhere, either way round
    (Or-opt).
    """
    way = np.array([start, *order, start])
    while True:
        shorter = _best_turn(distances, way)
        if shorter is None:
            shorter = _best_move(distances, way)
        if shorter is None:
            return [int(stop) for stop in way[1:-1]]
        way = shorter


def _best_turn(distances: Integers, way: Integers) -> Integers | None:
    """The round with the one stretch turned that saves most, or None where none saves."""
    start, end = way[:-1], way[1:]
    now = distances[start, end]
    # Turning the stretch after leg i up to leg j's start joins start i to start j and end i to end j.
    saved = now[:, None] + now[None, :] - distances[np.ix_(start, start)] - distances[np.ix_(end, end)]
    saved = np.triu(saved, k=2)
    first, second = (int(index) for index in np.unravel_index(int(saved.argmax()), saved.shape))
    if saved[first, second] <= 0:
        return None
    return np.concatenate([way[: first + 1], way[first + 1 : second + 1][::-1], way[second + 1 :]])


def _best_move(distances: Integers, way: Integers) -> Integers | None:
    """The round with the one short stretch moved that saves most, or None where none saves."""
    best_saved, best = 0, None
    legs = distances[way[:-1], way[1:]]
    leg = np.arange(len(legs))[:, None]
    for length in range(1, min(LONGEST_MOVED, len(way) - 2) + 1):
        begin = np.arange(1, len(way) - length)
        before, first, last, after = way[begin - 1], way[begin], way[begin + length - 1], way[begin + length]
        gain = distances[before, first] + distances[last, after] - distances[before, after]
        as_is = distances[np.ix_(way[:-1], first)] + distances[np.ix_(way[1:], last)]
        turned = distances[np.ix_(way[:-1], last)] + distances[np.ix_(way[1:], first)]
        saved = gain[None, :] + legs[:, None] - np.minimum(as_is, turned)
        # Where the stretch stands, and inside it, is no other place.
        saved[(leg >= begin - 1) & (leg < begin + length)] = 0
        where, which = (int(index) for index in np.unravel_index(int(saved.argmax()), saved.shape))
        if saved[where, which] > best_saved:
            best_saved = int(saved[where, which])
            stretch = way[begin[which] : begin[which] + length]
            piece = stretch if as_is[where, which] <= turned[where, which] else stretch[::-1]
            best = _moved(way, int(begin[which]), length, where, piece)
    return best


def _moved(way: Integers, begin: int, length: int, where: int, piece: Integers) -> Integers:
    """The round with the stretch from `begin` put into leg `where` as `piece`."""
    if where < begin:
        return np.concatenate([way[: where + 1], piece, way[where + 1 : begin], way[begin + length :]])
    return np.concatenate([way[:begin], way[begin + length : where + 1], piece, way[where + 1 :]])
