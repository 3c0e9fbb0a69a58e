"""The invented past follows the process that it claims to follow, so that learning can be held against it."""

from datetime import date

import numpy as np
import pytest

from registry.demo.files import tables_of
from registry.demo.history import (
    DAYS_PER_YEAR,
    NO_RECORD,
    NOT_REACHED,
    RETIGHTENED,
    TIGHT,
    WEEPING,
    History,
    Process,
    simulated_history,
)
from registry.demo.joints import Plant, plant
from registry.demo.process import Life, simulated_life
from registry.demo.schedule import RECORD_DAYS, WARM_UP_DAYS, Schedule
from registry.demo.truth import FAMILY_TRUTH, TRUE_FACTORS, true_base_rates, true_plant_factors, truth_document
from registry.policy.document import default_document, policy_from
from registry.policy.model import Policy

AS_OF = date(2026, 11, 25)
COUNT = 60_000
RATE, DELAY, FOUND, INTERVAL_DAYS = 0.05, 1.0, 0.8, 200.0


def even_history(seed: int = 5) -> History:
    """Joints all alike, checked like clockwork: what theory has an answer for."""
    generator = np.random.default_rng(seed)
    visits = -INTERVAL_DAYS * np.arange(1, int((RECORD_DAYS + WARM_UP_DAYS) / INTERVAL_DAYS) + 1)[::-1]
    # Each joint at its own phase, or the edge of the record would fall on the same place of every interval.
    day = (visits + generator.uniform(0.01, 0.99, (COUNT, 1)) * INTERVAL_DAYS).ravel()
    schedule = Schedule(np.repeat(np.arange(COUNT), len(visits)), day)
    process = Process(
        rate_without_make_up=np.full(COUNT, RATE),
        delay_rate=np.full(COUNT, DELAY),
        detection_probability=np.full(COUNT, FOUND),
        make_up_factor=np.ones(4),
        make_up_state=np.full(COUNT, NO_RECORD),
        consequence_class=np.full(COUNT, 3),
    )
    return simulated_history(process, schedule, generator)


@pytest.fixture(scope="module")
def even() -> History:
    return even_history()


@pytest.fixture(scope="module")
def policy() -> Policy:
    return policy_from(default_document(), 1)


@pytest.fixture(scope="module")
def saltmarsh() -> Plant:
    return plant(60_000, 1, AS_OF)


@pytest.fixture(scope="module")
def life(saltmarsh: Plant, policy: Policy) -> Life:
    return simulated_life(saltmarsh, policy, 1, AS_OF)


def test_defects_found_and_leaks_together_come_at_the_defect_rate(even: History) -> None:
    events = (even.checks.result == RETIGHTENED).sum() + len(even.leaks.joint)
    expected = COUNT * RATE * RECORD_DAYS / DAYS_PER_YEAR
    # Some leaks of the last weeks have not been seen yet, and a repair takes other defects away.
    assert 0.96 * expected < events < expected + 4 * np.sqrt(expected)


def test_the_share_that_leaks_is_the_one_of_the_delay_time_formula(even: History) -> None:
    found, leaked = (even.checks.result == RETIGHTENED).sum(), len(even.leaks.joint)
    g = DELAY * INTERVAL_DAYS / DAYS_PER_YEAR
    share = 1 - FOUND * (1 - np.exp(-g)) / (g * (1 - (1 - FOUND) * np.exp(-g)))
    error = np.sqrt(share * (1 - share) / (found + leaked))
    assert leaked / (found + leaked) == pytest.approx(share, abs=4 * error + 0.008)


def test_nothing_on_record_lies_in_the_future_or_before_the_record(even: History) -> None:
    assert even.checks.day.max() < 0
    assert even.checks.day.min() >= -RECORD_DAYS - 8  # a visit that failed was tried some days earlier
    assert even.leaks.day.max() < 0
    assert even.leaks.day.min() >= -RECORD_DAYS
    assert np.nanmax(even.leaks.repaired_day) < 0
    assert even.remakes.day.max() < 0


def test_everything_is_in_order_of_time(even: History) -> None:
    for day in (even.checks.day, even.leaks.day, even.remakes.day):
        assert (np.diff(day) >= 0).all()


def test_a_repair_comes_after_the_leak_and_a_first_attempt_between_them(even: History) -> None:
    leaks = even.leaks
    repaired = ~np.isnan(leaks.repaired_day)
    assert (leaks.repaired_day[repaired] > leaks.day[repaired]).all()
    tried = ~np.isnan(leaks.first_attempt_day)
    assert tried.any()
    assert (leaks.first_attempt_day[tried] > leaks.day[tried]).all()
    both = tried & repaired
    assert (leaks.first_attempt_day[both] < leaks.repaired_day[both]).all()


