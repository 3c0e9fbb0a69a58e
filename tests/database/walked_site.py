"""A small plant to walk: a hall and a yard, a hut in the way, a platform, two gates, sixty joints that are due."""

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
from shapely import box

from registry.db import Connection
from registry.intervals.service import score_plant
from registry.joints.service import place_in_areas
from registry.joints.store import add_new_families, add_new_services
from registry.plant.service import import_plan_file
from registry.policy.service import publish_first
from registry.routes.choosing import StopRule
from registry.routes.ordering import RoundRule
from tests.database.small_site import new_intake

WALK_ON = date(2026, 11, 26)
QUICK = StopRule(most_steps=200, patience_steps=50, refills=20, order=RoundRule(rounds=2, kicks_a_place=1))
HUT = box(40, 10, 60, 30)


def feature(kind: str, geometry: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"kind": kind, **properties},
        "geometry": {"type": geometry, "coordinates": coordinates},
    }


def square(kind: str, west: float, south: float, east: float, north: float, **properties: Any) -> dict[str, Any]:
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return feature(kind, "Polygon", [ring], **properties)


PLAN = [
    square("area", 0, 0, 100, 50, name="10 Hall"),
    square("area", 110, 0, 200, 50, name="20 Yard"),
    feature("walkway", "LineString", [[0, 5], [200, 5]]),
    feature("walkway", "LineString", [[5, 5], [5, 45], [195, 45], [195, 5]]),
    feature("walkway", "LineString", [[5, 35, 5.5], [95, 35, 5.5]]),
    feature("stair", "LineString", [[5, 30, 0], [5, 35, 5.5]]),
    square("obstacle", *HUT.bounds, name="hut"),
    feature("gate", "Point", [0, 5], name="West gate"),
    feature("gate", "Point", [200, 5], name="East gate"),
]


def fill_walked_site(connection: Connection) -> None:
    """Sixty due joints in two areas, two of them inside the hut and three that need an outage; scored.

    Their families are the first three of the policy in turn: flanged, clamp hub, twin ferrule.
    """
    publish_first(connection)
    add_new_families(connection)
    add_new_services(connection)
    report = import_plan_file(connection, plan_bytes(), "plan.geojson")
    rng = np.random.default_rng(5)
    places = [(50.0, 20.0, 1.0), (52.0, 22.0, 1.0)]
    while len(places) < 60:
        east, north = rng.uniform(1, 199), rng.uniform(1, 49)
        if not HUT.buffer(2).intersects(box(east, north, east, north)):
            places.append((float(east), float(north), float(rng.choice([0.5, 1.5, 6.0]))))
    intake_id = new_intake(connection)
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO joint (site_id, tag, family_id, service_id, location, elevation_m, pressure_barg, access,"
            " requires_outage, intake_id) VALUES (current_site(), %s, %s, 1, point(%s, %s), %s, 20, 'grade', %s, %s)",
            [
                (f"J-{index:02d}", 1 + index % 3, east, north, elevation, index >= 57, intake_id)
                for index, (east, north, elevation) in enumerate(places)
            ],
        )
    place_in_areas(connection, report.before)
    score_plant(connection, WALK_ON - timedelta(days=1))


def plan_bytes(*features: dict[str, Any]) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": list(features) or PLAN}).encode()
