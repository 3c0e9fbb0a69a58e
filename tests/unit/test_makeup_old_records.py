"""An old record is judged by what it says; what it could not hold is passed over, and said so."""

from dataclasses import replace
from datetime import date

import pytest

from registry.makeup.judging_tools import tools_for_steps
from registry.makeup.procedures import Procedure
from registry.makeup.reading_procedures import shipped_procedures
from registry.makeup.report import MakeUpReport, Verdict
from registry.makeup.verdict import verdict
from registry.papers.on_the_day import Calibration, Qualification
from tests.unit.some_make_ups import a_tool, good_report, shipped

MP_TORQUE = shipped("ferrule-mp-half-inch-torque")
CONE = shipped("cone-thread-torque")


def old(procedure: Procedure, **said: object) -> MakeUpReport:
    """A record with a fitter and nothing else, and what it says."""
    bare = good_report(procedure, in_retrospect=True)
    return replace(bare, **{"answers": {}, "tools": {}, "lots": {}, "qualifications": (), "witness": None, **said})


def codes(found: Verdict) -> tuple[list[str], list[str]]:
    return [reason.code for reason in found.reasons], [passed.code for passed in found.passed_over]


TURNS = [procedure for procedure in shipped_procedures() if procedure.method == "turns"]


@pytest.mark.parametrize("procedure", TURNS, ids=lambda each: each.code)
def test_a_record_by_turns_that_names_the_fitter_is_accepted_and_says_what_was_not_asked(procedure: Procedure) -> None:
    found = verdict(procedure, old(procedure))
    assert codes(found) == ([], ["fitter-not-qualified", "steps-not-asked"])
    unasked = found.passed_over[-1].text
    assert all(step.key in unasked for step in procedure.steps_for("first") if not step.optional)


def test_the_same_report_of_today_is_refused_for_each_of_them() -> None:
    procedure = shipped("twin-ferrule-turns")
    today = verdict(procedure, replace(old(procedure), in_retrospect=False))
    required = [f"{step.key}-missing" for step in procedure.steps_for("first") if not step.optional]
    assert codes(today) == (["fitter-not-qualified", *required], [])


def test_a_fitter_and_the_torque_with_its_wrench_could_have_been_written_down() -> None:
    nameless = verdict(MP_TORQUE, old(MP_TORQUE, fitter=None))
    assert codes(nameless)[0] == ["fitter-missing", "torque-wrench-missing", "torqued-missing"]


def test_what_an_old_record_says_is_judged_by_the_same_rules() -> None:
    lapsed = a_tool("torque_wrench", Calibration(date(2025, 1, 1), date(2026, 1, 1), "in tolerance", "C-1"))
    said = {"torqued": 110.0, "turned-by-torque": 0.4, "gap-gauge": True, "tube-end": False}
    found = verdict(MP_TORQUE, old(MP_TORQUE, answers=said, tools={"torque-wrench": lapsed}, witness="ana ortiz"))
    assert codes(found)[0] == [
        "witness-is-fitter",
        "tube-end-failed",
        "gap-gauge-failed",
        "tool-out-of-calibration",
        "turns-disagree-with-torque",
        "torque-off",
    ]


def test_papers_that_reach_back_to_the_day_are_held_against_it_and_younger_ones_are_not() -> None:
    young = Qualification(None, None, None, date(2026, 6, 1), None)
    old_but_ended = Qualification("ferrule_mp", None, None, date(2020, 1, 1), date(2021, 1, 1))
    said = {"answers": {"torqued": 150.0}, "tools": {"torque-wrench": a_tool("torque_wrench")}}
    passed = verdict(MP_TORQUE, old(MP_TORQUE, qualifications=(young,), **said))
    assert codes(passed) == ([], ["fitter-not-qualified", "steps-not-asked"])
    assert passed.passed_over[0].text == "Ana Ortiz: no papers are on file from before 2026-05-04"
    refused = verdict(MP_TORQUE, old(MP_TORQUE, qualifications=(young, old_but_ended), **said))
    assert codes(refused)[0] == ["fitter-not-qualified"]


def test_a_wrench_of_which_the_register_knows_nothing_from_that_time_is_passed_over() -> None:
    young = a_tool("torque_wrench", Calibration(date(2026, 6, 1), date(2027, 6, 1), "in tolerance", "C-1"))
    for tool, code in ((young, "tool-without-calibration"), ("TW-OLD", "tool-unknown")):
        found = verdict(MP_TORQUE, old(MP_TORQUE, answers={"torqued": 150.0}, tools={"torque-wrench": tool}))
        assert codes(found) == ([], ["fitter-not-qualified", "steps-not-asked", code])


def test_a_wrench_found_out_later_is_questioned_in_old_records_too() -> None:
    later = Calibration(date(2026, 6, 1), date(2027, 6, 1), "out of tolerance", "C-2")
    found = verdict(
        MP_TORQUE,
        old(MP_TORQUE, answers={"torqued": 150.0}, tools={"torque-wrench": a_tool("torque_wrench", later)}),
    )
    assert codes(found) == (
        ["tool-found-out-of-tolerance"],
        ["fitter-not-qualified", "steps-not-asked", "tool-without-calibration"],
    )


def test_a_torque_whose_target_nobody_knows_any_more_is_kept_and_not_judged() -> None:
    tools = {"torque-wrench": a_tool("torque_wrench")}
    found = verdict(CONE, old(CONE, answers={"torqued": 75.0}, tools=tools))
    assert codes(found) == ([], ["fitter-not-qualified", "steps-not-asked", "torque-target-unknown"])
    assert found.findings.torque_n_m == 75.0
    known = verdict(CONE, old(CONE, answers={"torqued": 75.0, "torque-target": 90.0}, tools=tools))
    assert codes(known)[0] == ["torque-off"]


def test_without_a_procedure_only_people_and_tools_are_judged() -> None:
    lapsed = a_tool("torque_wrench", Calibration(date(2025, 1, 1), date(2026, 1, 1), "in tolerance", "C-1"))
    found = verdict(None, old(MP_TORQUE, tools={"TW-014": lapsed}, answers={"torqued": 1.0}))
    assert codes(found) == (["tool-out-of-calibration"], ["fitter-not-qualified", "procedure-missing"])


def test_tools_of_an_old_record_find_their_steps_by_kind() -> None:
    steps = MP_TORQUE.steps_for("first")
    wrench, gauge = a_tool("torque_wrench"), a_tool("gap_gauge", serial="GG-2")
    second = a_tool("torque_wrench", serial="TW-015")
    assert tools_for_steps(steps, [gauge, wrench, second]) == {
        "gap-gauge-tool": gauge,
        "torque-wrench": wrench,
        "TW-015": second,
    }
    assert tools_for_steps(steps, ["TW-OLD", gauge]) == {"gap-gauge-tool": gauge, "torque-wrench": "TW-OLD"}
    assert tools_for_steps(steps, ["GG-OLD", wrench]) == {"torque-wrench": wrench, "GG-OLD": "GG-OLD"}
    assert tools_for_steps((), [wrench]) == {"TW-014": wrench}
