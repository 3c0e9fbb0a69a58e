"""The plot plan in the database: features as GeoJSON geometries in plant-grid metres, and the areas they outline."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import orjson
from psycopg.rows import class_row, dict_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.plant.geojson import geometry_json, geometry_of
from registry.plant.georeference import Georeference
from registry.plant.model import PlanFeature, PlotPlan, plot_plan

SQL = queries_beside(__file__)


@dataclass(frozen=True, slots=True)
class AreaRow:
    """An area as recorded."""

    area_id: int
    name: str
    occupancy: str


@dataclass(frozen=True, slots=True)
class PlanSource:
    """The file that the present plan came from."""

    intake_id: int
    source_name: str
    content_sha256: bytes
    recorded_at: datetime


def list_areas(connection: Connection) -> list[AreaRow]:
    """Every area that the site ever had, by number; some may have no outline in the present plan."""
    with connection.cursor(row_factory=class_row(AreaRow)) as cursor:
        return cursor.execute(SQL["list_areas"]).fetchall()


def add_areas(connection: Connection, names: Sequence[str]) -> None:
    """Add the named areas that the site does not have yet, in the given order."""
    connection.execute(SQL["add_areas"], {"names": list(names)})


def rename_area(connection: Connection, area_id: int, name: str) -> None:
    """Give an area the name that the drawing has for it."""
    connection.execute(SQL["rename_area"], {"area_id": area_id, "name": name})


def save_occupancies(connection: Connection, occupancies: Mapping[str, str]) -> int:
    """Record how often people are in each area (by name), and return for how many that is new."""
    given = {"names": list(occupancies), "occupancies": list(occupancies.values())}
    return connection.execute(SQL["save_occupancies"], given).rowcount


def read_plan_source(connection: Connection) -> PlanSource | None:
    """The file that the present plan came from, or None while there is none."""
    with connection.cursor(row_factory=class_row(PlanSource)) as cursor:
        return cursor.execute(SQL["read_plan_source"]).fetchone()


def list_features(connection: Connection) -> tuple[list[PlanFeature], dict[str, int]]:
    """The features of the present plan in the order of its file, and the number of each outlined area by name."""
    features: list[PlanFeature] = []
    area_ids: dict[str, int] = {}
    with connection.cursor(row_factory=dict_row) as cursor:
        for row in cursor.execute(SQL["list_features"]):
            features.append(PlanFeature(row["kind"], row["name"], geometry_of(row["geometry"]), row["properties"]))
            if row["area_id"] is not None:
                area_ids[row["name"]] = row["area_id"]
    return features, area_ids


def read_georeference(connection: Connection) -> Georeference | None:
    """Where the plant grid lies in the world, or None while nobody has said."""
    row = connection.execute(SQL["read_georeference"]).fetchone()
    return None if row is None else Georeference(int(row[0]), tuple(row[1]))


def read_plan(connection: Connection) -> PlotPlan:
    """The site's plot plan; without one, a plan with nothing in it."""
    plan = plot_plan(*list_features(connection))
    # What the area table says of occupancy holds, for a plan that does not say leaves it as it was.
    return plan.with_occupancies({area.area_id: area.occupancy for area in list_areas(connection)})


def drop_features(connection: Connection) -> int:
    """Make room for another plan, and return how many features went."""
    return connection.execute(SQL["drop_features"]).rowcount


def add_features(connection: Connection, intake_id: int, features: Sequence[PlanFeature]) -> int:
    """Write the features of a plan in their order, and return how many there are."""
    rows = [
        {
            "number": number,
            "kind": feature.kind,
            "name": feature.name,
            "properties": dict(feature.properties),
            "geometry": geometry_json(feature.geometry),
        }
        for number, feature in enumerate(features)
    ]
    given = {"intake_id": intake_id, "features": orjson.dumps(rows).decode()}
    return connection.execute(SQL["add_features"], given).rowcount
