"""A route as a crew reads it: the walking order with places, what to do and the minutes, and the walk as GeoJSON."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from shapely import LineString, Point

from registry.intervals.model import DUE_REASONS
from registry.plant.geojson import feature_collection, geometry_json
from registry.plant.georeference import Georeference, coordinates_member, out_geometry
from registry.plant.model import PlotPlan
from registry.policy.model import Policy
from registry.routes.model import CAUTIONS, RouteSummary, StopOnSheet

WHY = {
    "interval": "its interval",
    "settling": "settling check",
    "retightening": "retightening check",
    "leak_nearby": "leak nearby",
    "no_record": "no record",
    "recall": "recall",
}


def why_due(stop: StopOnSheet) -> str:
    """What brings the crew to a stop, in words; empty where the joint is no longer scored."""
    return "" if stop.due_reason is None else WHY[DUE_REASONS[stop.due_reason]]


def route_sheet(route: RouteSummary, stops: Sequence[StopOnSheet], plan: PlotPlan, policy: Policy) -> dict[str, Any]:
    """A route as one plain document: totals, cautions once, what to do by family, the stops in walking order."""
    at_joints = [stop for stop in stops if stop.joint_id is not None]
    families = {stop.family: policy.family(stop.family or "") for stop in at_joints}
    return {
        **asdict(route),
        "left_out": max(0, route.considered - route.unreachable - route.stops),
        "cautions": list(CAUTIONS),
        "what_to_do": {
            str(code): {"label": family.label, "check": list(family.full_check), "cautions": list(family.cautions)}
            for code, family in sorted(families.items(), key=lambda item: str(item[0]))
            if family is not None
        },
        "stops": [_stop(stop, plan) for stop in at_joints],
        "back": [
            {"walking_minutes": stop.walking_minutes, "leg_m": _triples(stop.leg)}
            for stop in stops
            if stop.joint_id is None
        ],
    }


def walk_geojson(
    route: RouteSummary, stops: Sequence[StopOnSheet], georeference: Georeference | None
) -> dict[str, Any]:
    """The walk as a FeatureCollection: a line for each leg, a point for each stop, both with the stop's position."""
    features: list[dict[str, Any]] = []
    for stop in stops:
        leg = np.array(stop.leg, dtype=np.float64).reshape(-1, 3)
        if len(leg) > 1:
            line = out_geometry(LineString(leg), georeference)
            walked = {"kind": "leg", "position": stop.position, "walking_minutes": round(stop.walking_minutes, 2)}
            features.append({"type": "Feature", "properties": walked, "geometry": geometry_json(line)})
        if stop.east_m is not None and stop.north_m is not None:
            place = out_geometry(Point(stop.east_m, stop.north_m, stop.elevation_m or 0.0), georeference)
            found = {"kind": "stop", "position": stop.position, "tag": stop.tag, "result": stop.result}
            features.append({"type": "Feature", "properties": found, "geometry": geometry_json(place)})
    return feature_collection(features, route_id=route.route_id, **coordinates_member(georeference))


def _stop(stop: StopOnSheet, plan: PlotPlan) -> dict[str, Any]:
    given = asdict(stop)
    leg = given.pop("leg")
    due_reason = given.pop("due_reason")
    return {
        **given,
        "due_reason": None if due_reason is None else DUE_REASONS[due_reason],
        "field": _field(stop, plan),
        "leg_m": _triples(leg),
    }


def _field(stop: StopOnSheet, plan: PlotPlan) -> str | None:
    if stop.east_m is None or stop.north_m is None:
        return None
    return plan.grid_reference(stop.east_m, stop.north_m)


def _triples(leg: list[float]) -> list[list[float]]:
    return [leg[start : start + 3] for start in range(0, len(leg), 3)]
