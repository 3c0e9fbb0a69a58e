"""From a shape with a kind and properties, as some file had it, to a checked feature of the plot plan."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from registry.errors import Issue
from registry.plant.model import CLIMBS, KINDS, OCCUPANCIES, PlanFeature

# Own method: beyond this from zero no plant grid reaches; it is a slipped decimal point or another unit.
FARTHEST_M = 1e7
# Own method: unless the plan says how, velocity falls in a straight line to nothing at the radius.
DECAY = 1.0

_NUMBERS: dict[str, tuple[str, ...]] = {
    "area": (),
    "equipment": ("elevation_m", "top_elevation_m"),
    "walkway": ("elevation_m", "width_m"),
    "stair": ("elevation_m", "top_elevation_m"),
    "obstacle": ("elevation_m", "top_elevation_m"),
    "vibration_source": ("elevation_m", "velocity_mm_s", "frequency_hz", "radius_m", "decay"),
    "gate": ("elevation_m", "width_m"),
}
_POSITIVE = ("width_m", "velocity_mm_s", "frequency_hz", "radius_m")
_REQUIRED: dict[str, tuple[str, ...]] = {"vibration_source": ("velocity_mm_s", "frequency_hz", "radius_m")}
_SHAPES: dict[str, tuple[type[BaseGeometry], ...]] = {
    "area": (Polygon, MultiPolygon),
    "equipment": (Point, LineString, Polygon, MultiPolygon),
    "walkway": (LineString,),
    "stair": (LineString, Point),
    "obstacle": (Polygon, MultiPolygon, LineString),
    "vibration_source": (Point,),
    "gate": (Point,),
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where in its file a feature stands: a GeoJSON feature's number, or a drawing entity's layer and handle."""

    row: int | None
    where: str | None = None

    def issue(self, column: str, value: Any, reason: str) -> Issue:
        """A fault of this feature."""
        shown = None if value is None else str(value)[:120]
        # An entity of a drawing has no row and no column: where it stands is said in words.
        return (
            Issue(self.row, column, shown, reason)
            if self.where is None
            else Issue(None, None, shown, f"{self.where}: {reason}")
        )


@dataclass(frozen=True, slots=True)
class RawFeature:
    """A shape as read: its coordinates are numbers (perhaps not finite), and nothing else is checked yet."""

    place: Place
    kind: str | None
    name: str | None
    geometry: BaseGeometry
    properties: Mapping[str, Any] = field(default_factory=dict[str, Any])


@dataclass(frozen=True, slots=True)
class DrawingFault:
    """Something amiss in a plan that does not stop it from being loaded, and where."""

    reason: str
    east_m: float | None = None
    north_m: float | None = None
    elevation_m: float | None = None
    where: str | None = None

    def __str__(self) -> str:
        at = "" if self.east_m is None else f"east {self.east_m:.2f} m, north {self.north_m:.2f} m"
        if self.elevation_m is not None:
            at += f", elevation {self.elevation_m:.2f} m"
        place = "; ".join(part for part in (at, self.where or "") if part)
        return f"{place}: {self.reason}" if place else self.reason


@dataclass(frozen=True, slots=True)
class PlanReading:
    """What a file gave: shapes still to be checked, faults that refuse it, and faults that do not."""

    features: list[RawFeature]
    issues: list[Issue]
    faults: list[DrawingFault] = field(default_factory=list[DrawingFault])


def checked_features(raw: Sequence[RawFeature]) -> tuple[list[PlanFeature], list[Issue]]:
    """The features that are in order, and every fault of those that are not."""
    features: list[PlanFeature] = []
    issues: list[Issue] = []
    names: dict[str, Place] = {}
    for item in raw:
        feature, faults = checked_feature(item)
        issues += faults
        if feature is None:
            continue
        if feature.kind in ("area", "gate"):
            key = f"{feature.kind} {' '.join((feature.name or '').casefold().split())}"
            if key in names:
                first = names[key]
                stood = first.where or f"feature {first.row}"
                issues.append(
                    item.place.issue("name", feature.name, f"this {feature.kind} name is taken already by {stood}")
                )
                continue
            names[key] = item.place
        features.append(feature)
    return features, issues


def checked_feature(raw: RawFeature) -> tuple[PlanFeature | None, list[Issue]]:
    """One feature in our form, or None and what is wrong with it."""
    if raw.kind not in KINDS:
        return None, [raw.place.issue("kind", raw.kind, f"unknown kind; it is one of {', '.join(KINDS)}")]
    kind, name = raw.kind, (" ".join(raw.name.split()) or None) if raw.name else None
    called = f"the {kind} '{name}'" if name else f"this {kind}"
    issues: list[Issue] = []
    if kind in ("area", "gate") and name is None:
        issues.append(raw.place.issue("name", raw.name, f"the {kind} has no name"))
    properties, faults = _properties(raw, kind)
    issues += faults
    fault = _shape_fault(raw.geometry, kind, called)
    if fault is not None:
        issues.append(raw.place.issue("geometry", None, fault))
    if issues:
        return None, issues
    geometry, properties, fault = _in_our_form(raw.geometry, kind, properties)
    if fault is not None:
        return None, [raw.place.issue("elevation", None, f"{called} {fault}")]
    return PlanFeature(kind, name, geometry, properties), []


