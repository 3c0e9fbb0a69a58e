"""Procedures are data: what is shipped, what a plant adds, what is refused and how it says so."""

import copy
import json
from collections import Counter
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from registry.makeup.procedures import (
    LOT_KINDS,
    READINGS,
    TOOL_KINDS,
    Procedure,
    ProcedureInvalid,
    ProcedureUnknown,
    procedure_for,
    procedures_for,
)
from registry.makeup.reading_procedures import (
    document_of,
    procedure_from,
    procedures_from,
    shipped_cautions,
    shipped_document,
    shipped_procedures,
)
from registry.policy.document import default_policy

SHIPPED = shipped_procedures()


def a_file(**changes: Any) -> dict[str, Any]:
    """A plant's file of one procedure, by shipped steps and one of its own."""
    procedure: dict[str, Any] = {
        "code": "lens-ring-torque",
        "title": "Lens-ring joint, by torque",
        "family": "lens_ring",
        "method": "torque",
        "size_from_mm": 0,
        "size_to_mm": 100,
        "steps": ["lens-seated", "lubricated", "torque-target", "torque-wrench", "torqued"],
        "torque": {"band": 0.05},
        "cautions": ["Lift the ring with its own tool."],
        "source": "The plant's own procedure.",
        **changes,
    }
    own = {"kind": "confirm", "ask": "Lens ring seated", "if_not": "the ring was not seated"}
    return {"procedure": [procedure], "step": {"lens-seated": own}}


def faults_of(document: dict[str, Any]) -> dict[str | None, str]:
    with pytest.raises(ProcedureInvalid) as caught:
        procedures_from(document)
    assert caught.value.issues
    return {issue.column: issue.reason for issue in caught.value.issues}


# ---------------------------------------------------------------- what is shipped


def test_every_shipped_procedure_says_where_its_values_come_from() -> None:
    for procedure in SHIPPED:
        assert any(
            word in procedure.source for word in ("common practice", "Common practice", "article", "ASME PCC-1-2013")
        )
        # What carries numbers of ours says so.
        assert "Own method" in procedure.source or "ommon practice" in procedure.source


def test_the_turns_and_torques_of_tube_fittings_are_those_of_the_trade() -> None:
    def turns(size_mm: float) -> float | None:
        found = next(p for p in procedures_for(SHIPPED, "twin_ferrule", size_mm, "turns") if "pre-swaged" not in p.code)
        return found.turns.expected if found.turns is not None else None

    assert [turns(size) for size in (1.6, 3.175, 4.76, 5.99)] == [0.75] * 4
    assert [turns(size) for size in (6.0, 6.35, 12.7, 25.0, 25.4)] == [1.25] * 5
    half_inch = procedure_for(SHIPPED, "ferrule_mp", 12.7, "torque")
    assert half_inch.torque is not None
    assert (half_inch.torque.target_n_m, half_inch.torque.turns is not None) == (150.0, True)
    by_turns = [p.turns.expected for p in procedures_for(SHIPPED, "ferrule_mp", 12.7, "turns") if p.turns is not None]
    assert 1.0 in by_turns


def test_above_one_inch_a_twin_ferrule_is_pre_swaged() -> None:
    assert [p.code for p in procedures_for(SHIPPED, "twin_ferrule", 38.0)] == ["twin-ferrule-large-pre-swaged-turns"]


def test_every_make_up_method_of_the_shipped_policy_has_a_procedure() -> None:
    for family in default_policy().families:
        for method in family.make_up_methods:
            assert procedures_for(SHIPPED, family.code, family.assumed_size_mm, method.method), (family.code, method)


def test_there_is_one_procedure_without_pre_swaging_for_a_size_and_method() -> None:
    plain = [p for p in SHIPPED if "pre-swaged" not in p.code or "large" in p.code]
    sizes = {size for p in plain for size in (p.size_from_mm, p.size_to_mm - 0.001)}
    for family, method in {(p.family, p.method) for p in plain}:
        assert not [size for size in sizes if len(procedures_for(plain, family, size, method)) > 1]


def test_no_shipped_step_is_left_over() -> None:
    document: Any = shipped_document()
    named = Counter(name for procedure in document["procedure"] for name in procedure["steps"])
    assert not set(document["step"]) - set(named)


def test_a_procedure_by_torque_lets_the_adaptor_be_told() -> None:
    for procedure in SHIPPED:
        reads = {step.reads for step in procedure.steps}
        assert (procedure.method != "torque") or {"wrench_length_mm", "adaptor_length_mm", "adaptor_angle_deg"} <= reads


def test_cautions_stand_in_every_procedure_the_common_ones_first() -> None:
    assert len(shipped_cautions()) >= 4
    for procedure in SHIPPED:
        assert procedure.cautions[: len(shipped_cautions())] == shipped_cautions()