def test_no_joint_is_found_tight_while_its_leak_is_open(even: History) -> None:
    sound = np.isin(even.checks.result, [TIGHT, RETIGHTENED])
    days_of: dict[int, list[float]] = {}
    for joint, day in zip(even.checks.joint[sound].tolist(), even.checks.day[sound].tolist(), strict=True):
        days_of.setdefault(joint, []).append(day)
    for joint, seen, done in zip(
        even.leaks.joint.tolist(), even.leaks.day.tolist(), even.leaks.repaired_day.tolist(), strict=True
    ):
        until = 0.0 if np.isnan(done) else done
        assert not any(seen < day <= until for day in days_of.get(joint, []))


def test_a_leak_seen_by_a_check_has_that_check_on_record(even: History) -> None:
    by_check = even.leaks.found_by_check
    leaking = {
        (joint, day)
        for joint, day, result in zip(
            even.checks.joint.tolist(), even.checks.day.tolist(), even.checks.result.tolist(), strict=True
        )
        if result >= WEEPING and result != NOT_REACHED
    }
    assert set(zip(even.leaks.joint[by_check].tolist(), even.leaks.day[by_check].tolist(), strict=True)) == leaking


def test_every_repair_on_record_is_a_make_up(even: History) -> None:
    made = set(zip(even.remakes.joint.tolist(), np.round(even.remakes.day, 6).tolist(), strict=True))
    repaired = ~np.isnan(even.leaks.repaired_day)
    done = zip(
        even.leaks.joint[repaired].tolist(), np.round(even.leaks.repaired_day[repaired], 6).tolist(), strict=True
    )
    assert set(done) <= made


def test_the_same_seed_gives_the_same_past() -> None:
    one, two, other = even_history(5), even_history(5), even_history(6)
    assert np.array_equal(one.checks.result, two.checks.result)
    assert np.array_equal(one.leaks.day, two.leaks.day)
    assert not np.array_equal(one.leaks.joint, other.leaks.joint)


def test_the_true_factors_show_in_the_record(saltmarsh: Plant, life: Life) -> None:
    """In each cohort with a factor, what went wrong is what its true rate makes expect; its family's would not."""
    truth = true_plant_factors(saltmarsh)
    assert set(np.unique(truth)) == {1.0, *(row.factor for row in TRUE_FACTORS)}
    rate = life.process.rate_without_make_up * life.process.make_up_factor[life.process.make_up_state]
    history = life.history
    defects = np.bincount(history.leaks.joint, minlength=len(truth)) + np.bincount(
        history.checks.joint[history.checks.result == RETIGHTENED], minlength=len(truth)
    )
    years = RECORD_DAYS / DAYS_PER_YEAR
    for factor in (3.0, 2.2, 0.4):
        cohort = truth == factor
        expected = rate[cohort].sum() * years
        seen = defects[cohort].sum()
        assert abs(seen - expected) < 4 * np.sqrt(expected) + 0.08 * expected
        assert abs(seen - expected / factor) > 4 * np.sqrt(expected / factor)


def test_true_rates_are_those_that_the_shipped_policy_begins_with(saltmarsh: Plant, policy: Policy) -> None:
    for code, row in FAMILY_TRUTH.items():
        family = policy.family(code)
        assert family is not None
        assert (family.defect_rate_per_year, family.delay_rate_per_year, family.detection_probability) == (
            row.defect_rate_per_year,
            row.delay_rate_per_year,
            row.detection_probability,
        )
    assert (true_base_rates(saltmarsh) > 0).all()
    assert {row["area"] for row in truth_document()["plant_factors"]} == {row.area for row in TRUE_FACTORS}


def test_every_record_can_be_told_from_every_other(saltmarsh: Plant, life: Life) -> None:
    """Files know a record by its joint and time: two that share both would be refused as contradictions."""
    tables = tables_of(saltmarsh, life, 1, AS_OF)
    keys = {
        "vibration": ["tag", "line", "east_m", "north_m", "observed_at", "frequency_hz"],
        "temperatures": ["line", "observed_at"],
        "make_ups": ["tag", "made_up_on"],
        "checks": ["tag", "observed_at"],
        "leaks": ["tag", "observed_at"],
    }
    for name, key in keys.items():
        frame = getattr(tables, name)
        assert frame.height > 0
        assert frame.select(key).is_duplicated().sum() == 0, name
