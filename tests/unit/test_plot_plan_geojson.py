"""A plot plan as GeoJSON: what is taken, and how each fault is said with its feature and place."""

import json
from typing import Any

import numpy as np
import pytest

from registry.plant.features import checked_features
from registry.plant.geojson import read_geojson
from registry.plant.model import PlanRefused, PlotPlan, plot_plan
from registry.plant.service import checked_plan

SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]]


def feature(kind: str, geometry: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": {"kind": kind, **properties}, "geometry": geometry}


def area(name: str = "10 Hall", ring: list[list[float]] | None = None, **properties: Any) -> dict[str, Any]:
    return feature("area", {"type": "Polygon", "coordinates": [ring or SQUARE]}, name=name, **properties)


def line(kind: str, *positions: list[float], **properties: Any) -> dict[str, Any]:
    return feature(kind, {"type": "LineString", "coordinates": list(positions)}, **properties)


def point(kind: str, *position: float, **properties: Any) -> dict[str, Any]:
    return feature(kind, {"type": "Point", "coordinates": list(position)}, **properties)


def content(*features: Any) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def reasons(*features: Any) -> list[tuple[int | None, str | None, str]]:
    reading = read_geojson(content(*features))
    _, issues = checked_features(reading.features)
    return [(issue.row, issue.column, issue.reason) for issue in [*reading.issues, *issues]]


def plan_of(*features: Any) -> PlotPlan:
    reading = read_geojson(content(*features))
    checked, issues = checked_features(reading.features)
    assert not reading.issues
    assert not issues
    names = [item.name or "" for item in checked if item.kind == "area"]
    return plot_plan(checked, {name: number for number, name in enumerate(names, start=1)})


def test_every_kind_is_read_with_its_elevation_and_properties() -> None:
    plan = plan_of(
        area(occupancy="frequent"),
        feature("equipment", {"type": "Polygon", "coordinates": [SQUARE]}, name="V-101", elevation_m=1.5),
        line("walkway", [0, 0], [10, 0], elevation_m=5.5, width_m=1.2),
        line("stair", [0, 0, 0], [3, 0, 5.5]),
        feature("obstacle", {"type": "Polygon", "coordinates": [SQUARE]}, elevation_m=0, top_elevation_m=4),
        point("vibration_source", 5, 5, name="K-201", velocity_mm_s=9, frequency_hz=25, radius_m=30),
        point("gate", 0, 0, 0.5, name="Main gate"),
    )
    assert plan.areas[0].occupancy == "frequent"
    assert plan.equipment[0].elevation_m == 1.5
    assert plan.walkways[0].line.coords[1] == (10, 0, 5.5)
    assert plan.walkways[0].width_m == 1.2
    assert plan.stairs[0].line.coords[-1] == (3, 0, 5.5)
    assert (plan.obstacles[0].base_m, plan.obstacles[0].top_m) == (0, 4)
    assert (plan.vibration_sources[0].velocity_mm_s, plan.vibration_sources[0].decay) == (9, 1)
    assert (plan.gates[0].name, plan.gates[0].elevation_m) == ("Main gate", 0.5)


def test_a_ladder_may_be_a_point_and_a_stair_flat_with_two_elevations() -> None:
    plan = plan_of(
        area(),
        point("stair", 3, 4, elevation_m=0, top_elevation_m=5.5),
        line("stair", [0, 0], [2, 0], [6, 0], elevation_m=1, top_elevation_m=4),
    )
    assert plan.stairs[0].climb == "ladder"
    assert [tuple(vertex) for vertex in plan.stairs[0].line.coords] == [(3, 4, 0), (3, 4, 5.5)]
    assert [vertex[2] for vertex in plan.stairs[1].line.coords] == [1, 2, 4]


@pytest.mark.parametrize(
    ("wrong", "row", "column", "said"),
    [
        (
            area("20 Yard", [[0, 0], [10, 10], [10, 0], [0, 10], [0, 0]]),
            2,
            "geometry",
            "crosses itself at east 5.00 m, north 5.00 m",
        ),
        (
            area("20 Yard", [[0, 0], [10, 0], [10, 10], [0, 9]]),
            2,
            "geometry",
            "not closed: it ends 9.00 m from its start",
        ),
        (area("20 Yard", [[0, 0], [10, 0], [0, 0]]), 2, "geometry", "needs four positions"),
        (area("20 Yard", [[0, 0], [10, 0], [10, float("nan")], [0, 0]]), 2, "geometry", "not a finite number"),
        (area("20 Yard", [[0, 0], [10, 0], [10, float("inf")], [0, 0]]), 2, "geometry", "not a finite number"),
        (area("20 Yard", [[0, 0], [10, 0], [10, "ten"], [0, 0]]), 2, "geometry", "'ten' is not a number"),
        (area("20 Yard", [[0, 0], [10, 0], [5, 0], [0, 0]]), 2, "geometry", "encloses nothing"),
        (area("20 Yard", [[0, 0], [1e9, 0], [1e9, 1e9], [0, 0]]), 2, "geometry", "is that metres?"),
        (area(" 10 HALL"), 2, "name", "taken already by feature 1"),
        (area(""), 2, "name", "the area has no name"),
        (area("20 Yard", occupancy="crowded"), 2, "occupancy", "one of rare, occasional"),
        (feature("pond", {"type": "Point", "coordinates": [0, 0]}), 2, "kind", "unknown kind"),
        (feature("walkway", {"type": "LineString", "coordinates": []}), 2, "geometry", "empty geometry"),
        (feature("walkway", None), 2, "geometry", "it has no geometry"),
        (feature("walkway", {"type": "Circle", "coordinates": [0]}), 2, "geometry", "is not one of"),
        (line("walkway", [0, 0], [0, 0]), 2, "geometry", "has no length"),
        (line("walkway", [0, 0], [1, 0], width_m=-1), 2, "width_m", "must be above zero"),
        (line("walkway", [0, 0], [1, 0], elevation_m="high"), 2, "elevation_m", "not a number"),
        (line("walkway", [0, 0, 1], [1, 0]), 2, "geometry", "some positions have an elevation"),
        (line("stair", [0, 0], [3, 0], elevation_m=2), 2, "elevation", "which two elevations it joins"),
        (line("stair", [0, 0, 2], [3, 0, 2]), 2, "elevation", "which two elevations it joins"),
        (
            line("stair", [0, 0], [3, 0], elevation_m=2, top_elevation_m=1),
            2,
            "top_elevation_m",
            "the top must lie above",
        ),
        (point("gate", 0, 0), 2, "name", "the gate has no name"),
        (point("walkway", 0, 0), 2, "geometry", "where LineString is wanted"),
        (point("vibration_source", 0, 0, frequency_hz=25, radius_m=9), 2, "velocity_mm_s", "needs velocity_mm_s"),
    ],
)
def test_each_fault_names_its_feature_and_place(wrong: Any, row: int, column: str, said: str) -> None:
    found = reasons(area(), wrong)
    assert [(where, what) for where, what, _ in found] == [(row, column)]
    assert said in found[0][2]


def test_all_faults_are_told_at_once() -> None:
    assert [row for row, _, _ in reasons(area(), feature("pond", None), point("gate", 0, 0), area())] == [2, 3, 4]


def test_a_plan_without_an_area_is_refused() -> None:
    with pytest.raises(PlanRefused) as refused:
        checked_plan(read_geojson(content(line("walkway", [0, 0], [5, 0]))), "plan.geojson")
    assert [issue.reason.partition(":")[0] for issue in refused.value.issues] == ["the plan has no area outline"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (b"", "the file is empty"),
        (b"  \n", "the file is empty"),
        (b"PK\x03\x04\xff\xfe", "not UTF-8"),
        (b"{", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b"[1, 2]", "no GeoJSON FeatureCollection"),
        (b'{"type": "FeatureCollection", "features": []}', "no features"),
    ],
)
def test_what_is_no_plan_is_refused_in_one_sentence(given: bytes, said: str) -> None:
    with pytest.raises(PlanRefused, match=said):
        read_geojson(given)


