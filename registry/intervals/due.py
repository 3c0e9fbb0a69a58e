"""When a joint is due: from its clock, by interval or earlier by settling, retightening, a leak nearby or a recall."""

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from registry.exposure.on_line import pairs_on_lines
from registry.intervals.model import DAYS_PER_YEAR, DUE_REASONS, JointColumns, NearbyLeaks
from registry.policy.model import LeakNearbyPolicy

Floats = NDArray[np.float64]
Dates = NDArray[np.datetime64]
Days = NDArray[np.int64]

INTERVAL, SETTLING, RETIGHTENING, LEAK_NEARBY, NO_RECORD, RECALL = range(len(DUE_REASONS))

CLOCK_STARTS: Final = ("check", "make_up", "joint_list", "assumed")
"""What a joint's clock started with; `started_by` is the position here."""

CHECK, MAKE_UP, JOINT_LIST, NOTHING = range(len(CLOCK_STARTS))

_NEVER: Final = np.iinfo(np.int64).min  # what NaT is underneath, so that the newest date is a plain maximum
_NO_DAY: Final = np.iinfo(np.int64).max
_LONGEST_DAYS: Final = 365_250.0


@dataclass(frozen=True, slots=True)
class Clock:
    """When each joint was last known to be good, as days since 1970, and what says so."""

    last: Days
    started_by: NDArray[np.int8]
    made_up: Days
    """Newest make-up that counts, accepted or from the joint list; _NEVER where there is none."""
    checked: Days
    """Newest satisfactory check; _NEVER where there is none."""


@dataclass(frozen=True, slots=True)
class Due:
    """The due date of each joint and why it is that."""

    on: Dates
    reason: NDArray[np.int16]
    leak_on: Dates
    """The leak nearby that is still to be answered; NaT where there is none."""


def clock(joints: JointColumns, as_of: date, assumed_years: float) -> Clock:
    """Return when each joint's clock started: its newest satisfactory check or make-up, or so many years ago."""
    checked = _days(joints.last_satisfactory_on)
    recorded = np.where(joints.last_make_up_accepted, _days(joints.last_make_up_on), _NEVER)
    listed = _days(joints.made_up_on)
    made_up = np.maximum(recorded, listed)
    last = np.maximum(made_up, checked)
    # On one day the make-up counts: nothing is carried over from before it.
    started_by = np.where(last == recorded, MAKE_UP, np.where(last == listed, JOINT_LIST, CHECK))
    unknown = last == _NEVER
    assumed = _day(as_of) - round(assumed_years * DAYS_PER_YEAR)
    return Clock(
        np.where(unknown, assumed, last), np.where(unknown, NOTHING, started_by).astype(np.int8), made_up, checked
    )


