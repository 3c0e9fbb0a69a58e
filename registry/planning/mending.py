"""Checks that found no room are fitted in, and every check moves for as long as that makes it cheaper."""

from dataclasses import dataclass

import numpy as np

from registry.planning.loops import fitted_in, moved_to_better
from registry.planning.problem import UNPLACED, Floats, Integers
from registry.planning.waiting import Waiting

_ROUNDS = 3
_PASSES = 3
_MOST_FITTED = 1_500


@dataclass(frozen=True)
class Placing:
    """Week and crew of each free check, and the time that is left to each crew in each week [min]. Changed in place."""

    week: Integers
    crew: Integers
    left: Floats

    def cost(self, waiting: Waiting) -> float:
        """What it costs, with its visits [min]."""
        there = self.week != UNPLACED
        visited = np.zeros(waiting.visit_cost.shape, dtype=np.bool_)
        visited[waiting.place[there], self.week[there]] = True
        checks = waiting.costs(np.arange(len(waiting)), self.week)
        return float(checks.sum() + waiting.visit_cost[visited].sum())


def mended(waiting: Waiting, week: Integers, crew: Integers, left: Floats) -> Placing:
    """Fit in what has no crew, dearest first, and let every check move to where it costs less.

    A visit is paid by the check that opens it, and saved by the last one that leaves it. A check for which no crew has
    time takes that of another one, if that can go elsewhere for less than it saves.
    """
    placing = Placing(np.where(crew == UNPLACED, UNPLACED, week), crew.copy(), left.copy())
    visits = np.zeros(waiting.visit_cost.shape, dtype=np.int64)
    there = placing.week != UNPLACED
    np.add.at(visits, (waiting.place[there], placing.week[there]), 1)
    dear = waiting.unplaced_cost / np.maximum(waiting.minutes, 1e-9)
    # What had a week before any that had none: it is known to have been worth a place.
    first = np.lexsort((-dear, week == UNPLACED))
    of_checks = (
        waiting.columns,
        waiting.open_weeks,
        waiting.able,
        waiting.visit_cost,
        visits,
        placing.left,
        placing.week,
        placing.crew,
    )
    for _ in range(_ROUNDS):
        out = first[placing.week[first] == UNPLACED][:_MOST_FITTED]
        changed = fitted_in(out, *of_checks)
        for _ in range(_PASSES):
            moved = moved_to_better(first, *of_checks)
            changed += moved
            if not moved:
                break
        if not changed:
            break
    return placing
