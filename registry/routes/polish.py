"""A local search of our own on the order of a round: turn stretches round, move short stretches elsewhere."""

import numpy as np

from registry.plant.walking_lines import Integers

LONGEST_MOVED = 3


def round_length(distances: Integers, order: list[int]) -> int:
    """Length of the round from place 0 through `order` and back, in the unit of the symmetric matrix.

    >>> import numpy as np
    >>> round_length(np.array([[0, 3, 4], [3, 0, 5], [4, 5, 0]]), [1, 2])
    12
    """
    way = np.array([0, *order, 0])
    return int(distances[way[:-1], way[1:]].sum())


def polished_round(distances: Integers, order: list[int]) -> list[int]:
    """A round no longer than the given one, which no single change of two kinds can shorten.

    The changes: turning a stretch round (2-opt), and moving a stretch of up to three stops elsewhere, either way round
    (Or-opt).
    """
    way = np.array([0, *order, 0])
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
    for length in range(1, LONGEST_MOVED + 1):
        for begin in range(1, len(way) - length):
            stretch = way[begin : begin + length]
            rest = np.concatenate([way[:begin], way[begin + length :]])
            before, after = way[begin - 1], way[begin + length]
            gain = distances[before, stretch[0]] + distances[stretch[-1], after] - distances[before, after]
            if gain <= best_saved:
                continue
            legs = distances[rest[:-1], rest[1:]]
            as_is = distances[rest[:-1], stretch[0]] + distances[stretch[-1], rest[1:]] - legs
            turned = distances[rest[:-1], stretch[-1]] + distances[stretch[0], rest[1:]] - legs
            for extra, piece in ((as_is, stretch), (turned, stretch[::-1])):
                where = int(extra.argmin())
                if gain - extra[where] > best_saved:
                    best_saved = int(gain - extra[where])
                    best = np.concatenate([rest[: where + 1], piece, rest[where + 1 :]])
    return best
