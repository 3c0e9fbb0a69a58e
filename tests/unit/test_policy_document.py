"""The policy document: what is shipped, what comes back, what is refused and how it says so."""

import copy
import json
from typing import Any

import pytest

from registry.policy.document import default_document, default_policy, policy_from
from registry.policy.model import PolicyInvalid


def _document() -> dict[str, Any]:
    return copy.deepcopy(default_document())


def _faults(document: dict[str, Any]) -> dict[str | None, str]:
    with pytest.raises(PolicyInvalid) as caught:
        policy_from(document, 1)
    assert caught.value.issues
    return {issue.column: issue.reason for issue in caught.value.issues}


def test_the_shipped_document_is_a_policy_and_comes_back_through_json() -> None:
    policy = default_policy(version=7)
    assert policy.version == 7
    assert policy_from(json.loads(json.dumps(default_document())), 7) == policy


def test_the_starting_values_are_those_of_the_design() -> None:
    policy = default_policy()
    rates = {
        row.code: (row.defect_rate_per_year, row.delay_rate_per_year, row.detection_probability)
        for row in policy.families
    }
    assert rates == {
        "flanged": (0.006, 0.8, 0.90),
        "clamp_hub": (0.004, 0.8, 0.90),
        "twin_ferrule": (0.010, 1.0, 0.90),
        "ferrule_mp": (0.008, 1.0, 0.90),
        "cone_thread": (0.008, 1.0, 0.90),
        "union": (0.012, 1.0, 0.85),
        "taper_thread": (0.015, 1.0, 0.85),
    }
    assert [row.tolerable_leaks_per_year for row in policy.classes] == [0.02, 0.008, 0.004, 0.002, 0.001]
    assert [row.cap_months for row in policy.classes] == [96, 72, 48, 24, 12]
    assert [row.floor_days for row in policy.classes] == [90, 60, 30, 14, 14]


def test_every_table_says_where_its_numbers_come_from() -> None:
    without: list[str] = []

    def look(table: Any, path: str) -> None:
        if isinstance(table, list):
            for at, row in enumerate(table):
                look(row, f"{path}[{at}]")
        elif isinstance(table, dict):
            for key, value in table.items():
                look(value, f"{path}.{key}")
            numbers = any(isinstance(value, int | float) for value in table.values())
            if numbers and not str(table.get("source", "")).strip():
                without.append(path)

    look(default_document(), "")
    # Parts of one table share its source.
    parts = (
        ".ratings",
        ".consequence.auto_ignition",
        ".consequence.hot",
        ".consequence.occupancy",
        ".pressure_step[0]",
    )
    assert [path for path in without if not path.endswith(parts)] == []


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("hydrogen", "hydrogen"),
        ("  Cooling  WATER ", "cooling water"),
        ("H2", "hydrogen"),
        ("lox", "liquid oxygen"),
        ("demin-water", "demin water"),
        ("hydrogen sulphide", "hydrogen sulfide"),
    ],
)
def test_services_are_known_by_any_of_their_names(name: str, code: str) -> None:
    found = default_policy().service(name)
    assert found is not None
    assert found.name == code


@pytest.mark.parametrize(
    ("name", "code"),
    [("RF flg", "flanged"), ("Hub clamp", "clamp_hub"), ("NPT", "taper_thread"), ("twin ferrule", "twin_ferrule")],
)
def test_families_are_known_by_any_of_their_names(name: str, code: str) -> None:
    found = default_policy().family(name)
    assert found is not None
    assert found.code == code


def test_an_unknown_name_is_nothing() -> None:
    assert default_policy().service("unicorn milk") is None
    assert default_policy().family("TBC") is None


@pytest.mark.parametrize("value", [-1, 0.5, "ten", True, None, float("nan"), float("inf"), [1.0]])
def test_a_number_out_of_place_is_named_by_its_path(value: object) -> None:
    document = _document()
    document["vibration"]["cap"] = value
    assert list(_faults(document)) == ["vibration.cap"]


