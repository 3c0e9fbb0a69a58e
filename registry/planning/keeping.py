"""The plan before, as far as it can stand, mended where it cannot: a plan that changes little."""

import numpy as np

from registry.planning.mending import Placing, mended
from registry.planning.problem import UNPLACED, Integers
from registry.planning.waiting import Waiting

WORTH_CHANGING_SHARE = 0.001
"""A plan made anew takes the place of the one before, mended, when it is cheaper by more than this share."""


def kept(waiting: Waiting, was_crew: Integers) -> Placing:
    """Every check where it stood, unless it may not stand there any more or its crew is full; then mended.

    Of a crew's week that has become too short, the checks that are dearest to leave out for their time stay.
    """
    count = len(waiting)
    crew = np.maximum(was_crew, 0)
    week = np.clip(waiting.was_week, 0, waiting.weeks - 1)
    legal = (was_crew != UNPLACED) & (waiting.was_week >= waiting.first_week) & (waiting.was_week <= waiting.last_week)
    legal &= waiting.open_weeks[waiting.calendar, week] & waiting.able[crew, waiting.need]
    cell = crew * waiting.weeks + week
    dear = waiting.unplaced_cost / np.maximum(waiting.minutes, 1e-9)
    order = np.lexsort((np.arange(count), -dear, cell))
    order = order[legal[order]]
    # Minutes so far in the crew's week, the check's own within.
    so_far = np.cumsum(waiting.minutes[order])
    begins = np.flatnonzero(np.concatenate(([True], np.diff(cell[order]) != 0))) if len(order) else order
    before = np.repeat(so_far[begins] - waiting.minutes[order][begins], np.diff(np.append(begins, len(order))))
    fits = so_far - before <= waiting.capacity.ravel()[cell[order]] + 1e-9
    stays = np.zeros(count, dtype=np.bool_)
    stays[order[fits]] = True
    left = waiting.capacity.copy()
    np.subtract.at(left, (crew[stays], week[stays]), waiting.minutes[stays])
    return mended(waiting, np.where(stays, week, UNPLACED), np.where(stays, crew, UNPLACED), np.maximum(left, 0.0))
