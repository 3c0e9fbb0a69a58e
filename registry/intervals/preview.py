"""What a policy draft would change: intervals, workload by month, joints beyond checking. Pure; nothing is written."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.intervals.model import Scores

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Dates = NDArray[np.datetime64]

MONTHS = 24
MOST_JOINTS_LISTED = 50


@dataclass(frozen=True, slots=True)
class FamilyChange:
    """The intervals of one joint family under the published policy and under the draft."""

    family: str
    joints: int
    shorter: int
    longer: int
    median_interval_days_now: float
    median_interval_days_then: float


@dataclass(frozen=True, slots=True)
class MonthLoad:
    """Checks that fall due in one month, and their hours, under the published policy and under the draft."""

    month: str
    checks_now: int
    checks_then: int
    hours_now: float
    hours_then: float


@dataclass(frozen=True, slots=True)
class JointChange:
    """One joint whose interval the draft moves, or that it puts beyond checking."""

    joint_id: int
    tag: str
    interval_days_now: float
    interval_days_then: float
    due_on_now: date
    due_on_then: date
    beyond_checking_now: bool
    beyond_checking_then: bool


@dataclass(frozen=True, slots=True)
class DraftPreview:
    """What a draft would change on a day. Lists of joints are cut at MOST_JOINTS_LISTED, the counts are whole."""

    published_version: int
    as_of: date
    joints: int
    shorter: int
    longer: int
    overdue_now: int
    overdue_then: int
    beyond_checking_now: int
    beyond_checking_then: int
    families: tuple[FamilyChange, ...]
    months: tuple[MonthLoad, ...]
    most_changed: tuple[JointChange, ...]
    newly_beyond_checking: tuple[JointChange, ...]


def checks_by_month(
    due_on: Dates, interval_days: Floats, minutes: Floats, as_of: date, months: int
) -> tuple[Whole, Floats]:
    """Checks that fall due in each month, and the minutes that they take.

    due, due + T, due + 2 T, ... for every joint; what is overdue counts on the day itself

    Parameters
    ----------
    due_on : ndarray of dates, shape (n,) [-]
    interval_days : ndarray, shape (n,) [day]
        Taken in whole days, one at least.
    minutes : ndarray, shape (n,) [min]
    as_of : date
        The first month is the rest of this day's month.
    months : int [-]

    Returns
    -------
    tuple of ndarray, shape (months,) [-], [min]

    References
    ----------
    Own method: every check is done on its due date and finds nothing, so that each next one follows after the interval.

    Examples
    --------
    >>> due_on = np.array(["2026-01-20"], "datetime64[D]")
    >>> checks, minutes = checks_by_month(due_on, np.array([15.9]), np.array([30.0]), date(2026, 2, 10), 3)
    >>> checks.tolist(), minutes.tolist()
    ([2, 2, 2], [60.0, 60.0, 60.0])
    """
    today = np.datetime64(as_of, "D")
    first = today.astype("datetime64[M]")
    end = (first + months).astype("datetime64[D]")
    step = np.maximum(np.floor(interval_days), 1.0).astype("timedelta64[D]")
    at = np.maximum(due_on.astype("datetime64[D]"), today)
    checks, taken = np.zeros(months, np.int64), np.zeros(months)
    while len(inside := np.flatnonzero(at < end)):
        at, step, minutes = at[inside], step[inside], minutes[inside]
        month = (at.astype("datetime64[M]") - first).astype(np.int64)
        checks += np.bincount(month, minlength=months)
        taken += np.bincount(month, weights=minutes, minlength=months)
        at = at + step
    return checks, taken


def draft_preview(
    now: Scores,
    then: Scores,
    family_id: NDArray[np.integer],
    family_codes: Mapping[int, str],
    version: int,
    as_of: date,
) -> DraftPreview:
    """Compare the scores of the same joints under the published policy and under a draft; the caller adds the tags."""
    ratio = then.interval_days / now.interval_days
    shorter, longer = ratio < 1 - 1e-9, ratio > 1 + 1e-9
    today = np.datetime64(as_of, "D")
    most = np.argsort(-np.abs(np.log(ratio)), kind="stable")[:MOST_JOINTS_LISTED]
    newly = np.flatnonzero(then.beyond_checking & ~now.beyond_checking)
    newly = newly[np.argsort(-then.risk_now[newly], kind="stable")][:MOST_JOINTS_LISTED]
    return DraftPreview(
        published_version=version,
        as_of=as_of,
        joints=len(now),
        shorter=int(shorter.sum()),
        longer=int(longer.sum()),
        overdue_now=int((now.due_on < today).sum()),
        overdue_then=int((then.due_on < today).sum()),
        beyond_checking_now=int(now.beyond_checking.sum()),
        beyond_checking_then=int(then.beyond_checking.sum()),
        families=tuple(
            _family(family_codes.get(number, "?"), family_id == number, now, then, shorter, longer)
            for number in np.unique(family_id).tolist()
        ),
        months=_months(now, then, as_of),
        most_changed=tuple(_joint(at, now, then) for at in most.tolist() if shorter[at] or longer[at]),
        newly_beyond_checking=tuple(_joint(at, now, then) for at in newly.tolist()),
    )


def _family(
    code: str,
    of_family: NDArray[np.bool_],
    now: Scores,
    then: Scores,
    shorter: NDArray[np.bool_],
    longer: NDArray[np.bool_],
) -> FamilyChange:
    return FamilyChange(
        family=code,
        joints=int(of_family.sum()),
        shorter=int((shorter & of_family).sum()),
        longer=int((longer & of_family).sum()),
        median_interval_days_now=float(np.median(now.interval_days[of_family])),
        median_interval_days_then=float(np.median(then.interval_days[of_family])),
    )


def _months(now: Scores, then: Scores, as_of: date) -> tuple[MonthLoad, ...]:
    checks_now, minutes_now = checks_by_month(now.due_on, now.interval_days, now.check_minutes, as_of, MONTHS)
    checks_then, minutes_then = checks_by_month(then.due_on, then.interval_days, then.check_minutes, as_of, MONTHS)
    first = np.datetime64(as_of, "M")
    return tuple(
        MonthLoad(
            str(first + at),
            int(checks_now[at]),
            int(checks_then[at]),
            float(minutes_now[at] / 60.0),
            float(minutes_then[at] / 60.0),
        )
        for at in range(MONTHS)
    )


def _joint(at: int, now: Scores, then: Scores) -> JointChange:
    def day(value: Any) -> date:
        return value.astype("datetime64[D]").astype("O")

    return JointChange(
        joint_id=int(now.joint_id[at]),
        tag="",
        interval_days_now=float(now.interval_days[at]),
        interval_days_then=float(then.interval_days[at]),
        due_on_now=day(now.due_on[at]),
        due_on_then=day(then.due_on[at]),
        beyond_checking_now=bool(now.beyond_checking[at]),
        beyond_checking_then=bool(then.beyond_checking[at]),
    )
