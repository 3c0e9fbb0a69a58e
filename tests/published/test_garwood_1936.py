"""F. Garwood, 'Fiducial limits for the Poisson distribution', Biometrika 28 (1936), 437-442: two-sided 95 % limits of
a count.

The figures are those of the usual textbook table, recomputed with SciPy 1.17.1 (chi-squared quantiles) and with
statsmodels 0.15.0 (`confint_poisson(method='exact-c')`), which agree.
"""

import numpy as np
import pytest
from scipy.stats import chi2, poisson

from registry.leaks.rates import poisson_lower_limit, poisson_upper_limit

COUNTS = [0, 1, 2, 3, 5, 10, 20]


def test_lower_limits_as_printed() -> None:
    printed = [0.0, 0.0253, 0.2422, 0.6187, 1.6235, 4.7954, 12.2165]
    assert poisson_lower_limit(COUNTS) == pytest.approx(printed, abs=0.5e-4)


def test_upper_limits_as_printed() -> None:
    printed = [3.6889, 5.5716, 7.2247, 8.7673, 11.6683, 18.3904, 30.8884]
    assert poisson_upper_limit(COUNTS) == pytest.approx(printed, abs=0.5e-4)


def test_one_sided_limit_of_nothing_seen_is_not_the_two_sided_one() -> None:
    assert poisson_upper_limit([0], confidence=0.90) == pytest.approx([2.9957], abs=0.5e-4)


def test_three_leaks_in_120_joint_years() -> None:
    assert poisson_lower_limit([3]) / 120 == pytest.approx([0.00515560], abs=0.5e-8)
    assert poisson_upper_limit([3]) / 120 == pytest.approx([0.07306061], abs=0.5e-8)


def test_no_leak_in_250_joint_years() -> None:
    assert poisson_upper_limit([0]) / 250 == pytest.approx([0.01475552], abs=0.5e-8)


def test_equal_to_the_chi_squared_quantiles_of_scipy_up_to_100_000_events() -> None:
    events = np.array([1, 2, 7, 40, 1000, 100_000])
    assert poisson_lower_limit(events) == pytest.approx(chi2.ppf(0.025, 2 * events) / 2, rel=1e-10)
    assert poisson_upper_limit(events) == pytest.approx(chi2.ppf(0.975, 2 * events + 2) / 2, rel=1e-10)


def test_each_limit_leaves_its_tail() -> None:
    events = np.array([1, 3, 12])
    assert poisson.sf(events - 1, poisson_lower_limit(events)) == pytest.approx(0.025, abs=1e-9)
    assert poisson.cdf(events, poisson_upper_limit(events)) == pytest.approx(0.025, abs=1e-9)
