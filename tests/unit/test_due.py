"""When a joint is due, and why then."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from registry.intervals.due import leak_nearby
from registry.intervals.model import DUE_REASONS, NearbyLeaks, Scores
from registry.policy.model import LeakNearbyPolicy
from tests.unit.some_joints import AS_OF, POLICY, policy_with, scores_of, some_joints


def _reason(found: Scores) -> str:
    return DUE_REASONS[found.due_reason[0]]


def _days_after(found: Scores, start: str) -> int:
    return int((found.due_on[0] - np.datetime64(start)).astype(int))


def test_a_joint_without_any_record_is_due_at_once() -> None:
    found = scores_of(some_joints())
    assert _reason(found) == "no_record"
    assert found.due_on[0] == np.datetime64(AS_OF)
    assert found.last_satisfactory_on[0] == np.datetime64(AS_OF - timedelta(days=730))


def test_the_due_date_is_the_whole_days_of_the_interval_after_the_last_check() -> None:
    found = scores_of(some_joints(last_satisfactory_on="2025-11-20"))
    assert _reason(found) == "interval"
    assert _days_after(found, "2025-11-20") == int(found.interval_days[0])


@pytest.mark.parametrize(
    ("given", "last"),
    [
        ({"last_satisfactory_on": "2025-05-01", "made_up_on": "2024-01-01"}, "2025-05-01"),
        ({"last_satisfactory_on": "2025-05-01", "made_up_on": "2025-06-01"}, "2025-06-01"),
        ({"last_make_up_on": "2025-07-01", "last_make_up_accepted": True, "made_up_on": "2025-06-01"}, "2025-07-01"),
        ({"last_make_up_on": "2025-07-01", "last_make_up_accepted": False, "made_up_on": "2025-06-01"}, "2025-06-01"),
    ],
)
def test_the_clock_starts_with_the_newest_check_or_accepted_make_up(given: dict[str, Any], last: str) -> None:
    assert scores_of(some_joints(**given)).last_satisfactory_on[0] == np.datetime64(last)


def test_only_a_check_carries_missed_defects_over() -> None:
    same_day = str(AS_OF)
    checked = scores_of(some_joints(last_satisfactory_on=same_day, last_make_up_on="2020-01-01"))
    made_up = scores_of(some_joints(last_make_up_on=same_day, last_make_up_accepted=True))
    both = scores_of(some_joints(last_make_up_on=same_day, last_make_up_accepted=True, last_satisfactory_on=same_day))
    assert checked.leak_rate_now_per_year[0] > 0
    assert made_up.leak_rate_now_per_year[0] == 0
    assert both.leak_rate_now_per_year[0] == 0


def test_a_date_in_the_future_counts_as_today() -> None:
    ahead = scores_of(some_joints(made_up_on="2026-06-01"))
    assert ahead.leak_rate_now_per_year[0] == 0.0
    assert ahead.due_on[0] > np.datetime64("2026-06-01")


def test_a_make_up_asks_for_a_settling_check() -> None:
    found = scores_of(some_joints(made_up_on="2025-12-20", service="nitrogen"))
    assert (_reason(found), _days_after(found, "2025-12-20")) == ("settling", 30)


def test_a_check_after_the_make_up_settles_it_but_not_one_on_the_same_day() -> None:
    made_up = {"made_up_on": "2025-12-20", "service": "nitrogen"}
    assert _reason(scores_of(some_joints(**made_up, last_satisfactory_on="2025-12-21"))) == "interval"
    assert _reason(scores_of(some_joints(**made_up, last_satisfactory_on="2025-12-20"))) == "settling"


def test_a_settling_check_that_nobody_recorded_expires() -> None:
    long_ago = (AS_OF - timedelta(days=30 + 181)).isoformat()
    just = (AS_OF - timedelta(days=30 + 180)).isoformat()
    assert _reason(scores_of(some_joints(made_up_on=long_ago, service="nitrogen"))) == "interval"
    assert _reason(scores_of(some_joints(made_up_on=just, service="nitrogen"))) == "settling"


def test_a_short_interval_comes_before_settling() -> None:
    shaken = {"vibration_mm_s": 60.0, "vibration_hz": 20.0, "pressure_barg": 150.0}
    assert _reason(scores_of(some_joints(made_up_on="2025-12-20", **shaken))) == "interval"


def test_hot_bolts_ask_for_retightening_until_a_check_has_followed() -> None:
    hot = {"family": "flanged", "service": "nitrogen", "temperature_degc": 250.0, "made_up_on": "2024-01-01"}
    found = scores_of(some_joints(**hot))
    assert _reason(found) == "retightening"
    assert _days_after(found, "2024-01-01") == 165  # 10 ** (0.20 / (0.05 * 1.8)) - 1 = 165.8
    early = scores_of(some_joints(**hot, last_satisfactory_on="2024-02-01"))
    assert (_reason(early), _days_after(early, "2024-01-01")) == ("retightening", 165)
    done = scores_of(some_joints(**hot, last_satisfactory_on="2024-06-14"))
    assert _reason(done) == "interval"


def _leaks(*rows: tuple[int, int, float, float, str]) -> NearbyLeaks:
    joint, line, east, north, observed = zip(*rows, strict=True)
    return NearbyLeaks(
        np.array(joint, "i4"),
        np.array(line, "i4"),
        np.array(east, "f8"),
        np.array(north, "f8"),
        np.array(observed, "datetime64[D]"),
    )


CHECKED = {"last_satisfactory_on": "2025-12-01", "line_id": 7, "service": "nitrogen", "joint_id": 1}


def test_a_leak_nearby_on_the_line_calls_for_a_look() -> None:
    leaks = _leaks((2, 7, 9.0, 0.0, "2025-12-25"), (3, 7, 9.0, 0.0, "2025-12-20"))
    found = scores_of(some_joints(**CHECKED), nearby_leaks=leaks)
    assert (_reason(found), _days_after(found, "2025-12-20")) == ("leak_nearby", 14)


@pytest.mark.parametrize(
    "leak",
    [
        (2, 7, 10.1, 0.0, "2025-12-20"),  # too far
        (2, 8, 1.0, 0.0, "2025-12-20"),  # another line
        (1, 7, 0.0, 0.0, "2025-12-20"),  # its own
        (2, 7, 1.0, 0.0, "2025-12-01"),  # answered by the check of that day
        (2, 7, 1.0, 0.0, "2026-01-02"),  # after the day of the score
    ],
)
def test_other_leaks_do_not(leak: tuple[int, int, float, float, str]) -> None:
    assert _reason(scores_of(some_joints(**CHECKED), nearby_leaks=_leaks(leak))) == "interval"


def test_the_policy_may_leave_leaks_nearby_alone() -> None:
    policy = policy_with(leak_nearby=LeakNearbyPolicy(False, 10.0, 14.0, "Own method"))
    leaks = _leaks((2, 7, 9.0, 0.0, "2025-12-25"))
    assert _reason(scores_of(some_joints(**CHECKED), policy, nearby_leaks=leaks)) == "interval"


def test_many_leaks_agree_with_a_search_one_by_one() -> None:
    generator = np.random.default_rng(8)
    count, leaking = 300, 120
    joints = some_joints(
        joint_id=list(range(1, count + 1)),
        line_id=generator.integers(0, 5, count),
        east_m=generator.uniform(0, 40, count),
        north_m=generator.uniform(0, 40, count),
    )
    chosen = generator.integers(0, count, leaking)
    observed = np.datetime64("2025-06-01") + generator.integers(0, 300, leaking)
    leaks = NearbyLeaks(
        joints.joint_id[chosen], joints.line_id[chosen], joints.east_m[chosen], joints.north_m[chosen], observed
    )
    last = generator.integers(20_200, 20_450, count)
    found = leak_nearby(joints, last, leaks, POLICY.leak_nearby, date(2025, 12, 31))
    for at in range(count):
        near = np.hypot(leaks.east_m - joints.east_m[at], leaks.north_m - joints.north_m[at]) <= 10.0
        counts = (
            near
            & (leaks.line_id == joints.line_id[at])
            & (joints.line_id[at] != 0)
            & (leaks.joint_id != joints.joint_id[at])
            & (observed.astype("i8") > last[at])
            & (observed <= np.datetime64("2025-12-31"))
        )
        if counts.any():
            assert found[at] == observed[counts].min()
        else:
            assert np.isnat(found[at])
