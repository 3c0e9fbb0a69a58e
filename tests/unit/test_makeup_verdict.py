"""A make-up is accepted, or it is not and says every reason."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from registry.makeup.procedures import MAKE_UP_KINDS, MakeUpKind, Procedure, TurnsRule
from registry.makeup.reading_procedures import shipped_procedures
from registry.makeup.targets import TorqueTarget
from registry.makeup.verdict import verdict
from registry.papers.on_the_day import Qualification
from tests.unit.some_make_ups import DAY, good_report, reasons_of, shipped, the_one

MP_TURNS = shipped("ferrule-mp-turns")
MP_TORQUE = shipped("ferrule-mp-half-inch-torque")
FLANGE = shipped("flanged-torque")
CONE = shipped("cone-thread-torque")
FLANGE_TARGET_N_M = 0.20 * 0.020 * 345.0 * 225.19
FLANGE_ANSWERS = {"torque-target-of-gasket": None, "torqued": round(FLANGE_TARGET_N_M, 1)}


@pytest.mark.parametrize("kind", MAKE_UP_KINDS)
@pytest.mark.parametrize("procedure", shipped_procedures(), ids=lambda each: each.code)
def test_a_make_up_by_the_book_is_accepted_by_every_shipped_procedure(procedure: Procedure, kind: MakeUpKind) -> None:
    assert verdict(procedure, good_report(procedure, kind)).reasons == ()


# ---------------------------------------------------------------- half-inch medium pressure: common practice, no source


def test_one_turn_is_accepted() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, answers={"turned": 1.0})).accepted


@pytest.mark.parametrize("torque_n_m", [142.5, 149.139974, 150.0, 157.5])
def test_150_newton_metres_is_accepted_and_so_is_what_110_pounds_feet_make(torque_n_m: float) -> None:
    assert verdict(MP_TORQUE, good_report(MP_TORQUE, answers={"torqued": torque_n_m})).accepted


@pytest.mark.parametrize("procedure", [MP_TURNS, MP_TORQUE], ids=lambda each: each.code)
def test_the_gap_gauge_must_not_enter(procedure: Procedure) -> None:
    reason = the_one(procedure, good_report(procedure, answers={"gap-gauge": True}))
    assert (reason.kind, reason.code, reason.step) == ("refused", "gap-gauge-failed", "gap-gauge")
    assert reason.text == "the gap gauge enters: tighten further and check again"


def test_the_gap_gauge_says_nothing_at_a_re_make() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, "re-make", answers={"gap-gauge": True})).accepted


def test_a_torque_that_turned_four_tenths_of_a_turn_is_questioned() -> None:
    reason = the_one(MP_TORQUE, good_report(MP_TORQUE, answers={"turned-by-torque": 0.4}))
    assert (reason.kind, reason.code) == ("questioned", "turns-disagree-with-torque")
    assert reason.text == "turned 0.4 of a turn, 1.0 ± 0.25 expected at this torque"


@pytest.mark.parametrize(("turned", "accepted"), [(0.74, False), (0.75, True), (1.25, True), (1.26, False)])
def test_turns_on_the_edge_of_their_tolerance_agree(turned: float, accepted: bool) -> None:
    assert verdict(MP_TORQUE, good_report(MP_TORQUE, answers={"turned-by-torque": turned})).accepted is accepted


def test_four_tenths_of_a_turn_by_turns_is_refused() -> None:
    reason = the_one(MP_TURNS, good_report(MP_TURNS, answers={"turned": 0.4}))
    assert (reason.kind, reason.code) == ("refused", "turns-off")
    assert reason.text == "turned 0.4 of a turn, 1.0 ± 0.1 asked for"


def test_at_a_re_make_turns_count_past_the_earlier_mark() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, "re-make", answers={"turned-past-mark": 0.1})).accepted
    assert "turns-off" in reasons_of(MP_TURNS, good_report(MP_TURNS, "re-make", answers={"turned-past-mark": 0.5}))


def test_a_thread_without_a_rule_for_re_makes_is_made_up_as_the_first_time() -> None:
    union = shipped("union-turns")
    answers = {"turned-past-hand-tight": 1.5}
    assert set(reasons_of(union, good_report(union, "re-make", answers=answers))) == {"turns-off"}


# ---------------------------------------------------------------- steps


def test_a_depth_mark_that_shows_before_tightening_is_refused() -> None:
    reason = the_one(MP_TURNS, good_report(MP_TURNS, answers={"depth-mark": True}))
    assert (reason.kind, reason.code) == ("refused", "depth-mark-failed")
    assert "not fully inserted" in reason.text


@pytest.mark.parametrize("kind", MAKE_UP_KINDS)
@pytest.mark.parametrize("procedure", shipped_procedures(), ids=lambda each: each.code)
def test_each_required_step_is_missed_and_each_wrong_answer_is_seen(procedure: Procedure, kind: MakeUpKind) -> None:
    for step in procedure.steps_for(kind):
        whole = good_report(procedure, kind)
        without = replace(
            whole,
            answers={key: answer for key, answer in whole.answers.items() if key != step.key},
            tools={key: tool for key, tool in whole.tools.items() if key != step.key},
            lots={key: lot for key, lot in whole.lots.items() if key != step.key},
        )
        missed = reasons_of(procedure, without)
        assert (f"{step.key}-missing" in missed) is (not step.optional)
        assert all(reason.text for reason in missed.values())
        if step.kind in ("confirm", "absent") and step.if_not:
            wrong = reasons_of(procedure, good_report(procedure, kind, answers={step.key: step.kind == "absent"}))
            assert set(wrong) == {f"{step.key}-failed"}


@pytest.mark.parametrize("answer", [None, 1.0, float("nan")])
def test_an_answer_of_another_kind_is_no_answer(answer: Any) -> None:
    assert set(reasons_of(MP_TURNS, good_report(MP_TURNS, answers={"inserted": answer}))) == {"inserted-missing"}


@pytest.mark.parametrize("answer", [None, True, float("nan")])
def test_a_number_that_is_none_is_missing(answer: Any) -> None:
    assert set(reasons_of(MP_TURNS, good_report(MP_TURNS, answers={"turned": answer}))) == {"turned-missing"}


@pytest.mark.parametrize(
    ("step", "number", "text"),
    [
        ("torqued", 0.0, "Torque at the nut, at the last pass: 0 N·m is below 0.1 N·m"),
        ("torqued", float("inf"), "Torque at the nut, at the last pass: inf N·m is no reading"),
        ("bolt-count", 8.5, "Number of bolts: 8.5 bolts is no whole number"),
        ("bolt-size", 400, "Bolt diameter: 400 mm is above 102 mm"),
    ],
)
def test_a_number_that_cannot_be_is_refused_and_used_for_nothing(step: str, number: float, text: str) -> None:
    reason = the_one(FLANGE, good_report(FLANGE, answers={**FLANGE_ANSWERS, step: number}))
    assert (reason.kind, reason.code, reason.text) == ("refused", f"{step}-out-of-range", text)


def test_an_optional_step_may_be_answered_no_without_a_reason() -> None:
    assert verdict(FLANGE, good_report(FLANGE, answers={"four-hours": False})).accepted


def test_answers_to_steps_that_are_not_asked_are_no_reason() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, answers={"no-such-step": False})).accepted


def test_all_reasons_are_given_at_once() -> None:
    report = good_report(
        MP_TORQUE,
        answers={"gap-gauge": True, "torqued": 110.0, "turned-by-torque": 0.4, "tube-end": None},
        witness=" ana  ORTIZ ",
    )
    assert list(reasons_of(MP_TORQUE, report)) == [
        "witness-is-fitter",
        "tube-end-missing",
        "gap-gauge-failed",
        "turns-disagree-with-torque",
        "torque-off",
    ]


# ---------------------------------------------------------------- people


@pytest.mark.parametrize("fitter", [None, "", "  "])
def test_somebody_must_be_the_fitter(fitter: str | None) -> None:
    assert the_one(MP_TURNS, good_report(MP_TURNS, fitter=fitter)).code == "fitter-missing"


def test_nobody_witnesses_their_own_make_up() -> None:
    reason = the_one(MP_TURNS, good_report(MP_TURNS, witness="Ana Ortiz"))
    assert (reason.kind, reason.code) == ("refused", "witness-is-fitter")


def test_a_make_up_without_a_witness_may_be_accepted() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, witness=None)).accepted


@pytest.mark.parametrize(
    ("papers", "text"),
    [
        ([], "Ana Ortiz: no qualification for ferrule mp of 12.7 mm is on file"),
        (
            [Qualification("flanged", None, None, date(2020, 1, 1), None)],
            "Ana Ortiz: no qualification for ferrule mp of 12.7 mm is on file; there is one for flanged",
        ),
        (
            [Qualification("ferrule_mp", 0.0, 12.0, date(2020, 1, 1), None)],
            "Ana Ortiz: no qualification for ferrule mp of 12.7 mm is on file; there is one for ferrule mp",
        ),
        (
            [Qualification("ferrule_mp", None, None, date(2024, 1, 1), date(2026, 5, 3))],
            "Ana Ortiz: the qualification for ferrule mp of 12.7 mm ended on 2026-05-03",
        ),
        (
            [Qualification(None, None, None, date(2026, 5, 5), None)],
            "Ana Ortiz: the qualification for ferrule mp of 12.7 mm begins on 2026-05-05",
        ),
    ],
)
def test_a_fitter_without_a_valid_qualification_is_refused(papers: list[Qualification], text: str) -> None:
    reason = the_one(MP_TURNS, good_report(MP_TURNS, qualifications=papers))
    assert (reason.kind, reason.code, reason.text) == ("refused", "fitter-not-qualified", text)


@pytest.mark.parametrize(
    "paper",
    [
        Qualification("ferrule_mp", 12.7, 12.7, DAY, DAY),
        Qualification(None, None, 25.0, date(2020, 1, 1), None),
        Qualification("ferrule_mp", 6.0, None, date(2020, 1, 1), DAY),
    ],
)
def test_a_qualification_counts_its_edges_in(paper: Qualification) -> None:
    other = Qualification("flanged", None, None, date(2019, 1, 1), date(2019, 12, 31))
    assert verdict(MP_TURNS, good_report(MP_TURNS, qualifications=[other, paper])).accepted


# ---------------------------------------------------------------- torque and bolts


@pytest.mark.parametrize("torque_n_m", [110.0, 142.4, 157.6])
def test_a_torque_outside_its_band_is_refused(torque_n_m: float) -> None:
    reason = the_one(MP_TORQUE, good_report(MP_TORQUE, answers={"torqued": torque_n_m}))
    assert (reason.kind, reason.code) == ("refused", "torque-off")
    assert reason.text == f"torqued to {torque_n_m:g} N·m, 150 N·m ± 5 % asked for (142.5 to 157.5 N·m)"


def test_where_the_plant_gives_the_target_the_torque_is_held_against_it() -> None:
    found = verdict(CONE, good_report(CONE, answers={"torque-target": 80.0, "torqued": 87.9}))
    assert found.accepted
    assert found.findings.target == TorqueTarget(80.0, 0.10, "record")
    assert the_one(CONE, good_report(CONE, answers={"torque-target": 80.0, "torqued": 88.1})).code == "torque-off"


def test_a_flange_without_a_target_of_its_own_takes_it_from_the_bolt_stress() -> None:
    found = verdict(FLANGE, good_report(FLANGE, answers=FLANGE_ANSWERS))
    assert found.accepted
    assert isinstance(found.findings.target, TorqueTarget)
    assert found.findings.target.origin == "bolt stress"
    assert found.findings.target.n_m == pytest.approx(FLANGE_TARGET_N_M, rel=1e-4)
    assert found.findings.bolt_load_n == pytest.approx((0.7 * 77.69e3, 77.69e3, 1.3 * 77.69e3), rel=1e-3)


def test_a_gasket_s_own_target_goes_before_the_stress() -> None:
    answers = {"torque-target-of-gasket": 210.0, "torqued": 210.0}
    assert verdict(FLANGE, good_report(FLANGE, answers=answers)).accepted


def test_a_bolt_that_no_thread_fits_is_refused_in_words() -> None:
    reason = the_one(FLANGE, good_report(FLANGE, answers={**FLANGE_ANSWERS, "bolt-size": 21.0}))
    assert (reason.kind, reason.code) == ("refused", "thread-unknown")
    assert "no thread is known for a bolt of 21 mm" in reason.text
    own_target = {"bolt-size": 21.0, "torque-target-of-gasket": 210.0, "torqued": 210.0}
    assert verdict(FLANGE, good_report(FLANGE, answers=own_target)).accepted


def test_a_gap_that_differs_round_the_joint_is_refused() -> None:
    answers = {**FLANGE_ANSWERS, "gap-least": 2.0, "gap-most": 2.8}
    reason = the_one(FLANGE, good_report(FLANGE, answers=answers))
    assert (reason.kind, reason.code) == ("refused", "gap-uneven")
    assert reason.text == "the gap differs by 0.8 mm round the joint, 0.5 mm at most"
    assert verdict(FLANGE, good_report(FLANGE, answers={**answers, "gap-most": 2.5})).accepted
    assert verdict(FLANGE, good_report(FLANGE, answers={**answers, "gap-most": None})).accepted


def test_gaps_the_wrong_way_round_are_questioned() -> None:
    answers = {**FLANGE_ANSWERS, "gap-least": 2.8, "gap-most": 2.0}
    reason = the_one(FLANGE, good_report(FLANGE, answers=answers))
    assert (reason.kind, reason.code) == ("questioned", "gaps-disagree")


# ---------------------------------------------------------------- the procedure itself


def test_a_procedure_for_another_size_is_refused() -> None:
    small = shipped("twin-ferrule-small-turns")
    reason = the_one(small, good_report(small, size_mm=6.0))
    assert (reason.kind, reason.code) == ("refused", "procedure-not-for-joint")
    assert "twin ferrule of 6 mm" in reason.text


def test_a_joint_of_unknown_size_takes_any_procedure_of_its_family() -> None:
    assert verdict(MP_TURNS, good_report(MP_TURNS, size_mm=None)).accepted


def test_without_a_procedure_a_new_make_up_is_refused() -> None:
    found = verdict(None, good_report(MP_TURNS))
    assert [(reason.kind, reason.code) for reason in found.reasons] == [("refused", "procedure-missing")]


def test_findings_say_what_was_held_against_what() -> None:
    found = verdict(MP_TORQUE, good_report(MP_TORQUE)).findings
    assert (found.turned, found.turns) == (1.0, TurnsRule(1.0, 0.25))
    assert (found.torque_n_m, found.setting_n_m) == (150.0, 150.0)
    assert found.target == TorqueTarget(150.0, 0.05, "procedure")
