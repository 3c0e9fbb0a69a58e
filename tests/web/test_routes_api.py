"""The plot plan and routes over HTTP, on the demo plant."""

import csv
import io
from collections.abc import Iterator
from typing import Any

import openpyxl
import pytest
from fastapi.testclient import TestClient
from shapely import LineString, union_all
from shapely.geometry import shape

from tests.web.demo_site import TODAY, DemoSite


@pytest.fixture
def client(own_demo: DemoSite) -> Iterator[TestClient]:
    """A program's view of a demo plant of this module's own."""
    base = f"http://localhost/api/v1/sites/{own_demo.code}/"
    with TestClient(own_demo.app, base_url=base, raise_server_exceptions=False) as client:
        yield client


def wanted(**changes: Any) -> dict[str, Any]:
    return {"walk_on": TODAY.isoformat(), "crew": "Crew B", "shift_minutes": 120, **changes}


def test_a_route_is_made_read_drawn_and_listed(client: TestClient) -> None:
    made = client.post("routes", json=wanted())
    assert made.status_code == 201
    sheet = made.json()
    assert made.headers["location"].endswith(f"/routes/{sheet['route_id']}")
    assert sheet["stops"]
    assert sheet["walking_minutes"] + sheet["working_minutes"] <= 120
    first = sheet["stops"][0]
    assert first["position"] == 1
    assert first["field"]
    assert first["leg_m"][-1][:2] != first["leg_m"][0][:2]
    assert set(sheet["what_to_do"]) == {stop["family"] for stop in sheet["stops"]}
    assert any("depressurise" in caution.lower() for caution in sheet["cautions"])

    read = client.get(f"routes/{sheet['route_id']}")
    assert read.json()["stops"] == sheet["stops"]

    walk = client.get(f"routes/{sheet['route_id']}/walk.geojson")
    assert walk.headers["content-type"] == "application/geo+json"
    kinds = [feature["properties"]["kind"] for feature in walk.json()["features"]]
    assert kinds.count("stop") == len(sheet["stops"])
    assert kinds.count("leg") >= 2
    assert "plant grid" in walk.json()["coordinates_are"]

    listed = client.get("routes", params={"limit": 1, "crew": "Crew B"}).json()
    assert [route["route_id"] for route in listed["routes"]] == [sheet["route_id"]]


def test_no_leg_of_a_walk_through_the_demo_plant_goes_through_an_obstacle(client: TestClient) -> None:
    features = client.get("plot-plan").json()["features"]
    solid = union_all(
        [
            shape(feature["geometry"]).buffer(-0.02)
            for feature in features
            if feature["properties"]["kind"] == "obstacle"
        ]
    )
    assert solid.area > 100
    sheet = client.post("routes", json=wanted(walk_on="2026-03-05", crew="Crew D", shift_minutes=480)).json()
    legs = [stop["leg_m"] for stop in (*sheet["stops"], *sheet["back"]) if len(stop["leg_m"]) > 1]
    assert len(legs) > 5
    for leg in legs:
        assert LineString([(east, north) for east, north, _ in leg]).intersection(solid).length < 1e-6


def test_routes_page_by_cursor(client: TestClient) -> None:
    for _ in range(2):
        assert client.post("routes", json=wanted(crew="Crew C", walk_on="2026-06-10")).status_code == 201
    page = client.get("routes", params={"limit": 1, "crew": "Crew C"}).json()
    rest = client.get("routes", params={"limit": 1, "crew": "Crew C", "cursor": page["next"]}).json()
    assert page["routes"][0]["route_id"] > rest["routes"][0]["route_id"]
    assert rest["next"] is None
    assert client.get("routes", params={"cursor": "nonsense"}).status_code == 422


def test_several_crews_walk_at_once_and_a_route_is_mended_over_its_revision(client: TestClient) -> None:
    crews = [
        {"crew": "Pair 1", "shift_minutes": 60},
        {"crew": "Pair 2", "shift_minutes": 90, "tools": ["leak_detector"]},
    ]
    made = client.post("routes", json={"walk_on": "2026-07-15", "crews": crews})
    assert made.status_code == 201
    first, second = made.json()["routes"]
    assert made.json()["without_a_route"] == []
    assert (first["crew"], second["tools"]) == ("Pair 1", ["leak_detector"])
    assert first["bring"] == sorted({tool for stop in first["stops"] for tool in stop["tools"]})
    tags = [[stop["tag"] for stop in route["stops"]] for route in (first, second)]
    assert not set(tags[0]) & set(tags[1])

    address = f"routes/{first['route_id']}"
    seen = client.get(address).headers["etag"]
    change = {"drop": [tags[0][0]], "pin": [tags[0][1]]}
    preview = client.post(f"{address}/preview", json=change).json()
    assert client.get(address).headers["etag"] == seen
    done = client.patch(address, json=change, headers={"If-Match": seen})
    assert done.status_code == 200
    assert done.json()["stops"] == preview["stops"]
    assert [stop["tag"] for stop in done.json()["stops"]] == tags[0][1:]
    assert done.json()["stops"][0]["pinned"]
    assert client.get(address).headers["etag"] == done.headers["etag"] != seen
    assert client.patch(address, json=change, headers={"If-Match": seen}).status_code == 412
    assert client.patch(address, json=change).status_code == 428
    taken = client.patch(address, json={"add": [tags[1][0]]}, headers={"If-Match": "*"})
    assert (taken.status_code, taken.json()["type"].split(":")[-1]) == (409, "stop-taken")
    unknown = client.post(f"{address}/preview", json={"order": "longest"})
    assert unknown.status_code == 422
    best = client.post(f"{address}/preview", json={"order": "best"}).json()
    assert best["walking_minutes"] >= best["best_walking_minutes"]


