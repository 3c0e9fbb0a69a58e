"""Joints for tests of the score: ordinary unless said otherwise."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from registry.intervals.model import JointColumns, ScoreInputs, Scores
from registry.intervals.scores import scores
from registry.policy.document import default_policy
from registry.policy.model import Policy

POLICY = default_policy(version=3)
AS_OF = date(2026, 1, 1)
FAMILIES = {number: row.code for number, row in enumerate(POLICY.families, start=1)}
SERVICES = {number: row.name for number, row in enumerate(POLICY.services, start=1)}

_NOT_GIVEN: Mapping[str, Any] = {
    "east_m": 0.0,
    "north_m": 0.0,
    "elevation_m": np.nan,
    "area_id": 0,
    "line_id": 0,
    "size_mm": np.nan,
    "pressure_barg": 10.0,
    "temperature_degc": np.nan,
    "made_up_on": "NaT",
    "vibration_mm_s": np.nan,
    "vibration_hz": np.nan,
    "thermal_cycles_per_year": np.nan,
    "thermal_range_degc": np.nan,
    "access": 0,
    "last_vibration_mm_s": np.nan,
    "last_vibration_hz": np.nan,
    "last_make_up_on": "NaT",
    "last_make_up_accepted": False,
    "last_make_up_witnessed": False,
    "last_satisfactory_on": "NaT",
    "override_days": np.nan,
    "recall_due_on": "NaT",
}
_TYPES = {
    "joint_id": "i4",
    "area_id": "i4",
    "line_id": "i4",
    "family_id": "i2",
    "service_id": "i2",
    "access": "i2",
    "made_up_on": "datetime64[D]",
    "recall_due_on": "datetime64[D]",
    "last_make_up_on": "datetime64[D]",
    "last_satisfactory_on": "datetime64[D]",
    "last_make_up_accepted": "?",
    "last_make_up_witnessed": "?",
}


def some_joints(family: str = "twin_ferrule", service: str = "hydrogen", **given: Any) -> JointColumns:
    """Joints of a family in a service; a column is given as one value for all, or as a list with one for each."""
    codes = {code: number for number, code in FAMILIES.items()}
    names = {name: number for number, name in SERVICES.items()}
    values = {**_NOT_GIVEN, "family_id": codes[family], "service_id": names[service], **given}
    count = max((len(value) for value in values.values() if isinstance(value, list | np.ndarray)), default=1)
    values.setdefault("joint_id", list(range(1, count + 1)))
    columns = {
        name: np.broadcast_to(np.array(value, dtype=_TYPES.get(name, "f8")), count).copy()
        for name, value in values.items()
    }
    return JointColumns(**columns)


def inputs_of(joints: JointColumns, **more: Any) -> ScoreInputs:
    """The inputs of a site with these joints; area 1 is seldom visited, area 2 always peopled."""
    return ScoreInputs(joints, FAMILIES, SERVICES, {1: "rare", 2: "continuous"}, **more)


def scores_of(joints: JointColumns, policy: Policy = POLICY, as_of: date = AS_OF, **more: Any) -> Scores:
    """The scores of these joints."""
    return scores(inputs_of(joints, **more), policy, as_of)


def policy_with(**tables: Any) -> Policy:
    """The shipped policy with some of its tables replaced."""
    return replace(POLICY, **tables)
