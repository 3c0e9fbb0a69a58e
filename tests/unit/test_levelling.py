"""Levelling: never over the hours, never late without need, and no earlier than that asks."""

import time
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.planning.levelling import UNPLACED, levelled_weeks, urgency_order

checks = st.lists(st.tuples(st.integers(-3, 9), st.floats(5.0, 90.0)), min_size=1, max_size=60)


def placed(rows: list[tuple[int, float]], weeks: int, hours: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = sorted(rows, key=lambda row: row[0])
    due = np.array([row[0] for row in rows])
    minutes = np.array([row[1] for row in rows])
    return due, minutes, levelled_weeks(due, minutes, weeks, hours * 60)


@given(checks, st.integers(1, 12), st.floats(0.2, 12.0))
def test_no_week_takes_more_than_its_hours(rows: list[tuple[int, float]], weeks: int, hours: float) -> None:
    _, minutes, week = placed(rows, weeks, hours)
    used = np.bincount(week[week >= 0], weights=minutes[week >= 0], minlength=weeks)
    assert (used <= hours * 60 + 1e-3).all()


@given(checks, st.floats(1.6, 12.0))
def test_nothing_is_late_when_working_without_a_pause_would_keep_everything_in_time(
    rows: list[tuple[int, float]], hours: float
) -> None:
    due, minutes, week = placed(rows, 400, hours)
    assert (week != UNPLACED).all()
    at_once = levelled_weeks(np.full(len(due), -1), minutes, 400, hours * 60)
    late_at_once = at_once > np.maximum(due, 0)
    if not late_at_once.any():
        assert (week <= np.maximum(due, 0)).all()
    # Waiting never costs: whoever is late would have been as late had the crew begun at once.
    late = week > np.maximum(due, 0)
    assert (week[late] <= at_once[late]).all()


@given(checks, st.floats(1.6, 12.0))
def test_the_order_of_urgency_holds_across_weeks(rows: list[tuple[int, float]], hours: float) -> None:
    _, _, week = placed(rows, 400, hours)
    assert (np.diff(week) >= 0).all()


def test_with_room_enough_every_check_stands_in_the_week_it_falls_due() -> None:
    due = np.array([-4, 0, 3, 3, 7])
    week = levelled_weeks(due, np.full(5, 30.0), 8, 600.0)
    assert week.tolist() == [0, 0, 3, 3, 7]


def test_a_peak_is_drawn_forward_no_further_than_it_must() -> None:
    due = np.full(30, 5)
    week = levelled_weeks(due, np.full(30, 60.0), 10, 660.0)
    assert np.bincount(week, minlength=10).tolist() == [0, 0, 0, 10, 10, 10, 0, 0, 0, 0]


def test_what_finds_no_room_is_said() -> None:
    week = levelled_weeks(np.zeros(10, dtype=np.int64), np.full(10, 60.0), 2, 240.0)
    assert week.tolist() == [0] * 4 + [1] * 4 + [UNPLACED] * 2


def test_a_check_longer_than_a_week_stands_aside_and_holds_up_nobody() -> None:
    week = levelled_weeks(np.zeros(3, dtype=np.int64), np.array([30.0, 500.0, 30.0]), 2, 240.0)
    assert week.tolist() == [0, UNPLACED, 0]


def test_disordered_checks_are_refused() -> None:
    with pytest.raises(ValueError, match="order"):
        levelled_weeks(np.array([2, 1]), np.ones(2), 4, 60.0)


@settings(max_examples=40)
@given(st.lists(st.integers(0, 2), min_size=1, max_size=6))
def test_small_cases_are_as_seldom_late_as_any_arrangement(due_weeks: list[int]) -> None:
    due = np.array(sorted(due_weeks))
    week = levelled_weeks(due, np.full(len(due), 60.0), 3, 120.0)
    lateness = np.where(week == UNPLACED, 3, week) - due
    best = min(
        max(w - d for w, d in zip(choice, due, strict=True))
        for choice in product(range(4), repeat=len(due))
        if all(choice.count(w) <= 2 for w in range(3))
    )
    assert max(lateness.max(), 0) == max(best, 0)


def test_order_is_due_date_then_risk_then_number() -> None:
    order = urgency_order(np.array([9, 3, 3, 3]), np.array([9.0, 1.0, 5.0, 1.0]), np.array([1, 4, 3, 2]))
    assert order.tolist() == [2, 3, 1, 0]


def test_a_million_checks_are_levelled_in_seconds() -> None:
    rng = np.random.default_rng(7)
    due = rng.integers(-100, 365, 1_000_000)
    risk = rng.random(1_000_000)
    minutes = rng.uniform(5, 60, 1_000_000)
    began = time.perf_counter()
    order = urgency_order(due, risk, np.arange(1_000_000))
    week = levelled_weeks(due[order] // 7, minutes[order], 52, 400_000.0)
    assert time.perf_counter() - began < 3.0
    assert (week != UNPLACED).any()
