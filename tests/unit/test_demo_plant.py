"""Saltmarsh Point is laid out as a plant is: connected walkways, valid outlines, joints where pipes run."""

import json
import re
from datetime import date

import numpy as np
import polars as pl
import pytest
import shapely

from registry.demo.areas import AREAS
from registry.demo.joints import FAMILIES, Plant, plant
from registry.demo.layout import JOINTS_A_BLOCK, blocks_for, plot_plan
from registry.demo.lists import joint_list, line_codes
from registry.plant.drawing_faults import drawing_faults
from registry.plant.features import checked_features
from registry.plant.geojson import read_geojson
from registry.plant.model import PlotPlan
from registry.plant.model import plot_plan as plan_of
from registry.policy.document import default_document, policy_from
from registry.routes.hanging import AROUND, hung, mainland_from
from registry.routes.walkways import walking_ground

AS_OF = date(2026, 11, 25)


@pytest.fixture(scope="module")
def saltmarsh() -> Plant:
    return plant(12_000, 1, AS_OF)


def read_plan(joints: int) -> PlotPlan:
    reading = read_geojson(json.dumps(plot_plan(blocks_for(joints))).encode())
    features, issues = checked_features(reading.features)
    assert [*reading.issues, *issues] == []
    names = [feature.name or "" for feature in features if feature.kind == "area"]
    return plan_of(features, {name: number for number, name in enumerate(names, start=1)})


@pytest.mark.parametrize("joints", [1, 7, 500, 12_000, 90_001])
def test_a_plant_has_exactly_the_joints_that_were_asked_for(joints: int) -> None:
    built = plant(joints, 3, AS_OF)
    assert len(built.joints) == joints
    assert all(len(column) == joints for column in (built.joints.east_m, built.joints.family, built.joints.outage))


def test_the_same_arguments_give_the_same_plant_and_another_seed_another(saltmarsh: Plant) -> None:
    again, other = plant(12_000, 1, AS_OF), plant(12_000, 2, AS_OF)
    assert joint_list(again, 1).equals(joint_list(saltmarsh, 1))
    assert not joint_list(other, 1).equals(joint_list(saltmarsh, 1))


@pytest.mark.parametrize("joints", [12_000, 3 * JOINTS_A_BLOCK])
def test_the_plan_has_no_drawing_fault(joints: int) -> None:
    assert drawing_faults(read_plan(joints)) == []


def test_a_larger_plant_grows_by_blocks_and_keeps_its_density() -> None:
    assert len(blocks_for(12_000)) == 1
    assert len(blocks_for(1_000_000)) == 25
    plan = read_plan(5 * JOINTS_A_BLOCK)
    assert len(plan.areas) == 5 * len(AREAS)
    outlines = [area.outline for area in plan.areas]
    together = shapely.union_all(outlines).area
    assert together == pytest.approx(sum(outline.area for outline in outlines))  # no two areas overlap


def test_nearly_every_joint_lies_in_the_area_that_the_list_names(saltmarsh: Plant) -> None:
    plan = read_plan(12_000)
    names = {area.area_id: area.name for area in plan.areas}
    found = plan.area_of(saltmarsh.joints.east_m, saltmarsh.joints.north_m)
    listed = joint_list(saltmarsh, 1)["area"].to_list()
    agreeing = sum(names.get(int(area), "") == name for area, name in zip(found, listed, strict=True))
    assert agreeing / len(listed) > 0.99


def test_every_joint_has_a_walkway_within_a_few_steps(saltmarsh: Plant) -> None:
    lines = [walkway.line for walkway in read_plan(12_000).walkways]
    tree = shapely.STRtree(shapely.force_2d(lines))
    places = shapely.points(saltmarsh.joints.east_m, saltmarsh.joints.north_m)
    distance = tree.query_nearest(places, return_distance=True, all_matches=False)[1]
    assert np.quantile(distance, 0.99) < 12.0
    assert distance.max() < 25.0


def test_joints_stand_on_lines_and_not_all_over_the_place(saltmarsh: Plant) -> None:
    """Most joints have another of their own line within arm's reach; scattered evenly, few would."""
    joints = saltmarsh.joints
    order = np.lexsort((joints.number, joints.line))
    place = np.column_stack([joints.east_m, joints.north_m, np.nan_to_num(joints.elevation_m)])[order]
    near = np.linalg.norm(np.diff(place, axis=0), axis=1) < 1.5
    assert near[np.diff(joints.line[order]) == 0].mean() > 0.5


def test_tags_and_lines_are_named_as_the_unit_they_stand_in(saltmarsh: Plant) -> None:
    frame = joint_list(saltmarsh, 1)
    assert frame["tag"].n_unique() == frame.height
    assert all(re.fullmatch(r"[1-8]0-(FL|CH|TW|CO|FE|TA|UN)-\d{5}", tag) for tag in frame["tag"])
    lines = frame["line"].drop_nulls()
    assert all(re.fullmatch(r"[1-8]0-[A-Z]{2}-\d{3}", line) for line in lines.unique())
    assert set(lines.unique()) <= set(line_codes(saltmarsh))
    same_unit = frame.select((pl.col("line").str.head(2) == pl.col("tag").str.head(2)).all()).item()
    assert same_unit


def test_what_a_joint_list_must_have_is_there_and_much_else_is_missing(saltmarsh: Plant) -> None:
    nulls = joint_list(saltmarsh, 1).null_count().row(0, named=True)
    for required in ("tag", "family", "east_m", "north_m", "service", "pressure_barg"):
        assert nulls[required] == 0
    for optional in ("size_mm", "temperature_degc", "made_up_on", "fitter", "access", "thermal_range_degc"):
        assert 0 < nulls[optional] < 12_000


def test_pressures_and_families_suit_the_service(saltmarsh: Plant) -> None:
    frame = joint_list(saltmarsh, 1)
    hydrogen = frame.filter((pl.col("service") == "hydrogen") & (pl.col("area") == "Hydrogen compression"))
    assert hydrogen["pressure_barg"].max() > 200
    loop = frame.filter(pl.col("service") == "syngas")
    assert loop["pressure_barg"].is_between(150, 200).all()
    cold = frame.filter((pl.col("service") == "ammonia") & (pl.col("area") == "Ammonia storage"))
    assert cold["temperature_degc"].min() == pytest.approx(-33, abs=1)
    assert frame.filter(pl.col("pressure_barg") > 100)["family"].is_in(["taper_thread", "union"]).sum() == 0
    assert set(frame["family"].unique()) == set(FAMILIES)
    tube = frame.filter(pl.col("family") == "twin_ferrule")["size_mm"].drop_nulls()
    assert tube.max() <= 25


def test_a_crew_reaches_every_joint_from_the_gate_and_climbs_little(saltmarsh: Plant) -> None:
    ground = walking_ground(read_plan(12_000), policy_from(default_document(), 1).walking)
    gate = np.array([34.0, 145.0, 0.0])
    joints = saltmarsh.joints
    points = np.column_stack([joints.east_m, joints.north_m, np.nan_to_num(joints.elevation_m, nan=1.0)])
    found = hung(ground, points, mainland_from(ground, gate))
    assert (found.state <= AROUND).mean() > 0.999
    assert np.quantile(found.climb_m, 0.99) < 2.0
    # What the list calls 'grade' can be reached standing on the ground.
    assert found.climb_m[joints.access == 0].max() <= 0.5
