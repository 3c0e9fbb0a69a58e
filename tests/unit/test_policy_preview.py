"""Workload by month, against a walk from check to check."""

from datetime import date, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from registry.intervals.preview import checks_by_month

DAY = date(2026, 1, 1)
joints = st.lists(
    st.tuples(st.integers(-900, 900), st.floats(0.5, 800.0), st.floats(1.0, 90.0)), min_size=1, max_size=20
)


@given(joints, st.integers(0, 400), st.integers(1, 30))
def test_checks_by_month_count_what_a_walk_counts(
    rows: list[tuple[int, float, float]], later: int, months: int
) -> None:
    as_of = DAY + timedelta(days=later)
    checks, minutes = checks_by_month(
        np.array([np.datetime64(DAY + timedelta(days=row[0])) for row in rows]),
        np.array([row[1] for row in rows]),
        np.array([row[2] for row in rows]),
        as_of,
        months,
    )
    counted, taken = [0] * months, [0.0] * months
    for due, interval, each in rows:
        at = max(DAY + timedelta(days=due), as_of)
        while (month := (at.year - as_of.year) * 12 + at.month - as_of.month) < months:
            counted[month] += 1
            taken[month] += each
            at += timedelta(days=max(int(interval), 1))
    assert checks.tolist() == counted
    assert np.allclose(minutes, taken)


def test_nobody_is_due_where_there_are_no_joints() -> None:
    nothing = np.empty(0)
    checks, minutes = checks_by_month(np.empty(0, "datetime64[D]"), nothing, nothing, DAY, 3)
    assert checks.tolist() == [0, 0, 0]
    assert minutes.tolist() == [0.0, 0.0, 0.0]
