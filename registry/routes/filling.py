"""Filling a shift with stops: the best for their time first, then taking some out and filling again."""

from dataclasses import dataclass

import numpy as np

from registry.plant.model import Floats
from registry.plant.walking_lines import Integers
from registry.routes.polish import polished_round, round_length

# Own method, tried on 36 cases: how unevenly a refill weighs the stops, how much worse a choice it goes on from in its
# first rounds, how little it may look at the time, and how many stops it takes out of a short round.
SPREAD = 0.25
FALL_BACK = 0.01
LEAST_THRIFT = 0.5
MOST_OUT = 3


@dataclass(frozen=True, slots=True)
class Shift:
    """What a shift is chosen from: seconds and prizes of all stops, the stops that may be visited, and the time."""

    walk: Integers
    work: Integers
    prizes: Floats
    possible: Integers
    seconds: int

    def used(self, order: list[int]) -> int:
        """Seconds that a round takes, walking and working."""
        return round_length(self.walk, order) + int(self.work[order].sum())

    def prize(self, order: list[int]) -> float:
        """What a round is worth."""
        return float(self.prizes[order].sum())


def filled_round(shift: Shift, order: list[int], weight: Floats | None = None, thrift: float = 1.0) -> list[int]:
    """The round with more stops put in, each time the one with the best prize / time ** thrift, until none fits.

    `weight` (one for each stop) tilts the choice. Thrift 1 is prize for its time, 0 the prize alone.
    """
    chosen = set(order)
    stops = np.array([stop for stop in shift.possible if int(stop) not in chosen], dtype=np.int64)
    if not len(stops):
        return list(order)
    way, spare = [0, *order, 0], shift.seconds - shift.used(order)
    value = shift.prizes[stops] * (1.0 if weight is None else weight[stops])
    waiting = np.ones(len(stops), dtype=bool)
    # What it costs to put each stop into each leg; a new stop changes one leg into two.
    extra = np.stack([_detour(shift.walk, way[leg], way[leg + 1], stops) for leg in range(len(way) - 1)])
    while True:
        where = extra.argmin(axis=0)
        needed = extra[where, np.arange(len(stops))] + shift.work[stops]
        fits = waiting & (needed <= spare)
        if not fits.any():
            return way[1:-1]
        best = int(np.where(fits, value / np.maximum(needed, 1) ** thrift, -np.inf).argmax())
        leg, stop = int(where[best]), int(stops[best])
        both = np.stack([_detour(shift.walk, way[leg], stop, stops), _detour(shift.walk, stop, way[leg + 1], stops)])
        extra = np.concatenate([extra[:leg], both, extra[leg + 1 :]])
        way.insert(leg + 1, stop)
        spare -= int(needed[best])
        waiting[best] = False


def refilled_round(shift: Shift, order: list[int], *, seed: int, rounds: int) -> list[int]:
    """The best round found by taking a stretch or a neighbourhood out and filling again, so many times.

    Never worth less than the given one; among equals the quicker.
    """
    chance = np.random.default_rng(seed)
    best = here = list(order)
    for turn in range(rounds):
        if not here:
            return best
        kept = _thinned(shift, here, chance)
        tilt = np.exp(chance.normal(0.0, SPREAD, len(shift.prizes)))
        tried = filled_round(shift, kept, tilt, thrift=chance.uniform(LEAST_THRIFT, 1.0))
        patience = FALL_BACK * shift.prize(here) * (1 - turn / rounds) * chance.random()
        if shift.prize(tried) < shift.prize(here) - patience:
            continue
        here = filled_round(shift, polished_round(shift.walk, tried))
        if (shift.prize(here), -shift.used(here)) > (shift.prize(best), -shift.used(best)):
            best = here
    return best


def _thinned(shift: Shift, order: list[int], chance: np.random.Generator) -> list[int]:
    count = len(order)
    out = int(chance.integers(1, min(count, max(MOST_OUT, count // 2)) + 1))
    if chance.random() < 0.5:
        begin = int(chance.integers(0, count))
        gone = {(begin + step) % count for step in range(out)}
    else:
        near = shift.walk[order[int(chance.integers(0, count))]][order]
        gone = {int(index) for index in np.argsort(near, kind="stable")[:out]}
    return [stop for index, stop in enumerate(order) if index not in gone]


def _detour(walk: Integers, start: int, end: int, stops: Integers) -> Integers:
    return walk[start, stops] + walk[stops, end] - walk[start, end]
