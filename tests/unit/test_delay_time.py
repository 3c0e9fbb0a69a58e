"""The delay-time formulas at their edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.risk.delay_time import leak_fraction, leak_rate_now, longest_delay_span

fractions = st.floats(1e-12, 1 - 1e-9)
chances = st.floats(1e-3, 1.0)


@given(fraction=fractions, p=chances)
def test_the_inverse_comes_back_to_the_fraction(fraction: float, p: float) -> None:
    assert float(leak_fraction(longest_delay_span(fraction, p), p)) == pytest.approx(fraction, rel=1e-9)


@given(low=fractions, high=fractions, p=chances)
def test_a_greater_tolerance_never_shortens_the_span(low: float, high: float, p: float) -> None:
    low, high = sorted((low, high))
    spans = longest_delay_span([low, high], p)
    assert spans[0] <= spans[1] * (1 + 1e-9)


@given(fraction=fractions, low=chances, high=chances)
def test_a_better_check_never_shortens_the_span(fraction: float, low: float, high: float) -> None:
    low, high = sorted((low, high))
    spans = longest_delay_span(fraction, [low, high])
    assert spans[0] <= spans[1] * (1 + 1e-9)


def test_the_series_meets_the_closed_form_where_they_change_over() -> None:
    below, above = np.nextafter(0.5, 0), np.nextafter(0.5, 1)
    for p in (1.0, 0.5, 0.01):
        at = leak_fraction([below, 0.5, above], p)
        np.testing.assert_allclose(at, at[1], rtol=1e-14)


def test_a_tiny_span_keeps_its_digits() -> None:
    span = np.array([1e-15, 1e-12, 1e-9, 1e-6])
    np.testing.assert_allclose(leak_fraction(span, 1.0), span / 2 - span**2 / 6, rtol=1e-12)
    np.testing.assert_allclose(leak_fraction(span, 0.9), span * (0.5 + 0.1 / 0.9), rtol=1e-5)


def test_edges() -> None:
    np.testing.assert_array_equal(leak_fraction([0.0, np.inf], 0.9), [0.0, 1.0])
    assert np.isnan(leak_fraction([np.nan, -1.0], 0.9)).all()
    np.testing.assert_array_equal(
        longest_delay_span([-1.0, 0.0, 1.0, 7.0, np.inf], 0.9), [0, 0, np.inf, np.inf, np.inf]
    )
    assert np.isnan(longest_delay_span(np.nan, 0.9))
    assert longest_delay_span([], []).shape == (0,)


def test_the_rate_grows_while_a_check_is_overdue_and_before_the_start_it_is_that_of_the_start() -> None:
    years = np.array([-3.0, 0.0, 0.5, 1.0, 10.0])
    fresh = leak_rate_now(0.01, 1.0, years)
    assert fresh[0] == fresh[1] == 0.0
    assert (np.diff(fresh[1:]) > 0).all()
    carried = leak_rate_now(0.01, 1.0, years, 0.001)
    assert carried[1] == pytest.approx(0.001)
    assert (np.diff(carried[1:]) > 0).all()
