"""The sheet shows turns, torques pass by pass, the order and the wrench's setting, as far as it was told."""

import pytest

from registry.makeup.instructions import instructions
from registry.makeup.procedures import TurnsRule
from registry.makeup.targets import TorqueTarget, Unsaid
from registry.makeup.torque import Band
from tests.unit.some_make_ups import shipped

FLANGE = shipped("flanged-torque")
MP_TORQUE = shipped("ferrule-mp-half-inch-torque")
EIGHT_M20 = {"bolt-size": 20.0, "bolt-count": 8.0}


def test_before_anything_is_told_there_are_steps_cautions_and_passes() -> None:
    sheet = instructions(FLANGE, "first", {})
    assert sheet.steps == FLANGE.steps_for("first")
    assert sheet.cautions == FLANGE.cautions
    assert (sheet.target, sheet.setting_n_m, sheet.order, sheet.bolt_load_n) == (None, None, (), None)
    assert [(one.part, one.torque_n_m) for one in sheet.passes] == [(0.3, None), (0.7, None), (1.0, None)]


def test_eight_m20_bolts() -> None:
    # Root area 225.19 mm² at 345 MPa is 77.69 kN; times 0.2 and 20 mm, 310.8 N·m.
    sheet = instructions(FLANGE, "first", EIGHT_M20)
    assert isinstance(sheet.target, TorqueTarget)
    assert sheet.target.n_m == pytest.approx(310.8, abs=0.05)
    assert (sheet.target.least_n_m, sheet.target.most_n_m) == pytest.approx((295.2, 326.3), abs=0.05)
    assert [one.torque_n_m for one in sheet.passes] == pytest.approx([93.2, 217.5, 310.8], abs=0.05)
    assert [one.setting_n_m for one in sheet.passes] == [one.torque_n_m for one in sheet.passes]
    assert sheet.order == ((1, 5, 3, 7), (2, 6, 4, 8))
    assert isinstance(sheet.bolt_load_n, Band)
    assert tuple(sheet.bolt_load_n) == pytest.approx((54.38e3, 77.69e3, 101.0e3), rel=1e-3)


def test_the_plant_s_target_goes_before_the_stress_and_carries_its_load() -> None:
    sheet = instructions(FLANGE, "first", {**EIGHT_M20, "torque-target-of-gasket": 200.0})
    assert sheet.target == TorqueTarget(200.0, 0.05, "record")
    assert isinstance(sheet.bolt_load_n, Band)
    assert sheet.bolt_load_n.middle == pytest.approx(200.0 / (0.2 * 0.020))


def test_an_adaptor_changes_the_setting_of_every_pass() -> None:
    adaptor = {"wrench-length": 400.0, "adaptor-length": 50.0, "adaptor-angle": 0.0}
    sheet = instructions(FLANGE, "first", {**EIGHT_M20, **adaptor, "torque-target-of-gasket": 80.0})
    assert [one.torque_n_m for one in sheet.passes] == pytest.approx([24.0, 56.0, 80.0])
    assert [one.setting_n_m for one in sheet.passes] == pytest.approx([21.33, 49.78, 71.11], abs=0.005)
    assert sheet.setting_n_m == pytest.approx(71.11, abs=0.005)


def test_an_adaptor_half_told_leaves_the_setting_unsaid() -> None:
    sheet = instructions(MP_TORQUE, "first", {"adaptor-length": 50.0})
    assert isinstance(sheet.setting_n_m, Unsaid)
    assert "without its angle and the wrench's length" in sheet.setting_n_m.text


def test_a_number_of_bolts_without_an_order_says_why() -> None:
    assert instructions(FLANGE, "first", {"bolt-count": 10.0}).order[0] == (1, 6)
    sheet = instructions(FLANGE, "first", {"bolt-count": 7.0})
    assert sheet.order == ()
    assert sheet.without_order.startswith("7 bolts have no opposite pairs")


def test_a_bolt_that_no_thread_fits_leaves_target_and_load_unsaid() -> None:
    sheet = instructions(FLANGE, "first", {"bolt-size": 21.0})
    assert isinstance(sheet.target, Unsaid)
    assert isinstance(sheet.bolt_load_n, Unsaid)
    assert sheet.target.code == "thread-unknown"


@pytest.mark.parametrize("answers", [{"bolt-size": 0.0}, {"bolt-count": 1e9}, {"torque-target-of-gasket": -5.0}])
def test_what_cannot_be_is_not_reckoned_with(answers: dict[str, float]) -> None:
    assert instructions(FLANGE, "first", answers) == instructions(FLANGE, "first", {})


def test_by_tension_the_load_is_shown_with_its_narrower_scatter() -> None:
    sheet = instructions(shipped("flanged-tension"), "first", EIGHT_M20)
    assert (sheet.target, [one.torque_n_m for one in sheet.passes]) == (None, [None])
    assert isinstance(sheet.bolt_load_n, Band)
    assert tuple(sheet.bolt_load_n) == pytest.approx((0.85 * 77.69e3, 77.69e3, 1.15 * 77.69e3), rel=1e-3)


def test_a_tube_fitting_shows_its_turns_by_kind_of_make_up() -> None:
    twin = shipped("twin-ferrule-turns")
    assert instructions(twin, "first", {}).turns == TurnsRule(1.25, 0.10)
    assert instructions(twin, "re-make", {}).turns == TurnsRule(0.10, 0.10)
    assert instructions(twin, "first", {}).passes == ()


def test_by_torque_the_turns_are_those_that_the_torque_should_make() -> None:
    sheet = instructions(MP_TORQUE, "first", {})
    assert (sheet.target, sheet.turns) == (TorqueTarget(150.0, 0.05, "procedure"), TurnsRule(1.0, 0.25))
    assert instructions(MP_TORQUE, "re-make", {}).turns is None
