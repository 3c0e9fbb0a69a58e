"""Due checks laid into weeks within the crew's hours: late only when they must be, early only when that helps."""

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]

UNPLACED = -1
"""The week of a check that did not fit into the horizon."""

_ROUNDING_MINUTES = 1e-6


def urgency_order(due_day: IntArray, risk: FloatArray, joint_id: IntArray) -> IntArray:
    """Positions of the checks, earliest due first and riskiest first among equals; the joint's number breaks a tie.

    >>> urgency_order(np.array([5, 3, 3]), np.array([1.0, 1.0, 2.0]), np.array([1, 2, 3])).tolist()
    [2, 1, 0]
    """
    return np.lexsort((joint_id, -risk, due_day))


def levelled_weeks(due_week: IntArray, minutes: FloatArray, weeks: int, minutes_per_week: float) -> IntArray:
    """Week of each check, for checks already in order of urgency.

    A check stands in the week it falls due, unless that week is full: then as little earlier as keeps it, and those
    behind it, in time; and only when no earlier week is left, as little late as the hours allow. With W(i) the
    minutes of the first i checks and D(j) the crew's minutes up to the end of j's due week,

        latest start of i = W(i-1) + min over j >= i of (D(j) - W(j))

    and each week takes, in order, the checks that cannot wait for the next, as far as its minutes go.

    Parameters
    ----------
    due_week : ndarray of int, shape (n,)
        Week of the due date, counted from the first week of the horizon, not decreasing [week]. Negative is overdue.
    minutes : ndarray, shape (n,)
        Time at the joint [min].
    weeks : int
        Length of the horizon [week].
    minutes_per_week : float
        What the crew has in one week [min].

    Returns
    -------
    ndarray of int, shape (n,)
        Week counted from the first of the horizon [week], or `UNPLACED`: no room left, or longer than a whole week.

    Raises
    ------
    ValueError
        If the checks are not in order of due week.

    References
    ----------
    Own method. The backward pass is the latest start of a single queue in due-date order, the order in which the
    greatest lateness of one crew is least. It looks at time at the joint alone: no walking, area, outage or skill.
    A check in the week of its due date counts as in time, whatever the weekday.

    Examples
    --------
    Two hours a week, an hour a check: the one overdue comes first, and one of the three of week 1 is drawn forward.

    >>> levelled_weeks(np.array([-2, 1, 1, 1]), np.full(4, 60.0), 4, 120.0).tolist()
    [0, 0, 1, 1]
    """
    if np.any(np.diff(due_week) < 0):
        raise ValueError("the checks are not in order of due week")
    placed = np.full(len(due_week), UNPLACED, dtype=np.int64)
    possible = np.flatnonzero(minutes <= minutes_per_week)
    if len(possible) == 0:
        return placed
    done = np.cumsum(minutes[possible])
    begun = done - minutes[possible]
    # A week takes whole checks, so it can fall short of its hours by less than the longest check. Counting on that
    # much less when looking back from the due dates keeps the rounding from making anything late.
    counted = minutes_per_week - float(np.max(minutes[possible]))
    slack = (np.maximum(due_week[possible], 0) + 1) * counted - done
    latest_start = begun + np.minimum.accumulate(slack[::-1])[::-1]
    order_week = np.full(len(possible), UNPLACED, dtype=np.int64)
    first = 0
    for week in range(weeks):
        cannot_wait = int(np.searchsorted(latest_start, (week + 1) * counted - _ROUNDING_MINUTES, side="left"))
        if first >= len(possible):
            break
        fits = int(np.searchsorted(done, begun[first] + minutes_per_week + _ROUNDING_MINUTES, side="right"))
        end = max(min(fits, cannot_wait), first)
        order_week[first:end] = week
        first = end
    placed[possible] = order_week
    return placed