@pytest.mark.parametrize("procedure", SHIPPED, ids=lambda each: each.code)
def test_a_procedure_comes_back_from_its_stored_document(procedure: Procedure) -> None:
    stored = json.loads(json.dumps(document_of(procedure)))
    assert "version" not in stored
    assert procedure_from(stored, 1) == procedure
    assert procedure_from(stored, 4) == replace(procedure, version=4)


# ---------------------------------------------------------------- choosing


def test_the_procedure_made_for_the_fewest_sizes_comes_first() -> None:
    assert [p.code for p in procedures_for(SHIPPED, "ferrule_mp", 12.7)] == [
        "ferrule-mp-half-inch-torque",
        "ferrule-mp-pre-swaged-turns",
        "ferrule-mp-turns",
    ]


def test_an_unknown_size_leaves_every_procedure_of_the_family_to_choose_from() -> None:
    assert len(procedures_for(SHIPPED, "twin_ferrule", None)) == 4


def test_no_procedure_is_said_in_words() -> None:
    assert procedures_for(SHIPPED, "twin_ferrule", 12.7, "torque") == ()
    with pytest.raises(ProcedureUnknown, match=r"no procedure for twin_ferrule of 12\.7 mm by torque"):
        procedure_for(SHIPPED, "twin_ferrule", 12.7, "torque")


def test_the_settling_check_is_the_procedure_s_or_the_policy_s() -> None:
    assert procedure_for(SHIPPED, "flanged", 100.0, "torque").settles_on(date(2026, 5, 4)) == date(2026, 5, 18)
    assert procedure_for(SHIPPED, "union", 25.0, "turns").settles_on(date(2026, 5, 4)) is None


# ---------------------------------------------------------------- a plant's own


def test_a_plant_adds_a_procedure_by_shipped_steps_and_its_own() -> None:
    (found,) = procedures_from(a_file(), version=3)
    assert (found.version, found.family, found.method) == (3, "lens_ring", "torque")
    assert [step.key for step in found.steps][:2] == ["lens-seated", "lubricated"]
    assert found.cautions == (*shipped_cautions(), "Lift the ring with its own tool.")
    assert procedure_from(json.loads(json.dumps(document_of(found))), 3) == found


def test_a_plant_may_ask_for_readings_of_its_own() -> None:
    document = a_file()
    document["step"]["bore"] = {
        "kind": "number", "reads": "bore_mm", "unit": "mm", "ask": "Bore", "if_not": "the bore was not measured",
    }  # fmt: skip
    document["procedure"][0]["steps"].append("bore")
    assert procedures_from(document)[0].steps[-1].reads == "bore_mm"


def test_a_plant_s_step_of_a_shipped_name_goes_before_ours() -> None:
    document = a_file()
    document["step"]["lubricated"] = {"kind": "confirm", "ask": "Paste on the threads", "if_not": "no paste"}
    assert procedures_from(document)[0].steps[1].ask == "Paste on the threads"


def test_common_cautions_cannot_be_taken_away() -> None:
    document = {**a_file(), "cautions": {"always": ["Ours only."]}}
    assert procedures_from(document)[0].cautions[: len(shipped_cautions())] == shipped_cautions()


