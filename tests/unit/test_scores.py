"""The score of a whole site, and the account of one joint of it."""

import json
from dataclasses import fields, replace

import numpy as np
import pytest

from registry.exposure.readings import LineReadings, ThermalHistory, VibrationZones
from registry.intervals.explanation import Why, explanation
from registry.intervals.model import DUE_REASONS, LIMITS, FamilyUnknown, NearbyLeaks, ScoreInputs, Scores
from registry.intervals.scores import risk_rank, scores
from registry.policy.model import PlantFactor
from registry.risk.model import Assumed
from tests.unit.some_joints import AS_OF, FAMILIES, POLICY, SERVICES, inputs_of, policy_with, scores_of, some_joints


def _uneven_site(count: int, seed: int = 4) -> ScoreInputs:
    draw = np.random.default_rng(seed)

    def maybe(values: np.ndarray, missing: float) -> np.ndarray:
        return np.where(draw.random(count) < missing, np.nan, values)

    def days(missing: float) -> np.ndarray:
        found = np.datetime64("2019-01-01") + draw.integers(0, 2600, count)
        return np.where(draw.random(count) < missing, np.datetime64("NaT"), found)

    joints = some_joints(
        joint_id=draw.permutation(np.arange(1, count + 1)),
        family_id=draw.integers(1, len(FAMILIES) + 1, count),
        service_id=draw.integers(1, len(SERVICES) + 2, count),  # one service more than the policy knows
        east_m=draw.uniform(0, 300, count).round(),
        north_m=draw.uniform(0, 200, count).round(),
        area_id=draw.integers(0, 4, count),
        line_id=draw.integers(0, count // 20 + 2, count),
        size_mm=maybe(draw.uniform(6, 300, count), 0.2),
        pressure_barg=draw.uniform(-1, 300, count),
        temperature_degc=maybe(draw.uniform(-60, 500, count), 0.3),
        made_up_on=days(0.3),
        vibration_mm_s=maybe(draw.exponential(5, count), 0.7),
        vibration_hz=maybe(draw.uniform(0.5, 330, count), 0.4),
        thermal_cycles_per_year=maybe(draw.uniform(0, 400, count), 0.4),
        thermal_range_degc=maybe(draw.uniform(0, 150, count), 0.3),
        access=draw.integers(0, 5, count),
        last_vibration_mm_s=maybe(draw.exponential(5, count), 0.9),
        last_vibration_hz=maybe(draw.uniform(0.5, 330, count), 0.2),
        last_make_up_on=days(0.5),
        last_make_up_accepted=draw.random(count) < 0.8,
        last_make_up_witnessed=draw.random(count) < 0.5,
        last_satisfactory_on=days(0.5),
        override_days=maybe(draw.uniform(10, 900, count), 0.98),
        recall_due_on=np.where(np.arange(count) % 10 == 0, np.datetime64("2025-12-20"), np.datetime64("NaT")),
    )
    lines = count // 20 + 2
    leaking = draw.integers(0, count, count // 20 + 1)
    return ScoreInputs(
        joints,
        FAMILIES,
        {**SERVICES, len(SERVICES) + 1: "mystery"},
        {1: "rare", 2: "continuous"},
        LineReadings(
            draw.integers(1, lines, lines),
            draw.uniform(0, 300, lines).round(),
            draw.uniform(0, 200, lines).round(),
            draw.exponential(6, lines),
            draw.uniform(0.5, 330, lines),
        ),
        VibrationZones(
            draw.uniform(0, 300, 12),
            draw.uniform(0, 200, 12),
            draw.exponential(20, 12),
            draw.uniform(0.5, 330, 12),
            draw.uniform(5, 40, 12),
            np.full(12, 0.5),
        ),
        [ThermalHistory(0, line, 1.5, [30.0, 120.0], [40.0, 2.5]) for line in range(1, lines, 5)],
        NearbyLeaks(
            joints.joint_id[leaking],
            joints.line_id[leaking],
            joints.east_m[leaking],
            joints.north_m[leaking],
            np.datetime64("2025-12-01") + draw.integers(0, 40, len(leaking)),
        ),
    )


SITE = _uneven_site(2000)
SCORES = scores(SITE, POLICY, AS_OF)


def _account(at: int) -> Why:
    alone = replace(SITE, joints=SITE.joints.rows(slice(at, at + 1)))
    return explanation(f"J-{at}", alone, POLICY, AS_OF, int(SCORES.risk_rank[at]))


def test_every_column_is_whole_and_finite() -> None:
    for column in fields(Scores):
        values = getattr(SCORES, column.name)
        assert len(values) == 2000
        if values.dtype.kind == "f":
            assert np.isfinite(values).all(), column.name
        if values.dtype.kind == "M":
            assert not np.isnat(values).any(), column.name
    assert len(np.unique(SCORES.due_reason)) == len(DUE_REASONS)
    assert len(np.unique(SCORES.interval_limit)) == len(LIMITS)


def test_blocks_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.intervals.scores._BLOCK", 37)
    again = scores(SITE, POLICY, AS_OF)
    for column in fields(Scores):
        before, after = getattr(SCORES, column.name), getattr(again, column.name)
        if before.dtype.kind == "f":
            np.testing.assert_allclose(after, before, rtol=1e-12, err_msg=column.name)
        else:
            np.testing.assert_array_equal(after, before, err_msg=column.name)


@pytest.mark.parametrize("start", range(0, 300, 100))
def test_the_account_of_a_joint_is_its_score(start: int) -> None:
    for at in range(start, start + 100):
        why = _account(at)
        for name in (
            "defect_rate_per_year",
            "delay_rate_per_year",
            "detection_probability",
            "release_kg_s",
            "tolerable_leaks_per_year",
            "interval_days",
            "leak_rate_now_per_year",
        ):
            assert getattr(why, name) == pytest.approx(float(getattr(SCORES, name)[at]), rel=1e-9)
        assert why.consequence_class == SCORES.consequence_class[at]
        assert why.limit == LIMITS[SCORES.interval_limit[at]]
        assert why.due_reason == DUE_REASONS[SCORES.due_reason[at]]
        assert np.datetime64(why.due_on) == SCORES.due_on[at]
        assert why.likelihood_class == SCORES.likelihood_class[at]
        product = np.prod([factor.value for factor in why.factors])
        assert product == pytest.approx(why.defect_rate_per_year, rel=1e-12)


def test_the_json_of_an_account_is_as_agreed() -> None:
    audit = json.loads(json.dumps(_account(0).as_json(), allow_nan=False))
    assert list(audit) == [
        "tag",
        "policy_version",
        "as_of",
        "defect_rate_per_year",
        "delay_rate_per_year",
        "detection_probability",
        "factors",
        "consequence",
        "tolerable_leaks_per_year",
        "interval_days",
        "limit",
        "beyond_checking",
        "last_satisfactory_on",
        "due_on",
        "leak_rate_now_per_year",
        "likelihood_class",
        "risk_rank",
    ]
    assert list(audit["consequence"]) == ["class", "release_kg_s", "reasons"]
    assert all(list(factor) == ["name", "value", "input", "origin", "source"] for factor in audit["factors"])
    assert {factor["origin"] for factor in audit["factors"]} <= {"measured", "record", "assumed", "learned"}
    assert audit["policy_version"] == 3


def test_what_is_assumed_is_never_shown_as_measured() -> None:
    for at in range(300):
        why, bits = _account(at), int(SCORES.assumed_inputs[at])
        origins = {factor.name: factor.origin for factor in why.factors}
        if bits & (Assumed.VIBRATION | Assumed.FREQUENCY):
            assert origins["vibration"] == "assumed"
        if bits & (Assumed.THERMAL_CYCLES | Assumed.THERMAL_RANGE):
            assert origins["thermal cycles"] == "assumed"
        if bits & Assumed.MAKE_UP:
            assert origins["make-up"] == "assumed"


def test_the_text_of_an_account_says_what_matters() -> None:
    shaken = some_joints(vibration_mm_s=100.0, vibration_hz=20.0, pressure_barg=150.0, made_up_on="2025-01-01")
    text = explanation("60-TW-1", inputs_of(shaken), POLICY, AS_OF, 1).as_text()
    assert "60-TW-1" in text
    assert "BEYOND CHECKING" in text
    assert "ACT ON THE VIBRATION" in text
    assert "Energy Institute" in text
    assert "100 mm/s at 20 Hz, the joint list" in text


def test_an_account_is_of_one_joint() -> None:
    with pytest.raises(ValueError, match="not of 2"):
        explanation("A", inputs_of(some_joints(pressure_barg=[1.0, 2.0])), POLICY, AS_OF, 1)


def test_the_worst_joint_ranks_first_and_equals_by_number() -> None:
    risk = np.array([1.0, 3.0, 1.0, 0.0, 3.0, 1.0])
    number = np.array([9, 8, 7, 6, 5, 4])
    assert risk_rank(risk, number).tolist() == [5, 2, 4, 6, 1, 3]
    order = np.lexsort((SCORES.joint_id, -SCORES.risk_now))
    np.testing.assert_array_equal(SCORES.risk_rank[order], np.arange(1, 2001))


def test_no_joints_have_no_scores() -> None:
    nobody = replace(SITE, joints=SITE.joints.rows(slice(0, 0)))
    assert len(scores(nobody, POLICY, AS_OF)) == 0


def test_a_family_that_the_policy_lost_is_named() -> None:
    policy = policy_with(families=tuple(row for row in POLICY.families if row.code != "union"))
    with pytest.raises(FamilyUnknown, match="union"):
        scores_of(some_joints(family="union"), policy)
    assert len(scores_of(some_joints(family="flanged"), policy)) == 1


def test_what_the_plant_taught_moves_the_rate_and_says_so() -> None:
    policy = policy_with(plant_factors=(PlantFactor("twin_ferrule", "hydrogen", 1.8, "Learned 2021 to 2025"),))
    joints = some_joints()
    assert scores_of(joints, policy).plant_factor[0] == 1.8
    assert scores_of(some_joints(service="nitrogen"), policy).plant_factor[0] == 1.0
    factor = explanation("A", inputs_of(joints), policy, AS_OF, 1).factors[-1]
    assert (factor.value, factor.origin, factor.source) == (1.8, "learned", "Learned 2021 to 2025")


def test_the_last_make_up_moves_the_rate() -> None:
    def factor(**given: object) -> float:
        return float(scores_of(some_joints(**given)).make_up_factor[0])

    made = {"last_make_up_on": "2025-01-01"}
    witnessed = factor(**made, last_make_up_accepted=True, last_make_up_witnessed=True)
    accepted = factor(**made, last_make_up_accepted=True)
    refused = factor(**made, last_make_up_accepted=False, last_make_up_witnessed=True)
    assert (witnessed, accepted, factor(), refused) == (1.0, 1.2, 1.5, 3.0)


def test_minutes_are_of_the_family_and_of_the_access() -> None:
    found = scores_of(some_joints(access=[0, 1, 2, 3, 4]))
    assert found.check_minutes.tolist() == [6.0, 4.0, 6.0, 9.0, 24.0]
    assert ((found.assumed_inputs & Assumed.ACCESS) != 0).tolist() == [True, False, False, False, False]


def test_a_joint_of_which_all_is_known_has_nothing_assumed() -> None:
    known = some_joints(
        temperature_degc=20.0,
        vibration_mm_s=1.0,
        vibration_hz=20.0,
        thermal_cycles_per_year=1.0,
        thermal_range_degc=1.0,
        access=1,
        area_id=1,
        last_make_up_on="2025-01-01",
        last_make_up_accepted=True,
    )
    assert scores_of(known).assumed_inputs[0] == 0
