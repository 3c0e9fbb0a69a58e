"""A better order of a round in which some stops keep their position: they are pinned there, or done already."""

from collections.abc import Collection

import numpy as np

from registry.plant.walking_lines import Integers

# Own method: so many changes are weighed at a time, and so often the order found is shaken and bettered again.
MOST_CHANGES = 4_000
SHAKES = 30


def shortest_around(distances: Integers, order: list[int], kept: Collection[int], *, seed: int) -> list[int]:
    """A round through the same places no longer than the given one; those at the positions `kept` stay there.

    Positions count from 0 in `order`; the round begins and ends at place 0, which is not listed. The changes tried: the
    free places from one free position to another the other way round, and one of them moved to another, the free ones
    between making room.
    """
    free = np.array([at for at in range(len(order)) if at not in kept], dtype=np.int64)
    if len(free) < 2:
        return list(order)
    changes = _changes(free, len(order))
    chance = np.random.default_rng(seed)
    best = here = _bettered(distances, np.array(order), changes)
    for _ in range(SHAKES):
        shaken = here[changes[int(chance.integers(len(changes)))]]
        tried = _bettered(distances, shaken[changes[int(chance.integers(len(changes)))]], changes)
        if _lengths(distances, tried[None])[0] <= _lengths(distances, here[None])[0]:
            here = tried
        if _lengths(distances, here[None])[0] < _lengths(distances, best[None])[0]:
            best = here
    return [int(place) for place in best]


def _bettered(distances: Integers, order: Integers, changes: Integers) -> Integers:
    """The order after the change that saves most, again and again until none does."""
    length = int(_lengths(distances, order[None])[0])
    while True:
        tried = order[changes]
        lengths = _lengths(distances, tried)
        at = int(lengths.argmin())
        if lengths[at] >= length:
            return order
        order, length = tried[at], int(lengths[at])


def _lengths(distances: Integers, orders: Integers) -> Integers:
    legs = distances[orders[:, :-1], orders[:, 1:]].sum(axis=1)
    return distances[0, orders[:, 0]] + legs + distances[orders[:, -1], 0]


def _changes(free: Integers, count: int) -> Integers:
    """Each change as the positions that the places come from, (changes, count)."""
    # Where there are many stops only near positions change places.
    reach = max(2, int(MOST_CHANGES / (3 * len(free))))
    found: list[Integers] = []
    for first in range(len(free)):
        for last in range(first + 1, min(len(free), first + reach + 1)):
            slots = free[first : last + 1]
            for places in (slots[::-1], np.roll(slots, 1), np.roll(slots, -1)):
                change = np.arange(count)
                change[slots] = places
                found.append(change)
    return np.stack(found)
