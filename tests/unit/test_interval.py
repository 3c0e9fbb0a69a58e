"""How long a joint may be left alone, and what says so."""

from dataclasses import replace

import numpy as np
import pytest

from registry.intervals.bolt_load import days_until_fraction, load_fraction
from registry.intervals.interval import interval
from registry.intervals.model import DAYS_PER_YEAR, LIMITS
from registry.intervals.scores import scores
from registry.risk.delay_time import leak_fraction
from tests.unit.some_joints import AS_OF, POLICY, inputs_of, policy_with, scores_of, some_joints


def test_the_interval_comes_back_to_the_tolerance() -> None:
    generator = np.random.default_rng(11)
    count = 20_000
    rate, delay = 10 ** generator.uniform(-4, 1, count), 10 ** generator.uniform(-2, 2, count)
    detection, tolerable = generator.uniform(0.05, 1.0, count), 10 ** generator.uniform(-4, -1, count)
    never, always = np.zeros(count), np.full(count, 1e12)
    found = interval(rate, delay, detection, tolerable, never, always, np.full(count, np.nan))
    held = np.isfinite(found.by_risk_days)
    leaks = rate * leak_fraction(delay * found.by_risk_days / DAYS_PER_YEAR, detection)
    np.testing.assert_allclose(leaks[held], tolerable[held], rtol=1e-9)
    np.testing.assert_array_equal(~held, tolerable >= rate)


def test_a_common_tube_fitting_comes_out_as_the_design_says() -> None:
    rate = np.full(3, 0.010)
    found = interval(
        rate, np.ones(3), np.full(3, 0.9), np.array([0.001, 0.002, 0.004]), np.zeros(3), rate + 1e9, rate * np.nan
    )
    months = found.days / DAYS_PER_YEAR * 12
    assert months[0] == pytest.approx(2, abs=0.3)
    assert months[1] == pytest.approx(5, abs=0.5)
    assert months[2] == pytest.approx(12, abs=0.6)


def test_floor_cap_and_override_say_so() -> None:
    rate = np.array([1.0, 0.010, 0.010, 0.010])
    tolerable = np.array([0.001, 0.002, 0.02, 0.002])
    override = np.array([np.nan, np.nan, np.nan, 400.0])
    found = interval(rate, np.ones(4), np.full(4, 0.9), tolerable, np.full(4, 14.0), np.full(4, 730.5), override)
    assert [LIMITS[code] for code in found.limit] == ["floor", "risk", "cap", "override"]
    assert found.days[[0, 2, 3]].tolist() == [14.0, 730.5, 400.0]
    assert found.beyond_checking.tolist() == [True, False, False, False]


def test_an_override_does_not_hide_that_a_joint_is_beyond_checking() -> None:
    shaken = {"vibration_mm_s": 100.0, "vibration_hz": 20.0, "pressure_barg": 150.0}
    assert scores_of(some_joints(**shaken)).beyond_checking[0]
    assert scores_of(some_joints(**shaken, override_days=200.0)).beyond_checking[0]


def test_at_or_above_the_problem_line_a_joint_is_flagged() -> None:
    found = scores_of(some_joints(vibration_mm_s=[23.83, 23.85], vibration_hz=10.0))
    assert found.vibration_action.tolist() == [False, True]


def test_a_family_may_have_limits_of_its_own() -> None:
    families = tuple(
        replace(row, cap_months=(12.0, 12.0, 12.0, 12.0, 6.0)) if row.code == "union" else row
        for row in POLICY.families
    )
    joints = some_joints(family="union", service="nitrogen")
    assert scores_of(joints).interval_days[0] > 366
    assert scores_of(joints, policy_with(families=families)).interval_days[0] == pytest.approx(365.25)


def test_a_family_is_a_row_and_nothing_else() -> None:
    union = POLICY.family("union")
    assert union is not None
    lens = replace(union, code="lens_ring", label="Lens-ring joint", aliases=(), defect_rate_per_year=0.5)
    policy = policy_with(families=(*(row for row in POLICY.families if row.code != "union"), lens))
    joints = some_joints(family="union")
    inputs = replace(inputs_of(joints), family_codes={int(joints.family_id[0]): "lens_ring"})
    assert scores(inputs, policy, AS_OF).base_rate_per_year[0] == 0.5


def test_size_matters_where_the_family_says_so() -> None:
    flanges = scores_of(some_joints(family="flanged", size_mm=[50.0, 100.0, 200.0, np.nan]))
    np.testing.assert_allclose(flanges.base_rate_per_year, 0.006 * np.array([0.5, 1, 2, 1]) ** 0.3)
    fittings = scores_of(some_joints(size_mm=[6.0, 25.0]))
    assert fittings.base_rate_per_year.tolist() == [0.010, 0.010]


def test_bolt_load_falls_to_the_fraction_after_the_days_said() -> None:
    loss, first = np.array([0.02, 0.05, 0.1]), np.array([1.0, 0.5, 2.0])
    days = days_until_fraction(0.8, loss, first)
    held = days < 1e6
    np.testing.assert_allclose(load_fraction(days, loss, first)[held], 0.8, rtol=1e-12)
    assert (load_fraction(days, loss, first)[~held] > 0.8).all()
