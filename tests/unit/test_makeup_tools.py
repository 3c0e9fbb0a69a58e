"""A tool is judged as it stood on the day, and within its range."""

from dataclasses import replace
from datetime import date

import pytest

from registry.makeup.report import MakeUpReport
from registry.makeup.verdict import verdict
from registry.papers.on_the_day import Calibration
from tests.unit.some_make_ups import DAY, a_tool, good_answers, good_report, shipped, the_one

MP_TURNS = shipped("ferrule-mp-turns")
MP_TORQUE = shipped("ferrule-mp-half-inch-torque")


def with_wrench(*calibrations: Calibration, kind: str = "torque_wrench", **limits: float) -> MakeUpReport:
    report = good_report(MP_TORQUE)
    return replace(report, tools={**report.tools, "torque-wrench": a_tool(kind, *calibrations, **limits)})


@pytest.mark.parametrize(
    ("calibrations", "kind", "code", "text"),
    [
        (
            [Calibration(date(2025, 3, 1), date(2026, 5, 3), "in tolerance", "C-1")],
            "refused",
            "tool-out-of-calibration",
            "TW-014 was out of calibration on 2026-05-04: the last one ran out on 2026-05-03",
        ),
        (
            [Calibration(date(2026, 5, 5), date(2027, 5, 4), "in tolerance", "C-1")],
            "refused",
            "tool-without-calibration",
            "TW-014 had not been calibrated by 2026-05-04",
        ),
        (
            [Calibration(date(2026, 3, 1), date(2027, 2, 28), "in tolerance", " ")],
            "refused",
            "tool-without-certificate",
            "TW-014 has no certificate for its calibration of 2026-03-01",
        ),
        (
            [
                Calibration(date(2026, 3, 1), date(2027, 2, 28), "in tolerance", "C-1"),
                Calibration(date(2026, 9, 1), date(2027, 8, 31), "out of tolerance", "C-2"),
            ],
            "questioned",
            "tool-found-out-of-tolerance",
            "TW-014 was found out of tolerance at its calibration of 2026-09-01",
        ),
        (
            [Calibration(DAY, date(2027, 5, 3), "out of tolerance", "C-2")],
            "questioned",
            "tool-found-out-of-tolerance",
            "TW-014 was found out of tolerance at its calibration of 2026-05-04",
        ),
    ],
)
def test_a_tool_that_was_not_in_order_on_the_day(
    calibrations: list[Calibration], kind: str, code: str, text: str
) -> None:
    reason = the_one(MP_TORQUE, with_wrench(*calibrations))
    assert (reason.kind, reason.code, reason.text, reason.step) == (kind, code, text, "torque-wrench")


def test_a_tool_found_out_and_put_right_before_the_day_is_in_order() -> None:
    before = Calibration(date(2026, 3, 1), date(2027, 2, 28), "out of tolerance", "C-1")
    after = Calibration(date(2026, 9, 1), date(2027, 8, 31), "in tolerance", "C-2")
    later = Calibration(date(2027, 3, 1), date(2028, 2, 28), "out of tolerance", "C-3")
    assert verdict(MP_TORQUE, with_wrench(later, after, before)).accepted


def test_a_first_and_last_day_of_calibration_count_in() -> None:
    assert verdict(MP_TORQUE, with_wrench(Calibration(DAY, DAY, "in tolerance", "C-1"))).accepted


def test_a_tool_of_the_wrong_kind_and_an_unknown_one_are_refused() -> None:
    reason = the_one(MP_TORQUE, with_wrench(kind="gap_gauge"))
    assert (reason.code, reason.text) == (
        "tool-wrong-kind",
        "TW-014 is a gap gauge, where a torque wrench is asked for",
    )
    report = good_report(MP_TORQUE)
    unknown = replace(report, tools={**report.tools, "torque-wrench": "TW-999"})
    assert the_one(MP_TORQUE, unknown).text == "tool TW-999 is not in the register of tools"


def test_a_tool_that_no_step_asks_for_is_judged_by_its_calibration() -> None:
    lapsed = a_tool("other", Calibration(date(2024, 1, 1), date(2025, 1, 1), "in tolerance", "C-1"), serial="X-1")
    report = good_report(MP_TORQUE)
    assert the_one(MP_TORQUE, replace(report, tools={**report.tools, "X-1": lapsed})).code == "tool-out-of-calibration"


def test_a_gauge_needs_no_certificate_but_one_that_ran_out_counts() -> None:
    report = good_report(MP_TURNS)
    never = replace(report, tools={"gap-gauge-tool": replace(a_tool("gap_gauge"), calibration=None)})
    assert verdict(MP_TURNS, never).accepted
    ran_out = a_tool("gap_gauge", Calibration(date(2024, 1, 1), date(2025, 1, 1), "in tolerance", None))
    lapsed = replace(report, tools={"gap-gauge-tool": ran_out})
    assert the_one(MP_TURNS, lapsed).code == "tool-out-of-calibration"


@pytest.mark.parametrize("serial", ["", None])
def test_a_wrench_without_a_serial_was_not_named(serial: str | None) -> None:
    report = good_report(MP_TORQUE)
    tools = {key: tool for key, tool in report.tools.items() if key != "torque-wrench"}
    without = replace(report, tools=tools if serial is None else {**tools, "torque-wrench": serial})
    assert the_one(MP_TORQUE, without).text == "no torque wrench was named"


def test_a_torque_outside_the_wrench_s_range_is_refused() -> None:
    reason = the_one(MP_TORQUE, with_wrench(low_n_m=20.0, high_n_m=120.0))
    assert (reason.code, reason.text) == (
        "tool-out-of-range",
        "150 N·m is outside the range of TW-014, from 20 to 120 N·m",
    )
    assert verdict(MP_TORQUE, with_wrench(low_n_m=30.0, high_n_m=150.0)).accepted


def test_with_an_adaptor_the_range_is_held_against_the_setting() -> None:
    straight = {"wrench-length": 400.0, "adaptor-length": 50.0, "adaptor-angle": 0.0}
    report = replace(with_wrench(low_n_m=20.0, high_n_m=140.0), answers={**good_answers(MP_TORQUE), **straight})
    found = verdict(MP_TORQUE, report)
    assert found.accepted
    assert found.findings.setting_n_m == pytest.approx(150.0 * 0.4 / 0.45)
    right_angle = replace(report, answers={**report.answers, "adaptor-angle": 90.0})
    assert the_one(MP_TORQUE, right_angle).code == "tool-out-of-range"
    back = replace(report, answers={**report.answers, "adaptor-angle": 180.0})
    assert "(150 N·m at the nut, through the adaptor)" in the_one(MP_TORQUE, back).text


def test_an_adaptor_that_is_half_described_is_questioned() -> None:
    reason = the_one(MP_TORQUE, good_report(MP_TORQUE, answers={"adaptor-length": 50.0, "wrench-length": 400.0}))
    assert (reason.kind, reason.code) == ("questioned", "adaptor-unknown")
    assert reason.text == "an adaptor was named without its angle: nobody can say what the nut gets"
    only_an_angle = good_report(MP_TORQUE, answers={"adaptor-angle": 0.0})
    assert "without its length and the wrench's length" in the_one(MP_TORQUE, only_an_angle).text
    assert verdict(MP_TORQUE, good_report(MP_TORQUE, answers={"wrench-length": 400.0})).accepted
    impossible = {"adaptor-length": 500.0, "wrench-length": 400.0, "adaptor-angle": 180.0}
    assert "past the grip" in the_one(MP_TORQUE, good_report(MP_TORQUE, answers=impossible)).text