def _properties(raw: RawFeature, kind: str) -> tuple[dict[str, Any], list[Issue]]:
    given, issues = raw.properties, list[Issue]()
    kept: dict[str, Any] = {}
    for key in _NUMBERS[kind]:
        value = given.get(key)
        if value is None or value == "":
            if key in _REQUIRED.get(kind, ()):
                issues.append(raw.place.issue(key, None, f"a {kind} needs {key}"))
            continue
        try:
            number = float(value)
        except (TypeError, ValueError):
            issues.append(raw.place.issue(key, value, "not a number"))
            continue
        if not math.isfinite(number):
            issues.append(raw.place.issue(key, value, "not a finite number"))
        elif (key in _POSITIVE and number <= 0) or (key == "decay" and number < 0):
            issues.append(raw.place.issue(key, value, "must be above zero"))
        else:
            kept[key] = number
    if kind == "vibration_source":
        kept.setdefault("decay", DECAY)
    for key, choices, where in (("occupancy", OCCUPANCIES, "area"), ("climb", CLIMBS, "stair")):
        if kind == where and given.get(key) not in (None, ""):
            if given[key] in choices:
                kept[key] = given[key]
            else:
                issues.append(raw.place.issue(key, given[key], f"it is one of {', '.join(choices)}"))
    if "elevation_m" in kept and kept.get("top_elevation_m", math.inf) <= kept["elevation_m"]:
        reason = f"the top must lie above elevation_m, {kept['elevation_m']:g} m"
        issues.append(raw.place.issue("top_elevation_m", kept["top_elevation_m"], reason))
    return kept, issues


def _shape_fault(geometry: BaseGeometry, kind: str, called: str) -> str | None:
    if geometry.is_empty:
        return f"{called} has an empty geometry"
    if not isinstance(geometry, _SHAPES[kind]):
        fits = " or ".join(shape.__name__ for shape in _SHAPES[kind])
        return f"{called} is a {geometry.geom_type}, where {fits} is wanted"
    coordinates = shapely.get_coordinates(geometry, include_z=geometry.has_z)
    if not np.isfinite(coordinates).all():
        return f"{called} has a coordinate that is not a finite number"
    if np.abs(coordinates).max() > FARTHEST_M:
        return f"{called} lies {np.abs(coordinates).max():.3g} m from the grid's origin: is that metres?"
    if isinstance(geometry, Polygon | MultiPolygon):
        return _outline_fault(geometry, called)
    if isinstance(geometry, LineString) and kind != "stair" and geometry.length == 0:
        return f"{called} has no length"
    return None


def _outline_fault(outline: Polygon | MultiPolygon, called: str) -> str | None:
    if outline.convex_hull.area < 1e-6:
        return f"the outline of {called} encloses nothing"
    if not outline.is_valid:
        explained = shapely.is_valid_reason(outline)
        what, _, where = explained.partition("[")
        east, _, north = where.rstrip("]").partition(" ")
        place = f" at east {float(east):.2f} m, north {float(north.split()[0]):.2f} m" if north else ""
        crossing = "Self-intersection" in what
        return f"the outline of {called} {'crosses itself' if crossing else f'is not in order ({what.strip()})'}{place}"
    return None


def _in_our_form(
    geometry: BaseGeometry, kind: str, properties: dict[str, Any]
) -> tuple[BaseGeometry, dict[str, Any], str | None]:
    base = float(properties.get("elevation_m", 0.0))
    if kind == "stair":
        return _stair(geometry, properties)
    if kind in ("walkway", "gate", "vibration_source"):
        rest = {key: value for key, value in properties.items() if key != "elevation_m"}
        if geometry.has_z and _given_z(geometry):
            return geometry, rest, None
        return _lifted(geometry, base), rest, None
    if kind == "equipment" and geometry.has_z and _given_z(geometry):
        properties.setdefault("elevation_m", float(shapely.get_coordinates(geometry, include_z=True)[:, 2].min()))
    return _flat(geometry), properties, None


def _stair(geometry: BaseGeometry, properties: dict[str, Any]) -> tuple[BaseGeometry, dict[str, Any], str | None]:
    coordinates = shapely.get_coordinates(geometry, include_z=True)
    bottom, top = properties.get("elevation_m"), properties.get("top_elevation_m")
    kept = {key: value for key, value in properties.items() if key not in ("elevation_m", "top_elevation_m")}
    if geometry.has_z and np.ptp(coordinates[:, 2]) > 0:
        return geometry, kept, None
    if bottom is None or top is None:
        return geometry, kept, "does not say which two elevations it joins (give elevation_m and top_elevation_m)"
    if len(coordinates) == 1:
        # A ladder drawn as a point: straight up.
        coordinates = np.repeat(coordinates, 2, axis=0)
        kept.setdefault("climb", "ladder")
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coordinates[:, :2], axis=0).T))])
    share = steps / steps[-1] if steps[-1] > 0 else np.linspace(0.0, 1.0, len(coordinates))
    coordinates[:, 2] = bottom + share * (top - bottom)
    return LineString(coordinates), kept, None


def _flat(geometry: BaseGeometry) -> BaseGeometry:
    return shapely.force_2d(geometry)


def _lifted(geometry: BaseGeometry, elevation_m: float) -> BaseGeometry:
    return shapely.force_3d(_flat(geometry), elevation_m)


def _given_z(geometry: BaseGeometry) -> bool:
    # A drawing in plan has a third coordinate of zero everywhere, which says nothing against a stated elevation.
    return bool(np.any(shapely.get_coordinates(geometry, include_z=True)[:, 2] != 0.0))


def ring_gap_m(positions: Sequence[Sequence[float]]) -> float:
    """How far apart an outline's first and last position are [m]."""
    first, last = positions[0], positions[-1]
    return math.hypot(first[0] - last[0], first[1] - last[1])
