"""A route as a crew reads it: the walking order with places, what to do and bring; as rows, and as GeoJSON."""

from collections.abc import Iterator, Sequence
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

STOP_COLUMNS = (
    "position", "tag", "area", "line", "family", "service", "size_mm", "access", "east_m", "north_m", "elevation_m",
    "field", "due_on", "why_due", "walking_minutes", "working_minutes", "tools", "pinned", "result", "observed_at",
    "checked_by",
)  # fmt: skip
TOTAL_COLUMNS = ("what", "value")

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


def tools_of(stop: StopOnSheet, policy: Policy) -> tuple[str, ...]:
    """The kinds of tool that the check of a stop takes."""
    family = policy.family(stop.family or "")
    if family is None:
        return ()
    return family.tools_for("" if stop.due_reason is None else DUE_REASONS[stop.due_reason])


def tools_to_bring(stops: Sequence[StopOnSheet], policy: Policy) -> tuple[str, ...]:
    """The kinds of tool that the checks of all stops take."""
    return tuple(sorted({tool for stop in stops for tool in tools_of(stop, policy)}))


def route_sheet(route: RouteSummary, stops: Sequence[StopOnSheet], plan: PlotPlan, policy: Policy) -> dict[str, Any]:
    """A route as one plain document: totals, cautions once, what to do by family, the stops in walking order.

    `bring` lists the kinds of tool that its checks take, `not_held` those of them that the crew said it does not hold.
    """
    at_joints = [stop for stop in stops if stop.joint_id is not None]
    families = {stop.family: policy.family(stop.family or "") for stop in at_joints}
    return {
        **asdict(route),
        "order_costs_minutes": route.order_costs_minutes,
        "overrun_minutes": route.overrun_minutes,
        "left_out": max(0, route.considered - route.unreachable - route.stops),
        "bring": list(bring := tools_to_bring(at_joints, policy)),
        "not_held": [] if route.tools is None else [tool for tool in bring if tool not in route.tools],
        "cautions": list(CAUTIONS),
        "what_to_do": {
            str(code): {"label": family.label, "check": list(family.full_check), "cautions": list(family.cautions)}
            for code, family in sorted(families.items(), key=lambda item: str(item[0]))
            if family is not None
        },
        "stops": [_stop(stop, plan, policy) for stop in at_joints],
        "back": [
            {"walking_minutes": stop.walking_minutes, "leg_m": _triples(stop.leg)}
            for stop in stops
            if stop.joint_id is None
        ],
    }


def stop_rows(stops: Sequence[StopOnSheet], plan: PlotPlan, policy: Policy) -> Iterator[dict[str, Any]]:
    """The stops in walking order as rows of a table, the way back last."""
    for stop in stops:
        row = asdict(stop) | {
            "field": _field(stop, plan),
            "why_due": why_due(stop),
            "tools": "; ".join(tools_of(stop, policy)),
            "tag": stop.tag if stop.joint_id is not None else "back to the start",
            "observed_at": None if stop.observed_at is None else stop.observed_at.isoformat(),
        }
        yield {name: row[name] for name in STOP_COLUMNS}


def total_rows(route: RouteSummary, stops: Sequence[StopOnSheet], policy: Policy) -> list[dict[str, Any]]:
    """What a route is as a whole, as rows of a table."""
    told = {
        "route": route.route_id,
        "revision": route.revision,
        "walk_on": route.walk_on,
        "crew": route.crew,
        "area": route.area or "whole site",
        "start_gate": route.start_gate,
        "stops": route.stops,
        "shift_minutes": route.shift_minutes,
        "walking_minutes": route.walking_minutes,
        "working_minutes": route.working_minutes,
        "order_costs_minutes": route.order_costs_minutes,
        "overrun_minutes": route.overrun_minutes,
        "considered": route.considered,
        "unreachable": route.unreachable,
        "bring": ", ".join(tools_to_bring(stops, policy)),
    }
    cautions = {f"caution {number}": caution for number, caution in enumerate(CAUTIONS, start=1)}
    return [{"what": what, "value": value} for what, value in (told | cautions).items()]


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


def _stop(stop: StopOnSheet, plan: PlotPlan, policy: Policy) -> dict[str, Any]:
    given = asdict(stop)
    leg = given.pop("leg")
    due_reason = given.pop("due_reason")
    return {
        **given,
        "due_reason": None if due_reason is None else DUE_REASONS[due_reason],
        "field": _field(stop, plan),
        "tools": list(tools_of(stop, policy)),
        "leg_m": _triples(leg),
    }


def _field(stop: StopOnSheet, plan: PlotPlan) -> str | None:
    if stop.east_m is None or stop.north_m is None:
        return None
    return plan.grid_reference(stop.east_m, stop.north_m)


def _triples(leg: list[float]) -> list[list[float]]:
    return [leg[start : start + 3] for start in range(0, len(leg), 3)]