def test_a_stored_document_needs_a_caution() -> None:
    document = document_of(SHIPPED[0])
    document["cautions"] = []
    with pytest.raises(ProcedureInvalid):
        procedure_from(document, 1)


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("changes", "column", "reason"),
    [
        ({"code": "Lens Ring"}, "procedure[0].code", "small letters"),
        ({"method": "feel"}, "procedure[0].method", "must be one of turns, torque, tension"),
        ({"size_to_mm": 0}, "procedure[0].size_to_mm", "must be above 0"),
        ({"size_from_mm": 200}, "procedure[0].size_to_mm", "above size_from_mm"),
        ({"torque": {"band": 0.9}}, "procedure[0].torque.band", "at most 0.5"),
        ({"torque": {"band": 0.05, "taget_n_m": 3}}, "procedure[0].torque.taget_n_m", "is not a key"),
        ({"torque": {"band": 0.05, "turns": {"expected": 1}}}, "procedure[0].torque.turns.tolerance", "is missing"),
        ({"settling_days": 0.5}, "procedure[0].settling_days", "whole number"),
        ({"source": " "}, "procedure[0].source", "must be text"),
        ({"colour": "red"}, "procedure[0].colour", "is not a key"),
        ({"steps": []}, "procedure[0].steps", "at least 1"),
        ({"steps": ["torqed"]}, "procedure[0].steps[0]", "is not a step"),
        ({"torque": None}, "procedure[0].method", "needs the table torque"),
        ({"turns": {"expected": 1, "tolerance": 0.1}}, "procedure[0].method", "has no use for turns"),
        ({"method": "turns", "torque": None}, "procedure[0].method", "needs the table turns"),
        ({"steps": ["torque-wrench", "torqued"]}, "procedure[0].method", "needs torque.target_n_m"),
        ({"steps": ["torque-target", "torque-wrench"]}, "procedure[0].method", "reads torque_n_m"),
        ({"steps": ["torque-target", "torqued"]}, "procedure[0].method", "asks for the torque wrench"),
        (
            {"torque": {"band": 0.05, "turns": {"expected": 1, "tolerance": 0.2}}},
            "procedure[0].method",
            "reads turns, for torque.turns",
        ),
        (
            {"steps": ["torque-target", "torque-wrench", "torqued", "torque-target-of-gasket"]},
            "procedure[0].steps[3]",
            "reads torque_target_n_m as 'torque-target' does",
        ),
        (
            {"steps": ["torque-target", "torque-wrench", "torqued", "torqued"]},
            "procedure[0].steps[3]",
            "stands twice",
        ),
        ({"bolting": {"scatter": 0.3, "passes": [0.7, 0.3]}}, "procedure[0].bolting.passes", "must rise to 1"),
        ({"bolting": {"scatter": 0.3, "passes": [0.7, 1.0], "nut_factor": 0.2}}, "procedure[0].bolting", "together"),
        (
            {"bolting": {"scatter": 0.3, "passes": [1.0], "nut_factor": 0.2, "target_stress_mpa": 300}},
            "procedure[0].bolting.target_stress_mpa",
            "reads bolt_diameter_mm",
        ),
        (
            {"bolting": {"scatter": 0.3, "passes": [1.0], "gap_difference_mm": 0.5}},
            "procedure[0].bolting.gap_difference_mm",
            "both gaps",
        ),
    ],
)
def test_a_fault_is_named_by_its_path(changes: dict[str, Any], column: str, reason: str) -> None:
    document = a_file()
    document["procedure"][0] = {
        key: value for key, value in {**document["procedure"][0], **changes}.items() if value is not None
    }
    found = faults_of(document)
    assert list(found) == [column]
    assert reason in str(found[column])


@pytest.mark.parametrize(
    ("step", "reason"),
    [
        ({"kind": "wish"}, "must be one of confirm, absent, number, tool, lot"),
        ({"if_not": ""}, "must say in if_not"),
        ({"kind": "number"}, "must have reads and unit"),
        ({"reads": "bore_mm", "unit": "mm"}, "is no number: reads"),
        ({"most": 3.0}, "is no number: least"),
        ({"kind": "number", "reads": "bore_mm", "unit": "mm", "least": 3, "most": 2}, "least above its most"),
        ({"kind": "number", "reads": "gap_most_mm", "unit": "in"}, "in mm, not in in"),
        ({"kind": "number", "reads": "wrench_length_mm", "unit": "mm"}, "least above 0"),
        ({"kind": "tool"}, "which kind of tool"),
        ({"kind": "tool", "tool": "hammer"}, "must be one of torque_wrench"),
        ({"tool": "gap_gauge"}, "is no tool: tool"),
        ({"calibrated": False}, "is no tool: calibrated"),
        ({"kind": "lot"}, "what the lot is of"),
        ({"lot": "tube"}, "is no lot"),
        ({"only": "second"}, "must be one of first, re-make"),
        ({"optional": "yes"}, "true or false"),
        ({"asks": "?"}, "is not a key"),
    ],
)
def test_a_step_that_does_not_hold_together_is_refused(step: dict[str, Any], reason: str) -> None:
    document = a_file()
    document["step"]["lens-seated"].update(step)
    assert reason in " ".join(faults_of(document).values())


def test_two_procedures_of_one_code_are_refused() -> None:
    document = a_file()
    document["procedure"].append(copy.deepcopy(document["procedure"][0]))
    assert faults_of(document) == {"procedure[1].code": "is already that of procedure[0]"}


def test_faults_are_given_all_at_once_and_an_empty_file_is_refused() -> None:
    document = a_file(code="?!", source=None, colour=1)
    assert {"procedure[0].code", "procedure[0].source", "procedure[0].colour"} <= set(faults_of(document))
    assert faults_of({}) == {"procedure": "must be a list"}
    assert faults_of({"procedure": 3}) == {"procedure": "must be a list"}


def test_a_stored_document_names_its_faults_too() -> None:
    document = document_of(SHIPPED[0])
    document["steps"][2]["kind"] = "wish"
    document["steps"][3]["akey"] = "x"
    with pytest.raises(ProcedureInvalid) as caught:
        procedure_from(document, 1)
    assert {issue.column for issue in caught.value.issues} == {"steps[2].kind", "steps[3].akey"}


def test_kinds_are_those_that_the_records_can_hold() -> None:
    assert TOOL_KINDS == ("torque_wrench", "tensioner", "gap_gauge", "pre_swage", "other")
    assert LOT_KINDS == ("gasket", "ferrule_set", "tube", "seal_ring", "bolt_set")
    assert READINGS["torque_n_m"] == "N·m"