def due(
    found: Clock,
    interval_days: Floats,
    settling_days: Floats,
    settling_expires_days: float,
    retightening_days: Floats,
    leak_on: Dates,
    leak_days: float,
    recall_on: Dates,
    as_of: date,
) -> Due:
    """Due date of each joint: the earliest of what asks for a check.

    last + interval; make-up + settling days while no check has followed it and it has not expired; make-up + days
    until the bolt load is too low while no check has come after that; leak nearby + days; the day that an open recall
    names; today where nothing is recorded

    Parameters
    ----------
    found : Clock, arrays of shape (n,) [day]
    interval_days : ndarray, shape (n,) [day]
    settling_days : ndarray, shape (n,) [day]
        NaN where the family has no settling check.
    settling_expires_days : float [day]
    retightening_days : ndarray, shape (n,) [day]
        NaN where the family has no bolt load.
    leak_on : ndarray of dates, shape (n,) [-]
        NaT where there is none.
    leak_days : float [day]
    recall_on : ndarray of dates, shape (n,) [-]
        NaT where no recall is open.
    as_of : date

    Returns
    -------
    Due, arrays of shape (n,) [date]

    References
    ----------
    Own method: the checks that are not periodic; at equal dates the interval is named.

    Examples
    --------
    >>> never = np.array([_NEVER])
    >>> start = Clock(np.array([20_000]), np.array([MAKE_UP], np.int8), np.array([20_000]), never)
    >>> nothing = np.array([np.nan])
    >>> no_leak = np.array(["NaT"], "datetime64[D]")
    >>> day = date(2024, 10, 10)
    >>> found = due(start, np.array([400.0]), np.array([30.0]), 180.0, nothing, no_leak, 14.0, no_leak, day)
    >>> str(found.on[0]), DUE_REASONS[found.reason[0]]
    ('2024-11-03', 'settling')
    """
    today = _day(as_of)
    on = found.last + _whole_days(interval_days)
    reason = np.full(len(on), INTERVAL, np.int16)
    made = found.made_up != _NEVER
    start = np.where(made, found.made_up, 0)

    settles = start + _whole_days(settling_days)
    unsettled = made & ~np.isnan(settling_days) & (found.checked <= start) & (today <= settles + settling_expires_days)
    retightens = start + _whole_days(retightening_days)
    loose = made & ~np.isnan(retightening_days) & (found.checked < retightens)
    leaked = ~np.isnat(leak_on)
    answers = np.where(leaked, _days(leak_on), 0) + int(leak_days)
    for code, asked, day in (
        (SETTLING, unsettled, settles),
        (RETIGHTENING, loose, retightens),
        (LEAK_NEARBY, leaked, answers),
        (RECALL, ~np.isnat(recall_on), _days(recall_on)),
    ):
        earlier = asked & (day < on)
        on, reason = np.where(earlier, day, on), np.where(earlier, np.int16(code), reason)

    unknown = found.started_by == NOTHING
    on, reason = np.where(unknown, today, on), np.where(unknown, np.int16(NO_RECORD), reason)
    return Due(on.astype("datetime64[D]"), reason, leak_on)


def leak_nearby(joints: JointColumns, last: Days, leaks: NearbyLeaks, policy: LeakNearbyPolicy, as_of: date) -> Dates:
    """Return the earliest leak since each joint's clock started of another joint near it on its line; or NaT."""
    earliest = np.full(len(joints), _NO_DAY)
    if policy.enabled and len(leaks.joint_id):
        observed = _days(leaks.observed_on)
        for pairs in pairs_on_lines(joints.line_id, leaks.line_id):
            joint, leak = pairs.joint, pairs.place
            square = (joints.east_m[joint] - leaks.east_m[leak]) ** 2
            square += (joints.north_m[joint] - leaks.north_m[leak]) ** 2
            counts = (
                (square <= policy.distance_m**2)
                & (joints.joint_id[joint] != leaks.joint_id[leak])
                & (observed[leak] > last[joint])
                & (observed[leak] <= _day(as_of))
            )
            first = np.minimum.reduceat(np.where(counts, observed[leak], _NO_DAY), pairs.starts)
            earliest[joint[pairs.starts]] = first
    return np.where(earliest == _NO_DAY, _NEVER, earliest).astype("datetime64[D]")


def years_since(last: Days, as_of: date) -> Floats:
    """Years from each clock's start to a date.

    t = max(0, date - last) / 365.25

    Parameters
    ----------
    last : ndarray of int, shape (n,) [day since 1970-01-01]
    as_of : date

    Returns
    -------
    ndarray, shape (n,) [year]
        Never below 0: a clock that starts after the date has not begun to run.

    References
    ----------
    Own method: a year of 365.25 days throughout, so that intervals and rates agree.

    Examples
    --------
    >>> years_since(np.array([0, 1461]), date(1972, 1, 1))
    array([1.99863107, 0.        ])
    """
    return np.maximum(_day(as_of) - last, 0) / DAYS_PER_YEAR


def _days(dates: Dates) -> Days:
    return dates.astype("datetime64[D]").view(np.int64)


def _day(when: date) -> int:
    return (when - date(1970, 1, 1)).days


def _whole_days(days: Floats) -> Days:
    return np.floor(np.clip(np.nan_to_num(days), 0.0, _LONGEST_DAYS)).astype(np.int64)
