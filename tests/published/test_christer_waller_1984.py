"""Christer and Waller, J. Opl Res. Soc. 35:401-406, 1984: the fraction of defects that become leaks, exponential delay.

With imperfect inspection as in Baker and Wang 1991; both citations from memory.
Held against the table of the closed form, against the published series, against a seeded simulation of the inspection
process and against numerical integration.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from registry.risk.delay_time import defects_missed, leak_fraction, leak_rate_now, longest_delay_span

P = [1.0, 0.9, 0.7, 0.5, 0.3]
TABLE = {
    0.05: [0.024588, 0.029846, 0.044559, 0.069948, 0.124247],
    0.1: [0.048374, 0.058331, 0.085664, 0.131064, 0.221285],
    0.25: [0.115203, 0.136428, 0.191818, 0.275469, 0.416412],
    0.5: [0.213061, 0.246024, 0.326614, 0.435267, 0.589729],
    1: [0.367879, 0.409363, 0.502623, 0.612700, 0.744592],
    2: [0.567668, 0.605563, 0.684560, 0.768145, 0.856727],
    5: [0.801348, 0.821092, 0.860662, 0.900338, 0.940122],
    10: [0.900005, 0.910004, 0.930002, 0.950001, 0.970000],
}
CASES = [  # delay rate a year, interval in years, detection
    (1.0, 0.5, 1.0),
    (1.0, 0.5, 0.7),
    (2.0, 1.0, 0.8),
    (0.5, 1.0, 0.5),
    (0.2, 0.5, 0.3),
    (1.0, 5.0, 0.9),
    (0.1, 1.0, 0.9),
    (3.0, 1.0, 0.6),
]


@pytest.mark.parametrize("span", TABLE)
def test_table(span: float) -> None:
    np.testing.assert_allclose(leak_fraction(span, P), TABLE[span], atol=0.5e-6, rtol=0)


@pytest.mark.parametrize(
    ("fraction", "p", "span"),
    [
        (0.05, 1.0, 0.103479),
        (0.1, 1.0, 0.214556),
        (0.2, 1.0, 0.464213),
        (0.3, 1.0, 0.761434),
        (0.5, 1.0, 1.593624),
        (0.8, 1.0, 4.965114),
        (0.2, 0.7, 0.263029),
        (0.5, 0.7, 0.990315),
    ],
)
def test_inverse(fraction: float, p: float, span: float) -> None:
    assert float(longest_delay_span(fraction, p)) == pytest.approx(span, abs=0.5e-6)


@pytest.mark.parametrize(("g", "interval", "p"), CASES)
def test_published_series(g: float, interval: float, p: float) -> None:
    # b = 1 - (1/T) int_0^T sum_n p (1-p)^(n-1) exp(-g (nT - u)) du, each integral done in closed form
    n = np.arange(1, 4000)
    caught = p * (1 - p) ** (n - 1) * (np.exp(-g * (n - 1) * interval) - np.exp(-g * n * interval)) / (g * interval)
    assert float(leak_fraction(g * interval, p)) == pytest.approx(1 - caught.sum(), rel=1e-10)


@pytest.mark.parametrize(("seed", "case"), list(enumerate(CASES)))
def test_simulated_inspections(seed: int, case: tuple[float, float, float]) -> None:
    g, interval, p = case
    generator = np.random.default_rng(1000 + seed)
    defects = 400_000
    started = generator.uniform(0.0, interval, defects)
    leaks_at = started + generator.exponential(1 / g, defects)
    found_at = generator.geometric(p, defects) * interval
    expected = float(leak_fraction(g * interval, p))
    error = np.sqrt(expected * (1 - expected) / defects)
    # Four standard errors: one run in two thousand of these eight would fail by chance, and the seed is fixed.
    assert abs(np.mean(leaks_at < found_at) - expected) < 4 * error


@pytest.mark.parametrize(("g", "interval", "p"), CASES)
def test_mean_of_the_rate_between_checks_is_the_leak_frequency(g: float, interval: float, p: float) -> None:
    rate = 0.01
    carried = float(defects_missed(rate, g * interval, g, p))
    leaks = quad(lambda t: float(leak_rate_now(rate, g, t, carried)), 0.0, interval, epsabs=1e-14, epsrel=1e-12)[0]
    assert leaks / interval == pytest.approx(rate * float(leak_fraction(g * interval, p)), rel=1e-10)


@pytest.mark.parametrize(("g", "interval", "p"), CASES)
def test_balance_of_defects_settles_where_it_is_said_to(g: float, interval: float, p: float) -> None:
    rate, missed = 0.01, 0.0
    for _ in range(5000):
        present = rate * (1 - np.exp(-g * interval)) / g + missed * np.exp(-g * interval)
        missed = (1 - p) * present
    assert float(defects_missed(rate, g * interval, g, p)) == pytest.approx(missed, rel=1e-9)
