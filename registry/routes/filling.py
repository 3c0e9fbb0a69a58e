"""Filling the shifts of one or several crews with stops: the best for their time first, then some out, and again."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.routes.polish import polished_round, round_length

# Own method, tried on 36 cases: how unevenly a refill weighs the stops, how much worse a choice it goes on from in its
# first rounds, how little it may look at the time, and how many stops it takes out of a short round.
SPREAD = 0.25
FALL_BACK = 0.01
LEAST_THRIFT = 0.5
MOST_OUT = 3

Rounds = list[list[int]]


@dataclass(frozen=True, slots=True)
class Shifts:
    """What crews choose from: places 0, 1, … are where each crew starts and ends, the others are stops.

    `walk` (n, n) and `work` (n,) are seconds, `prizes` (n,) what each stop is worth; crew c has `seconds[c]` and may
    visit the stops of `may` (crews, n).
    """

    walk: Integers
    work: Integers
    prizes: Floats
    seconds: Integers
    may: npt.NDArray[np.bool_]

    @property
    def crews(self) -> int:
        """How many crews there are."""
        return len(self.seconds)

    def used(self, crew: int, order: list[int]) -> int:
        """Seconds that a crew's round takes, walking and working."""
        return round_length(self.walk, order, crew) + int(self.work[order].sum())

    def used_by_all(self, orders: Rounds) -> int:
        """Seconds that all rounds take."""
        return sum(self.used(crew, order) for crew, order in enumerate(orders))

    def prize(self, orders: Rounds) -> float:
        """What the rounds are worth."""
        return float(self.prizes[[stop for order in orders for stop in order]].sum())

    def polished(self, orders: Rounds) -> Rounds:
        """Each round in an order that no single change can shorten."""
        return [polished_round(self.walk, order, crew) for crew, order in enumerate(orders)]


def filled_rounds(
    shifts: Shifts, orders: Sequence[list[int]], weight: Floats | None = None, thrift: float = 1.0
) -> Rounds:
    """The rounds with more stops put in, each time the one with the best prize / time ** thrift, until none fits.

    `weight` (one for each stop) tilts the choice. Thrift 1 is prize for its time, 0 the prize alone.
    """
    chosen = [stop for order in orders for stop in order]
    free = np.array(shifts.may.any(axis=0))
    free[chosen] = False
    stops = np.flatnonzero(free)
    if not len(stops):
        return [list(order) for order in orders]
    ways = [[crew, *order, crew] for crew, order in enumerate(orders)]
    spare = np.array([shifts.seconds[crew] - shifts.used(crew, order) for crew, order in enumerate(orders)])
    value = shifts.prizes[stops] * (1.0 if weight is None else weight[stops])
    waiting = shifts.may[:, stops].copy()
    # What it costs to put each stop into each leg of a crew's way; a new stop changes one leg into two.
    extra = [_detours(shifts.walk, way, stops) for way in ways]
    needed = np.stack([legs.min(axis=0) for legs in extra]) + shifts.work[stops]
    while True:
        fits = waiting & (needed <= spare[:, None])
        if not fits.any():
            return [way[1:-1] for way in ways]
        worth = np.where(fits, value / np.maximum(needed, 1) ** thrift, -np.inf)
        crew, best = (int(index) for index in np.unravel_index(int(worth.argmax()), worth.shape))
        way, legs, stop = ways[crew], extra[crew], int(stops[best])
        leg = int(legs[:, best].argmin())
        both = _detours(shifts.walk, [way[leg], stop, way[leg + 1]], stops)
        way.insert(leg + 1, stop)
        extra[crew] = np.concatenate([legs[:leg], both, legs[leg + 1 :]])
        spare[crew] -= int(needed[crew, best])
        waiting[:, best] = False
        needed[crew] = extra[crew].min(axis=0) + shifts.work[stops]


def refilled_rounds(shifts: Shifts, orders: Rounds, *, seed: int, rounds: int) -> Rounds:
    """The best rounds found by taking a stretch or a neighbourhood out and filling again, so many times.

    Never worth less than the given ones; among equals the quicker.
    """
    chance = np.random.default_rng(seed)
    best = here = [list(order) for order in orders]
    best_worth = here_worth = (shifts.prize(best), -shifts.used_by_all(best))
    for turn in range(rounds):
        if not any(here):
            return best
        kept = _thinned(shifts, here, chance)
        tilt = np.exp(chance.normal(0.0, SPREAD, len(shifts.prizes)))
        tried = filled_rounds(shifts, kept, tilt, thrift=chance.uniform(LEAST_THRIFT, 1.0))
        patience = FALL_BACK * here_worth[0] * (1 - turn / rounds) * chance.random()
        if shifts.prize(tried) < here_worth[0] - patience:
            continue
        here = filled_rounds(shifts, shifts.polished(tried))
        here_worth = (shifts.prize(here), -shifts.used_by_all(here))
        if here_worth > best_worth:
            best, best_worth = here, here_worth
    return best


def _thinned(shifts: Shifts, orders: Rounds, chance: np.random.Generator) -> Rounds:
    """The rounds without a stretch of one, or without the stops round a place whoever visits them."""
    everyone = [stop for order in orders for stop in order]
    middle = everyone[int(chance.integers(0, len(everyone)))]
    own = next(order for order in orders if middle in order)
    out = int(chance.integers(1, min(len(own), max(MOST_OUT, len(own) // 2)) + 1))
    if chance.random() < 0.5:
        begin = own.index(middle)
        gone = {own[(begin + step) % len(own)] for step in range(out)}
    else:
        near = np.argsort(shifts.walk[middle][everyone], kind="stable")[:out]
        gone = {everyone[int(index)] for index in near}
    return [[stop for stop in order if stop not in gone] for order in orders]


def _detours(walk: Integers, way: Sequence[int], stops: Integers) -> Integers:
    """Seconds that each stop adds to each leg of a way."""
    start, end = np.array(way[:-1]), np.array(way[1:])
    return walk[np.ix_(start, stops)] + walk[np.ix_(end, stops)] - walk[start, end][:, None]