def test_area_of_takes_the_smaller_of_two_areas_and_the_edge_counts() -> None:
    plan = plan_of(area("10 Unit", [[0, 0], [100, 0], [100, 100], [0, 100], [0, 0]]), area("11 Hut"))
    east, north = np.array([5.0, 50.0, 100.0, 100.1]), np.array([5.0, 50.0, 50.0, 50.0])
    assert plan.area_of(east, north).tolist() == [2, 1, 1, 0]
    assert plan.area_of(np.array([np.nan]), np.array([1.0])).tolist() == [0]


def test_an_area_is_known_by_its_name_with_or_without_its_number() -> None:
    plan = plan_of(area("10 Electrolysis hall"), area("20 Jetty", [[20, 0], [30, 0], [30, 9], [20, 0]]))
    for name in ("10 Electrolysis hall", "electrolysis  HALL", "10"):
        found = plan.area_named(name)
        assert found is not None
        assert found.name == "10 Electrolysis hall"
    assert plan.area_named("Hall") is None
    assert plan.area_named("") is None


def test_the_sheet_grid_names_fields_from_the_north_west() -> None:
    plan = plan_of(area("10 Unit", [[12, 30], [690, 30], [690, 300], [12, 300], [12, 30]]))
    assert plan.grid_reference(1, 299) == "A1"
    assert plan.grid_reference(160, 190) == "C4"
    assert plan.grid_reference(-5, 190) == "off plan"
