"""The plot plan over HTTP: its features as GeoJSON, its areas, its sheet grid."""

from typing import Any

import orjson
from fastapi import APIRouter, Request, Response

from registry.plant import store
from registry.plant.geojson import feature_collection, geometry_json
from registry.plant.georeference import coordinates_member, out_geometry
from registry.plant.service import current_plan
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["plot plan"])


@router.get("/plot-plan")
def read_plot_plan(connection: SiteConnection, request: Request) -> Response:
    """The features of the plot plan as GeoJSON: WGS 84 where the site has a georeference, else plant-grid metres."""
    current_plan(connection)
    source, georeference = store.read_plan_source(connection), store.read_georeference(connection)
    etag = f'"{source.intake_id if source else 0}-{georeference.epsg if georeference else 0}"'
    if request.headers.get("if-none-match") == etag:
        return Response(status_code=304, headers={"ETag": etag})
    features, _ = store.list_features(connection)
    members = [
        {
            "type": "Feature",
            "properties": {"kind": feature.kind, "name": feature.name, **feature.properties},
            "geometry": geometry_json(out_geometry(feature.geometry, georeference)),
        }
        for feature in features
    ]
    document = feature_collection(members, **coordinates_member(georeference))
    return Response(orjson.dumps(document), media_type="application/geo+json", headers={"ETag": etag})


@router.get("/areas")
def list_areas(connection: SiteConnection) -> Response:
    """The areas of the site, and which of them the plot plan outlines."""
    outlined = {area.area_id: area.outline.area for area in store.read_plan(connection).areas}
    areas = [
        {
            "area_id": area.area_id,
            "name": area.name,
            "occupancy": area.occupancy,
            "outline_m2": round(outlined[area.area_id], 1) if area.area_id in outlined else None,
        }
        for area in store.list_areas(connection)
    ]
    return _json({"areas": areas})


@router.get("/sheet-grid")
def read_sheet_grid(connection: SiteConnection) -> Response:
    """The grid of letters (from the north) and numbers (from the west) round the plot plan."""
    grid = current_plan(connection).sheet
    assert grid is not None, "a plan that loaded has an area"
    west, south, east, north = grid.bounds
    return _json(
        {
            "west_m": west,
            "south_m": south,
            "east_m": east,
            "north_m": north,
            "field_m": grid.field_m,
            "letters": grid.letters,
            "columns": grid.columns,
        }
    )


def _json(content: Any) -> Response:
    return Response(orjson.dumps(content), media_type="application/json")
