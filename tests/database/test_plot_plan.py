"""A plot plan in the database: whole or not at all, areas kept by name, joints following the outlines."""

import json
from hashlib import sha256
from typing import Any

import pytest

from registry.db import Connection, Database
from registry.intake.mapping_file import read_mapping
from registry.intake.tables import read_table
from registry.joints.service import import_list, place_in_areas
from registry.plant import store
from registry.plant.model import PlanMissing, PlanRefused
from registry.plant.service import current_plan, import_plan_file
from registry.policy.service import publish_first
from tests.conftest import FIXTURES, new_site
from tests.database.small_site import AS_OF, number

DRAWING = (FIXTURES / "plot_plan.dxf").read_bytes()
LAYERS = (FIXTURES / "plot_plan_layers.toml").read_bytes()


def outline(name: str, west: float, south: float, east: float, north: float, **properties: Any) -> dict[str, Any]:
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {
        "type": "Feature",
        "properties": {"kind": "area", "name": name, **properties},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


def plan_bytes(*features: dict[str, Any]) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def add_joint(connection: Connection, tag: str, east: float, north: float, area_id: int | None = None) -> None:
    connection.execute(
        "INSERT INTO joint (site_id, tag, family_id, service_id, area_id, location, pressure_barg, intake_id)"
        " VALUES (current_site(), %s, 1, 1, %s, point(%s, %s), 5, 1)",
        [tag, area_id, east, north],
    )


def areas_of_joints(connection: Connection) -> dict[str, str | None]:
    rows = connection.execute(
        "SELECT j.tag, a.name FROM joint j LEFT JOIN area a ON a.site_id = j.site_id AND a.area_id = j.area_id"
        " WHERE j.site_id = current_site()"
    )
    return dict(rows.fetchall())


def test_the_sample_drawing_loads_and_again_changes_nothing(connection: Connection) -> None:
    report = import_plan_file(connection, DRAWING, "plot_plan.dxf", LAYERS)
    assert report.changed
    assert dict(report.counts) == {"area": 8, "equipment": 16, "obstacle": 8, "walkway": 9}
    assert len(report.areas_added) == 8
    assert not report.faults
    again = import_plan_file(connection, DRAWING, "plot_plan.dxf", LAYERS)
    assert not again.changed
    assert again.intake_id == report.intake_id
    assert number(connection, "SELECT count(*) FROM intake WHERE site_id = current_site()") == 1


def test_what_is_read_back_is_what_was_loaded(connection: Connection) -> None:
    features = [
        outline("10 Hall", 0, 0, 50, 40, occupancy="frequent"),
        {
            "type": "Feature",
            "properties": {"kind": "stair", "name": "S-1"},
            "geometry": {"type": "LineString", "coordinates": [[1, 1, 0.0], [4, 1, 5.5]]},
        },
        {
            "type": "Feature",
            "properties": {"kind": "obstacle", "top_elevation_m": 4, "elevation_m": 0},
            "geometry": {"type": "LineString", "coordinates": [[0, 50], [9, 50]]},
        },
        {
            "type": "Feature",
            "properties": {
                "kind": "vibration_source", "name": "K-1",
                "velocity_mm_s": 9, "frequency_hz": 25, "radius_m": 30, "decay": 2,
            },
            "geometry": {"type": "Point", "coordinates": [5, 5]},
        },
    ]  # fmt: skip
    report = import_plan_file(connection, plan_bytes(*features), "plan.geojson")
    plan = current_plan(connection)
    assert plan == report.after
    assert (plan.areas[0].name, plan.areas[0].occupancy) == ("10 Hall", "frequent")
    assert plan.stairs[0].line.coords[1] == (4, 1, 5.5)
    assert (plan.obstacles[0].base_m, plan.obstacles[0].top_m) == (0, 4)
    source = plan.vibration_sources[0]
    assert (source.name, source.elevation_m, source.decay) == ("K-1", 0, 2)


def test_a_refused_plan_leaves_the_one_before_untouched(connection: Connection) -> None:
    import_plan_file(connection, plan_bytes(outline("10 Hall", 0, 0, 50, 40)), "one.geojson")
    crossing = outline("20 Yard", 60, 0, 90, 40)
    crossing["geometry"]["coordinates"][0][1:3] = [[90, 40], [90, 0]]
    with pytest.raises(PlanRefused, match=r"two\.geojson has 1 fault; nothing was loaded") as refused:
        import_plan_file(connection, plan_bytes(outline("30 New", 0, 0, 9, 9), crossing), "two.geojson")
    assert [(issue.row, "'20 Yard' crosses itself" in issue.reason) for issue in refused.value.issues] == [(2, True)]
    assert [area.name for area in current_plan(connection).areas] == ["10 Hall"]
    assert [area.name for area in store.list_areas(connection)] == ["10 Hall"]


def test_an_area_keeps_its_number_by_its_name_and_its_occupancy_until_a_plan_says_otherwise(
    connection: Connection,
) -> None:
    first = import_plan_file(connection, plan_bytes(outline("10 Hall", 0, 0, 50, 40, occupancy="rare")), "one")
    second = import_plan_file(
        connection, plan_bytes(outline("20 Yard", 60, 0, 90, 40), outline("10 Hall", 0, 0, 55, 40)), "two"
    )
    kept = {area.name: area for area in second.after.areas}["10 Hall"]
    assert (kept.area_id, kept.occupancy) == (first.after.areas[0].area_id, "rare")
    assert second.areas_added == ("20 Yard",)
    third = import_plan_file(connection, plan_bytes(outline("20 Yard", 60, 0, 90, 40)), "three")
    assert third.areas_without_outline == ("10 Hall",)


def test_an_area_that_a_list_named_without_its_number_takes_the_drawings_name(connection: Connection) -> None:
    store.add_areas(connection, ["electrolysis hall", "Jetty"])
    report = import_plan_file(connection, DRAWING, "plot_plan.dxf", LAYERS)
    assert report.areas_renamed == (("electrolysis hall", "10 Electrolysis hall"), ("Jetty", "80 Jetty"))
    assert len(report.areas_added) == 6
    assert len(store.list_areas(connection)) == 8


def test_joints_follow_the_outlines_unless_their_list_named_another_area(connection: Connection) -> None:
    first = import_plan_file(
        connection, plan_bytes(outline("10 Hall", 0, 0, 50, 40), outline("20 Yard", 60, 0, 90, 40)), "one"
    )
    yard = {area.name: area.area_id for area in first.after.areas}["20 Yard"]
    add_joint(connection, "inside", 10, 10)
    add_joint(connection, "outside", 55, 10)
    add_joint(connection, "named by its list", 20, 10, yard)
    assert place_in_areas(connection, first.before) == 1
    assert areas_of_joints(connection) == {"inside": "10 Hall", "outside": None, "named by its list": "20 Yard"}
    second = import_plan_file(
        connection, plan_bytes(outline("20 Yard", 52, 0, 90, 40), outline("10 Hall", 15, 0, 50, 40)), "two"
    )
    assert place_in_areas(connection, second.before) == 2
    assert areas_of_joints(connection) == {"inside": None, "outside": "20 Yard", "named by its list": "20 Yard"}


def test_the_sample_list_finds_its_areas_in_the_sample_drawing(connection: Connection) -> None:
    publish_first(connection)
    import_plan_file(connection, DRAWING, "plot_plan.dxf", LAYERS)
    mapping = read_mapping((FIXTURES / "joint_schedule.toml").read_bytes(), "joint_schedule.toml")
    table = read_table((FIXTURES / "joint_schedule.xlsx").read_bytes(), mapping, "joint_schedule.xlsx")
    report = import_list(connection, table, mapping, keep_valid=True, today=AS_OF)
    assert (report.added, report.refused) == (2808, 72)
    assert {name for name in areas_of_joints(connection).values() if name} == {
        area.name for area in current_plan(connection).areas
    }


def test_a_site_without_a_plan_says_so(connection: Connection) -> None:
    with pytest.raises(PlanMissing):
        current_plan(connection)
    assert store.read_plan(connection).areas == ()


def test_a_plan_is_seen_in_its_own_site_only(database: Database) -> None:
    one, other = new_site(database, "one"), new_site(database, "other")
    with database.transaction(one) as connection:
        import_plan_file(connection, plan_bytes(outline("10 Hall", 0, 0, 50, 40)), "plan.geojson")
    with database.transaction(other) as connection:
        assert store.read_plan_source(connection) is None
        assert store.list_areas(connection) == []
    with database.transaction(one) as connection:
        source = store.read_plan_source(connection)
        assert source is not None
        assert bytes(source.content_sha256) == sha256(plan_bytes(outline("10 Hall", 0, 0, 50, 40))).digest()
