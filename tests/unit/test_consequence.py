"""The consequence class and its reasons."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from registry.intervals.explanation import explanation
from tests.unit.some_joints import AS_OF, POLICY, inputs_of, policy_with, scores_of, some_joints


def _class(**given: object) -> int:
    return int(scores_of(some_joints(**given)).consequence_class[0])


def _reasons(**given: object) -> str:
    inputs = inputs_of(some_joints(**given))
    return "\n".join(explanation("A", inputs, POLICY, AS_OF, 1).consequence_reasons)


def test_hydrogen_rises_with_pressure_through_release_band_and_high_pressure() -> None:
    found = scores_of(some_joints(pressure_barg=[0.0, 1.0, 10.0, 60.0, 120.0])).consequence_class
    assert found.tolist() == [2, 2, 3, 4, 5]


def test_liquid_ammonia_is_worse_than_its_gas() -> None:
    cold_gas = _class(service="ammonia", pressure_barg=5.0, temperature_degc=25.0)
    liquid = _class(service="ammonia", pressure_barg=15.0, temperature_degc=25.0)
    assert (cold_gas, liquid) == (3, 4)


def test_above_auto_ignition_a_leak_burns() -> None:
    below = _class(service="lube oil", pressure_barg=10.0, temperature_degc=340.0)
    above = _class(service="lube oil", pressure_barg=10.0, temperature_degc=360.0)
    assert above == below + 1
    assert "auto-ignition" in _reasons(service="lube oil", pressure_barg=10.0, temperature_degc=360.0)


def test_people_raise_the_class_where_they_always_are() -> None:
    assert _class(area_id=2) == _class(area_id=1) + 1
    assert "people in the area: continuous: +1" in _reasons(area_id=2)


def test_hot_water_burns() -> None:
    assert _class(service="cooling water", temperature_degc=59.0) == 1
    assert _class(service="cooling water", temperature_degc=60.0) == 2
    assert "burns" in _reasons(service="cooling water", temperature_degc=60.0)


def test_a_vacuum_lets_nothing_out_and_says_so() -> None:
    given = {"service": "steam", "pressure_barg": -0.9, "temperature_degc": 90.0, "area_id": 2}
    found = scores_of(some_joints(**given))
    assert found.release_kg_s[0] == 0.0
    assert found.consequence_class[0] == 1
    assert "no release" in _reasons(**given)


def test_the_class_never_passes_five() -> None:
    assert _class(service="hydrogen sulfide", pressure_barg=200.0, temperature_degc=400.0, area_id=2) == 5


@pytest.mark.parametrize("hazard", ["health", "flammability", "reactivity"])
def test_a_higher_rating_never_lowers_the_class(hazard: str) -> None:
    pressures = list(np.linspace(-0.5, 300.0, 60))
    classes: list[np.ndarray] = []
    for rating in range(5):
        services = tuple(
            replace(row, ratings={**row.ratings, hazard: rating}) if row.name == "methanol" else row
            for row in POLICY.services
        )
        joints = some_joints(service="methanol", pressure_barg=pressures, temperature_degc=400.0)
        classes.append(scores_of(joints, policy_with(services=services)).consequence_class)
    for lower, higher in pairwise(classes):
        assert (higher >= lower).all()
    assert (classes[4] > classes[0]).any()


def test_a_service_without_a_row_is_taken_as_the_policy_says_and_said_so() -> None:
    joints = some_joints()
    inputs = replace(inputs_of(joints), service_names={int(joints.service_id[0]): "mystery brew"})
    found = explanation("A", inputs, POLICY, AS_OF, 1)
    assert "the policy has no service 'mystery brew': taken as natural gas" in found.consequence_reasons
    assert "service (no row in the policy)" in found.assumed


def test_a_new_service_is_a_row_and_nothing_else() -> None:
    methane = POLICY.service("methane")
    assert methane is not None
    biogas = replace(methane, name="biogas", aliases=(), ratings={**methane.ratings, "health": 3})
    joints = some_joints()
    inputs = replace(inputs_of(joints), service_names={int(joints.service_id[0]): "Biogas "})
    policy = policy_with(services=(*POLICY.services, biogas))
    found = explanation("A", inputs, policy, AS_OF, 1)
    assert "toxic or corrosive, rating 3" in "\n".join(found.consequence_reasons)
    assert "service (no row in the policy)" not in found.assumed