def test_faults_in_rows_are_named_with_the_row_and_all_at_once() -> None:
    document = _document()
    document["family"][2]["detection_probability"] = 1.5
    document["family"][2]["full_check"] = []
    document["service"][0]["ratings"]["health"] = 5
    document["service"][1]["phase"] = "plasma"
    del document["class"][4]["weight"]
    assert set(_faults(document)) == {
        "family[2].detection_probability",
        "family[2].full_check",
        "service[0].ratings.health",
        "service[1].phase",
        "class[4].weight",
    }


def test_a_misspelt_key_is_not_passed_over() -> None:
    document = _document()
    document["vibration"]["exponnent"] = 3.0
    document["vibrations"] = {}
    assert set(_faults(document)) == {"vibration.exponnent", "vibrations"}


def test_a_missing_table_is_one_fault_and_not_ten() -> None:
    document = _document()
    del document["thermal"]
    document["make_up"] = 3
    assert set(_faults(document)) == {"thermal", "make_up"}


def test_an_empty_document_is_refused() -> None:
    assert {"title", "vibration", "family", "service", "class"} <= set(_faults({}))


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("class.tolerable_leaks_per_year", lambda d: d["class"][1].update(tolerable_leaks_per_year=0.03)),
        ("class.weight", lambda d: d["class"][4].update(weight=2.0)),
        ("class.cap_months", lambda d: d["class"][4].update(cap_months=36.0)),
        ("class.floor_days", lambda d: d["class"][4].update(floor_days=20.0)),
        ("consequence.hazard[0].classes[4]", lambda d: d["consequence"]["hazard"][0]["classes"][4].__setitem__(0, 5)),
        (
            "consequence.hazard[0].classes[..][0]",
            lambda d: d["consequence"]["hazard"][0]["classes"][0].__setitem__(0, 2),
        ),
        ("consequence.occupancy", lambda d: d["consequence"]["occupancy"].update(rare=2)),
        ("likelihood.edges_per_year", lambda d: d["likelihood"]["edges_per_year"].reverse()),
    ],
)
def test_a_table_that_would_reward_a_worse_joint_is_refused(path: str, change: Any) -> None:
    document = _document()
    change(document)
    assert path in _faults(document)


def test_a_floor_above_the_cap_is_refused() -> None:
    document = _document()
    document["class"][4].update(floor_days=14.0, cap_months=0.3)
    assert _faults(document) == {"class.floor_days": "is longer than the cap of class 5"}


def test_a_document_from_before_planning_takes_the_shipped_table() -> None:
    document = _document()
    del document["planning"]
    assert policy_from(document, 1).planning == default_policy().planning
    document["planning"] = {**_document()["planning"], "visit_minutes": 90}
    assert policy_from(document, 1).planning.visit_minutes == 90


def test_the_planning_table_is_checked() -> None:
    document = _document()
    document["planning"].update(early_share=0.6, frozen_weeks=1.5, permit_from_class=0, visit_minute=1)
    assert set(_faults(document)) == {
        "planning.early_share",
        "planning.frozen_weeks",
        "planning.permit_from_class",
        "planning.visit_minute",
    }
    document = _document()
    document["planning"].update(frozen_weeks=5, planned_weeks=4)
    assert _faults(document) == {"planning.planned_weeks": "is less than the frozen weeks"}


def test_two_rows_of_one_name_are_refused() -> None:
    document = _document()
    document["service"].append({**document["service"][0], "name": "GH2"})
    document["family"][0]["aliases"].append("Union")
    faults = _faults(document)
    assert any("is already a name of service[0]" in reason for reason in faults.values())
    assert any("is already a name of family[0]" in reason for reason in faults.values())


def test_references_between_tables_are_checked() -> None:
    document = _document()
    document["assumed"]["service"] = "nowhere"
    document["plant_factor"] = [{"family": "none", "service": "steam", "factor": 2.0, "source": "learned"}]
    assert set(_faults(document)) == {"assumed.service", "plant_factor[0].family"}


def test_a_new_family_is_a_row() -> None:
    document = _document()
    document["family"].append({**document["family"][1], "code": "lens_ring", "label": "Lens-ring joint", "aliases": []})
    found = policy_from(document, 1).family("lens-ring joint")
    assert found is not None
    assert found.code == "lens_ring"
