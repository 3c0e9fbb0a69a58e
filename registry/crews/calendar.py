"""What crews and outages come to, day by day and week by week."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from registry.crews.model import Crew, CrewAbsence, Outage

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
DAYS_OF_A_WEEK = 7


def day_minutes(crew: Crew, absences: Iterable[CrewAbsence], starts_on: date, days: int) -> Floats:
    """A crew's net time at the joints on each of so many days from `starts_on` [min], shape (days,).

    Nothing before its first and after its last day, and nothing on a day within one of its absences; those of other
    crews may stand among them.
    """
    weekday = (starts_on.weekday() + np.arange(days)) % DAYS_OF_A_WEEK
    minutes = np.asarray(crew.minutes_by_weekday, dtype=np.float64)[weekday]
    there = _days_within(crew.from_on, crew.until_on, starts_on, days)
    for absence in absences:
        if absence.crew_id == crew.crew_id:
            there &= ~_days_within(absence.from_on, absence.until_on, starts_on, days)
    return np.where(there, minutes, 0.0)


def capacity_minutes(
    crews: Sequence[Crew],
    absences: Iterable[CrewAbsence],
    starts_on: date,
    weeks: int,
    *,
    today: date | None = None,
) -> Floats:
    """Each crew's net time at the joints in each of so many weeks from `starts_on` [min], shape (crews, weeks).

    A week is the seven days from its first one; whatever of them lies before `today` (if given) is gone and does not
    count.

    >>> from datetime import datetime, time
    >>> pair = Crew(1, "Pair", (), (300.0,) * 5 + (0.0, 0.0), time(7), None, None, 1, datetime(2026, 1, 1))
    >>> friday_off = CrewAbsence(1, 1, date(2026, 3, 13), date(2026, 3, 13), "shut")
    >>> capacity_minutes([pair], [friday_off], date(2026, 3, 2), 2, today=date(2026, 3, 4))
    array([[ 900., 1200.]])
    """
    days = weeks * DAYS_OF_A_WEEK
    gone = 0 if today is None else min(max((today - starts_on).days, 0), days)
    absences = list(absences)
    minutes = np.zeros((len(crews), days))
    for row, crew in enumerate(crews):
        minutes[row] = day_minutes(crew, absences, starts_on, days)
    minutes[:, :gone] = 0.0
    return minutes.reshape(len(crews), weeks, DAYS_OF_A_WEEK).sum(axis=2)


def outage_weeks(outages: Iterable[Outage], area_id: int, starts_on: date, weeks: int) -> Flags:
    """In which of so many weeks from `starts_on` an outage shuts an area down on some day, shape (weeks,).

    `area_id` 0 is a place in no area: only an outage of the whole site reaches it.
    """
    days = weeks * DAYS_OF_A_WEEK
    shut = np.zeros(days, dtype=np.bool_)
    for outage in outages:
        if not outage.area_ids or area_id in outage.area_ids:
            shut |= _days_within(outage.from_on, outage.until_on, starts_on, days)
    return np.asarray(shut.reshape(weeks, DAYS_OF_A_WEEK).any(axis=1), dtype=np.bool_)


def working_days(crew: Crew, absences: Iterable[CrewAbsence], week_starting_on: date) -> tuple[date, ...]:
    """The days of a week on which a crew is there."""
    minutes = day_minutes(crew, absences, week_starting_on, DAYS_OF_A_WEEK)
    return tuple(week_starting_on + timedelta(days=int(day)) for day in np.flatnonzero(minutes > 0))


def _days_within(from_on: date | None, until_on: date | None, starts_on: date, days: int) -> Flags:
    """Which of so many days from `starts_on` lie from one day to another, both within; None is no end."""
    day = np.arange(days)
    first = -1 if from_on is None else (from_on - starts_on).days
    last = days if until_on is None else (until_on - starts_on).days
    return (first <= day) & (day <= last)