def test_a_route_is_kept_as_a_table_and_as_a_workbook(client: TestClient) -> None:
    sheet = client.post("routes", json=wanted(crew="Crew E", walk_on="2026-08-12")).json()
    address = f"routes/{sheet['route_id']}"
    rows = list(csv.DictReader(io.StringIO(client.get(f"{address}.csv").text.removeprefix("\ufeff"))))
    assert [row["tag"] for row in rows] == [*(stop["tag"] for stop in sheet["stops"]), "back to the start"]
    assert sum(float(row["walking_minutes"]) for row in rows) == pytest.approx(sheet["walking_minutes"])
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"{address}.xlsx").content))
    assert book.sheetnames == ["Stops", "Route"]
    assert [cell.value for cell in book["Stops"]["B"]] == ["tag", *(row["tag"] for row in rows)]
    totals = {what.value: value.value for what, value in zip(book["Route"]["A"], book["Route"]["B"], strict=True)}
    assert totals["walking_minutes"] == pytest.approx(sheet["walking_minutes"])
    assert any("depressurise" in str(value).lower() for value in totals.values())


def test_the_joints_that_no_walk_reaches_are_listed(client: TestClient) -> None:
    assert client.get("unreachable-joints").json() == {"joints": []}
    assert client.get("unreachable-joints", params={"start_gate": "Moon gate"}).status_code == 404


@pytest.mark.parametrize(
    ("request_body", "status", "slug"),
    [
        (wanted(start_gate="Moon gate"), 404, "gate-unknown"),
        (wanted(area="Moon base"), 404, "area-unknown"),
        (wanted(shift_minutes=3), 422, "route-refused"),
        (wanted(crew=" "), 422, "route-refused"),
        (wanted(crew=""), 422, "request-invalid"),
        (wanted(walk_on="tomorrow"), 422, "request-invalid"),
        (wanted(colour="red"), 422, "request-invalid"),
        (wanted(crews=[{"crew": "Crew F"}]), 422, "request-invalid"),
        ({"walk_on": "2026-03-04"}, 422, "request-invalid"),
        (wanted(tools=["magic_wand"]), 422, "route-refused"),
        (wanted(pinned=["no such tag"]), 422, "route-refused"),
        (wanted(walk_on="1999-01-01"), 409, "nothing-to-walk"),
    ],
)
def test_a_route_that_cannot_be_made_is_a_problem_document(
    client: TestClient, request_body: dict[str, Any], status: int, slug: str
) -> None:
    answer = client.post("routes", json=request_body)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"].endswith(slug)


def test_an_unknown_route_is_not_found(client: TestClient) -> None:
    for path in ("routes/999999", "routes/999999/walk.geojson"):
        assert client.get(path).status_code == 404


def test_the_plot_plan_is_served_as_geojson_with_its_areas_and_sheet_grid(client: TestClient) -> None:
    plan = client.get("plot-plan")
    assert plan.headers["content-type"] == "application/geo+json"
    kinds = {feature["properties"]["kind"] for feature in plan.json()["features"]}
    assert {"area", "walkway", "stair", "gate"} <= kinds
    assert client.get("plot-plan", headers={"If-None-Match": plan.headers["etag"]}).status_code == 304
    areas = client.get("areas").json()["areas"]
    assert len(areas) == 8
    assert all(area["outline_m2"] > 0 for area in areas)
    grid = client.get("sheet-grid").json()
    assert grid["letters"][0] == "A"
    assert client.get("route-starts").json()["starts"]


def test_a_site_without_a_plan_answers_not_found(empty_pages: TestClient) -> None:
    for path in ("plot-plan", "sheet-grid", "route-starts"):
        answer = empty_pages.get(f"/api/v1/sites/new-plant/{path}", headers={"Accept": "application/json"})
        assert answer.status_code == 404
        assert answer.json()["type"].endswith("plan-missing")
