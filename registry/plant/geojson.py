"""GeoJSON (RFC 7946) in and out. Positions are plant-grid metres: east, north and, where given, elevation."""

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any, cast

import shapely
import shapely.geometry
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from registry.errors import Issue
from registry.plant.features import Place, PlanReading, RawFeature, ring_gap_m
from registry.plant.model import PlanRefused

MOST_BYTES = 200_000_000


class _Fault(Exception):
    """What is wrong with one geometry."""


def read_geojson(content: bytes) -> PlanReading:
    """The features of a FeatureCollection, and the faults of those that cannot be read.

    Raises PlanRefused when the text is no FeatureCollection at all.
    """
    if not content.strip():
        raise PlanRefused("the file is empty")
    if len(content) > MOST_BYTES:
        raise PlanRefused(f"the file has {len(content):,} bytes; a plot plan of more than {MOST_BYTES:,} is refused")
    try:
        # Python's reader takes NaN and Infinity, so that the feature that holds them can be named.
        document = json.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as exc:
        raise PlanRefused(f"the file is not UTF-8 text, as GeoJSON must be ({exc.reason} at byte {exc.start})") from exc
    except (ValueError, RecursionError) as exc:
        raise PlanRefused(f"the file is not JSON: {exc}") from exc
    members = _list(_object(document).get("features"))
    if _object(document).get("type") != "FeatureCollection" or members is None:
        raise PlanRefused("the file is JSON but no GeoJSON FeatureCollection")
    if not members:
        raise PlanRefused("the plan has no features")
    features: list[RawFeature] = []
    issues: list[Issue] = []
    for number, member in enumerate(members, start=1):
        place = Place(number)
        try:
            features.append(_feature(place, member))
        except _Fault as fault:
            issues.append(place.issue("geometry", None, f"{_called(member)}{fault}"))
    return PlanReading(features, issues)


def feature_collection(features: Iterable[Mapping[str, Any]], **members: Any) -> dict[str, Any]:
    """GeoJSON features as one FeatureCollection, with foreign members beside them."""
    return {"type": "FeatureCollection", **members, "features": list(features)}


def geometry_json(geometry: BaseGeometry) -> dict[str, Any]:
    """A Shapely geometry as a GeoJSON geometry, with elevations where it has them."""
    return {key: value for key, value in shapely.geometry.mapping(geometry).items() if key in ("type", "coordinates")}


def geometry_of(document: dict[str, Any]) -> BaseGeometry:
    """A Shapely geometry from the GeoJSON geometry that we ourselves stored."""
    return shapely.geometry.shape(document)


def _feature(place: Place, member: Any) -> RawFeature:
    document = _object(member)
    if document.get("type") != "Feature":
        raise _Fault("not a GeoJSON Feature")
    properties = _object(document.get("properties"))
    kind, name = properties.get("kind"), properties.get("name")
    return RawFeature(
        place,
        None if kind is None else str(kind),
        None if name is None else str(name),
        _geometry(document.get("geometry")),
        properties,
    )


def _called(member: Any) -> str:
    properties = _object(_object(member).get("properties"))
    if not properties.get("name"):
        return ""
    return f"{properties.get('kind') or 'feature'} '{properties['name']}': "


def _geometry(document: Any) -> BaseGeometry:
    geometry = _object(document)
    if not geometry:
        raise _Fault("it has no geometry")
    kind, coordinates = geometry.get("type"), _list(geometry.get("coordinates"))
    if kind not in ("Point", "LineString", "Polygon", "MultiPolygon"):
        raise _Fault(f"geometry {kind!r} is not one of Point, LineString, Polygon, MultiPolygon")
    if coordinates is None:
        raise _Fault("it has no coordinates")
    try:
        if kind == "Point":
            return Point(_position(coordinates)) if coordinates else Point()
        if kind == "LineString":
            return LineString(_positions(coordinates)) if coordinates else LineString()
        if kind == "Polygon":
            return _polygon(coordinates)
        return MultiPolygon([_polygon(part) for part in coordinates])
    except (ValueError, TypeError, shapely.errors.ShapelyError) as exc:
        raise _Fault(f"the {kind} cannot be built: {exc}") from exc


def _polygon(rings: Any) -> Polygon:
    listed = _list(rings)
    if listed is None:
        raise _Fault("a polygon's coordinates are a list of rings")
    if not listed:
        return Polygon()
    outlines = [_ring(ring) for ring in listed]
    return Polygon(outlines[0], outlines[1:])


def _ring(ring: Any) -> list[list[float]]:
    positions = _positions(ring)
    if len(positions) < 4:
        raise _Fault(f"an outline needs four positions or more, the last as the first; this has {len(positions)}")
    gap = ring_gap_m(positions)
    if gap != 0 and math.isfinite(gap):
        last = positions[-1]
        raise _Fault(
            f"the outline is not closed: it ends {gap:.2f} m from its start, at east {last[0]:g}, north {last[1]:g}"
        )
    return positions


def _positions(positions: Any) -> list[list[float]]:
    listed = _list(positions)
    if listed is None:
        raise _Fault("a list of positions is wanted")
    read = [_position(position) for position in listed]
    if len({len(position) for position in read}) > 1:
        raise _Fault("some positions have an elevation and some have none")
    return read


def _position(position: Any) -> list[float]:
    numbers = _list(position)
    if numbers is None:
        raise _Fault("a position is a list of two or three numbers")
    if len(numbers) not in (2, 3):
        raise _Fault(f"a position has two or three numbers, this has {len(numbers)}")
    for number in numbers:
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise _Fault(f"{number!r} is not a number")
        if not _finite(number):
            raise _Fault(f"a coordinate is {number}, which is not a finite number")
    return [float(number) for number in numbers]


def _object(value: Any) -> dict[str, Any]:
    return cast("dict[str, Any]", value) if isinstance(value, dict) else {}


def _list(value: Any) -> list[Any] | None:
    return cast("list[Any]", value) if isinstance(value, list) else None


def _finite(number: float) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:
        return False
