"""When a check falls due, again and again, and from which week to which it may be planned. Days count from the plan's
first."""

from dataclasses import dataclass

import numpy as np

from registry.planning.problem import Flags, Floats, Integers
from registry.policy.model import PlanningPolicy

DAYS_OF_A_WEEK = 7
_SHORTEST_DAYS = 1.0


@dataclass(frozen=True)
class Rounds:
    """Checks, one row each: `row` of the joint, `occurrence` 0 for its next check, `day` on which it falls due."""

    row: Integers
    occurrence: Integers
    day: Integers


@dataclass(frozen=True)
class Windows:
    """In which weeks a check may be planned, both within; `latest_day` is the last day of that.

    `lead_week` is the first week in which its permit and its scaffold can be had (0: it needs neither).
    """

    first_week: Integers
    last_week: Integers
    latest_day: Integers
    lead_week: Integers


def rounds(due_day: Integers, interval_days: Floats, start_day: int, end_day: int) -> Rounds:
    """Every check of each joint up to the end: the next one whenever it is, and those that follow it at the interval.

    What follows an overdue check counts from `start_day`, for it is done then at the earliest.

    >>> found = rounds(np.array([-3, 12]), np.array([10.0, 30.0]), 0, 28)
    >>> found.row.tolist(), found.occurrence.tolist(), found.day.tolist()
    ([0, 0, 0, 1], [0, 1, 2, 0], [-3, 10, 20, 12])
    """
    from_day = np.maximum(due_day, start_day)
    step = np.maximum(interval_days, _SHORTEST_DAYS)
    following = np.maximum(np.ceil((end_day - from_day) / step) - 1, 0).astype(np.int64)
    row = np.repeat(np.arange(len(due_day)), following + 1)
    first = np.cumsum(following + 1) - (following + 1)
    occurrence = np.arange(len(row)) - first[row]
    later = from_day[row] + np.floor(occurrence * step[row]).astype(np.int64)
    return Rounds(row, occurrence, np.where(occurrence == 0, due_day[row], later))


def windows(
    found: Rounds,
    interval_days: Floats,
    needs_outage: Flags,
    deferred_day: Integers,
    lead_week: Integers,
    policy: PlanningPolicy,
    *,
    start_day: int,
    open_week: int,
    weeks: int,
) -> Windows:
    """From which week to which each check may be planned.

    Interval, outage and `deferred_day` (-1: no deferral) are by joint, `lead_week` is by check. `start_day` is the
    first day on which anything can be done, `open_week` the first week that is not frozen. What is overdue on the
    first, or past its latest day before the second, has the policy's weeks of grace from there on.
    """
    interval = interval_days[found.row] / DAYS_OF_A_WEEK
    due_week = found.day // DAYS_OF_A_WEEK
    early = np.minimum(policy.early_share * interval, policy.early_most_weeks)
    early = np.where(needs_outage[found.row], np.maximum(early, policy.outage_early_most_weeks), early)
    late = np.ceil(np.minimum(policy.late_share * interval, policy.late_most_weeks)).astype(np.int64)
    latest_day = found.day + DAYS_OF_A_WEEK * late
    grace = DAYS_OF_A_WEEK * int(np.ceil(policy.overdue_grace_weeks))
    latest_day = np.where(found.day < start_day, np.maximum(latest_day, start_day + grace - 1), latest_day)
    deferred = np.where(found.occurrence == 0, deferred_day[found.row], -1)
    latest_day = np.where(deferred >= 0, deferred, latest_day)
    too_soon = latest_day < DAYS_OF_A_WEEK * open_week
    latest_day = np.where(too_soon, DAYS_OF_A_WEEK * open_week + grace - 1, latest_day)

    first_week = due_week - np.floor(early).astype(np.int64)
    # Not before the round before it, whose own window may reach further than that.
    before = np.concatenate(([0], due_week[:-1])) + 1
    first_week = np.where(found.occurrence > 0, np.maximum(first_week, np.minimum(before, due_week)), first_week)
    first_week = np.maximum(np.maximum(first_week, open_week), lead_week)
    last_week = np.minimum(latest_day // DAYS_OF_A_WEEK, weeks - 1)
    return Windows(first_week, last_week, latest_day, lead_week)
