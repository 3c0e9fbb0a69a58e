"""Make-ups with nothing wrong with them, of which a test then spoils one thing. People and serials are invented."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, Final

from registry.makeup.procedures import MakeUpKind, Procedure
from registry.makeup.reading_procedures import shipped_procedures
from registry.makeup.report import MakeUpReport, Reason
from registry.makeup.verdict import verdict
from registry.papers.on_the_day import Calibration, Qualification, ToolOnDay, tool_on_day

DAY: Final = date(2026, 5, 4)
IN_DATE: Final = Calibration(date(2026, 3, 1), date(2027, 2, 28), "in tolerance", "C-0301")
QUALIFIED: Final = Qualification(None, None, None, date(2025, 1, 1), date(2027, 12, 31))

# A joint of each procedure whose size or readings are not the same for all.
SIZES_MM: Final = {
    "twin-ferrule-small-turns": 3.0, "twin-ferrule-large-pre-swaged-turns": 38.0, "ferrule-mp-small-torque": 9.525,
    "ferrule-mp-large-torque": 19.05, "flanged-torque": 150.0, "flanged-tension": 300.0, "clamp-hub-torque": 100.0,
}  # fmt: skip
READINGS: Final = {
    "torque_n_m": 150.0, "torque_target_n_m": 150.0, "bolt_diameter_mm": 20.0, "bolt_count": 8.0, "gap_least_mm": 2.0,
    "gap_most_mm": 2.3, "bolt_stretch_mm": 0.2,
}  # fmt: skip
WITH_AN_ADAPTOR: Final = ("wrench_length_mm", "adaptor_length_mm", "adaptor_angle_deg")


def shipped(code: str) -> Procedure:
    return next(procedure for procedure in shipped_procedures() if procedure.code == code)


def a_tool(kind: str, *calibrations: Calibration, serial: str = "TW-014", **limits: float) -> ToolOnDay:
    return tool_on_day(serial, kind, calibrations or (IN_DATE,), DAY, **limits)


def good_answers(procedure: Procedure, kind: MakeUpKind = "first") -> dict[str, bool | float]:
    answers: dict[str, bool | float] = {}
    rule = procedure.turns_expected(kind)
    readings = {**READINGS, "turns": 0.0 if rule is None else rule.expected}
    for step in procedure.steps_for(kind):
        if step.kind in ("confirm", "absent"):
            answers[step.key] = step.kind == "confirm"
        elif step.kind == "number" and step.reads not in WITH_AN_ADAPTOR:
            answers[step.key] = readings[step.reads]
    return answers


def good_report(
    procedure: Procedure, kind: MakeUpKind = "first", answers: Mapping[str, Any] | None = None, **changes: Any
) -> MakeUpReport:
    """A report that its procedure accepts; `answers` are put over the good ones, and None takes one away."""
    given = {**good_answers(procedure, kind), **(answers or {})}
    steps = procedure.steps_for(kind)
    report = MakeUpReport(
        family=procedure.family,
        size_mm=SIZES_MM.get(procedure.code, 12.7),
        made_up_on=DAY,
        kind=kind,
        fitter="Ana Ortiz",
        witness="Bo Lindqvist",
        qualifications=(QUALIFIED,),
        answers={key: answer for key, answer in given.items() if answer is not None},
        tools={step.key: a_tool(step.tool) for step in steps if step.tool is not None},
        lots={step.key: "L-77" for step in steps if step.kind == "lot"},
    )
    return replace(report, **changes)


def reasons_of(procedure: Procedure, report: MakeUpReport) -> dict[str, Reason]:
    found = verdict(procedure, report)
    assert found.accepted == (not found.reasons)
    assert found.passed_over == () or report.in_retrospect
    return {reason.code: reason for reason in found.reasons}


def the_one(procedure: Procedure, report: MakeUpReport) -> Reason:
    (reason,) = reasons_of(procedure, report).values()
    return reason
