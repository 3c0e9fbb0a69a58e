"""What crews and outages come to by week: counted by hand, and against a walk through the days one by one."""

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.crews.calendar import capacity_minutes, day_minutes, outage_weeks, working_days
from registry.crews.model import Crew, CrewAbsence, Outage

MONDAY = date(2026, 3, 2)
USUAL = (420.0, 420.0, 420.0, 420.0, 360.0, 0.0, 0.0)
WEEK = sum(USUAL)


def crew(
    crew_id: int = 1,
    minutes: tuple[float, ...] = USUAL,
    from_on: date | None = None,
    until_on: date | None = None,
) -> Crew:
    return Crew(
        crew_id, f"Crew {crew_id}", (), minutes, time(7), from_on, until_on, 1, datetime(2026, 1, 1, tzinfo=UTC)
    )


def away(from_on: date, until_on: date | None = None, crew_id: int = 1) -> CrewAbsence:
    return CrewAbsence(1, crew_id, from_on, until_on or from_on, "away")


def outage(from_on: date, until_on: date, *area_ids: int) -> Outage:
    return Outage(1, "Overhaul", from_on, until_on, area_ids, 1)


def test_a_week_has_the_hours_of_its_weekdays() -> None:
    weekend = crew(2, (0.0,) * 5 + (240.0, 240.0))
    found = capacity_minutes([crew(), weekend], [], MONDAY, 3)
    assert found.tolist() == [[WEEK] * 3, [480.0] * 3]
    assert capacity_minutes([], [], MONDAY, 3).shape == (0, 3)


def test_days_off_are_off_whole_and_only_for_whom_they_are() -> None:
    absences = [
        away(date(2026, 3, 6)),  # Friday
        away(date(2026, 3, 5), date(2026, 3, 6)),  # over it: a day is off once
        away(date(2026, 3, 14), date(2026, 3, 17)),  # Saturday to Tuesday
        away(MONDAY, date(2026, 3, 31), crew_id=9),
    ]
    found = capacity_minutes([crew()], absences, MONDAY, 4)
    assert found.tolist() == [[WEEK - 420 - 360, WEEK, WEEK - 840, WEEK]]
    assert working_days(crew(), absences, MONDAY) == (date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 4))


def test_a_crew_counts_from_its_first_day_to_its_last() -> None:
    starts_on_wednesday, ends_on_tuesday = date(2026, 3, 4), date(2026, 3, 17)
    found = capacity_minutes([crew(from_on=starts_on_wednesday, until_on=ends_on_tuesday)], [], MONDAY, 4)
    assert found.tolist() == [[WEEK - 840, WEEK, 840.0, 0.0]]
    assert not capacity_minutes([crew(until_on=date(2026, 3, 1))], [], MONDAY, 2).any()


@pytest.mark.parametrize(
    ("today", "first_two_weeks"),
    [
        (date(2026, 2, 25), [WEEK, WEEK]),
        (MONDAY, [WEEK, WEEK]),
        (date(2026, 3, 5), [420.0 + 360.0, WEEK]),  # Thursday itself still counts
        (date(2026, 3, 8), [0.0, WEEK]),
        (date(2026, 3, 10), [0.0, WEEK - 420]),
        (date(2027, 1, 1), [0.0, 0.0]),
    ],
)
def test_days_that_are_gone_do_not_count(today: date, first_two_weeks: list[float]) -> None:
    assert capacity_minutes([crew()], [], MONDAY, 2, today=today).tolist() == [first_two_weeks]


def test_an_outage_opens_every_week_that_it_touches() -> None:
    sunday_to_monday = outage(date(2026, 3, 8), date(2026, 3, 9), 4)
    assert outage_weeks([sunday_to_monday], 4, MONDAY, 3).tolist() == [True, True, False]
    assert not outage_weeks([sunday_to_monday], 5, MONDAY, 3).any()
    long = outage(date(2026, 1, 1), date(2027, 1, 1), 4)
    assert outage_weeks([long], 4, MONDAY, 3).all()
    over = outage(date(2026, 2, 1), date(2026, 3, 1), 4)
    assert not outage_weeks([over], 4, MONDAY, 3).any()


def test_an_outage_of_the_whole_site_reaches_every_place() -> None:
    everywhere = outage(date(2026, 3, 18), date(2026, 3, 18))
    assert outage_weeks([everywhere], 7, MONDAY, 3).tolist() == [False, False, True]
    assert outage_weeks([everywhere, outage(MONDAY, MONDAY, 4)], 0, MONDAY, 3).tolist() == [False, False, True]


DAYS = st.integers(-20, 60).map(lambda number: MONDAY + timedelta(days=number))
SPANS = st.tuples(DAYS, DAYS).map(lambda days: (min(days), max(days)))


@settings(max_examples=30)
@given(
    starts_on=DAYS,
    minutes=st.lists(st.sampled_from((0.0, 90.0, 420.0)), min_size=7, max_size=7),
    bounds=st.tuples(st.none() | DAYS, st.none() | DAYS),
    spans=st.lists(SPANS, max_size=3),
    today=st.none() | DAYS,
)
def test_every_day_is_counted_as_a_person_would(
    starts_on: date,
    minutes: list[float],
    bounds: tuple[date | None, date | None],
    spans: list[tuple[date, date]],
    today: date | None,
) -> None:
    someone = crew(1, tuple(minutes), *bounds)
    absences = [away(*span) for span in spans]
    by_day = []
    for number in range(28):
        day = starts_on + timedelta(days=number)
        there = (bounds[0] is None or bounds[0] <= day) and (bounds[1] is None or day <= bounds[1])
        there = there and not any(first <= day <= last for first, last in spans)
        by_day.append(minutes[day.weekday()] if there else 0.0)
    assert day_minutes(someone, absences, starts_on, 28).tolist() == by_day
    left = [0.0 if today and starts_on + timedelta(days=at) < today else value for at, value in enumerate(by_day)]
    expected = np.reshape(left, (4, 7)).sum(axis=1)
    assert capacity_minutes([someone], absences, starts_on, 4, today=today)[0].tolist() == expected.tolist()
