"""The plot plan as drawn under the joints."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from dashboards.figures.ruling import FAINT, HAIR, INK, INK_2, ruled_axis, ruled_layout
from registry.overview.model import PlanShape

Ring = Sequence[Sequence[float]]

# Drawn from the ground up: what comes later lies over what comes before.
_STYLES: dict[str, dict[str, Any]] = {
    "walkway": {"line": {"color": FAINT, "width": 5}},
    "area": {"line": {"color": INK_2, "width": 1.2, "dash": "10px,3px,2px,3px"}},
    "obstacle": {"line": {"color": HAIR, "width": 1}, "fill": "toself", "fillcolor": FAINT},
    "equipment": {"line": {"color": HAIR, "width": 1.2}, "fill": "toself", "fillcolor": "var(--paper-2)"},
    "stair": {"line": {"color": INK_2, "width": 3, "dash": "2px,2px"}},
}


def plan_figure(shapes: Sequence[PlanShape]) -> dict[str, Any]:
    """Areas, walkways, obstacles, equipment, stairs, sources and gates as a few SVG traces, in plant-grid metres."""
    traces: list[dict[str, Any]] = []
    for kind, style in _STYLES.items():
        east, north = _broken_lines(ring for shape in shapes if shape.kind == kind for ring in rings(shape.geometry))
        if east:
            traces.append({**_line(east, north), **style, "uid": kind})
    traces += [trace for trace in (_sources(shapes), _gates(shapes), _area_names(shapes)) if trace is not None]
    bare = {"visible": False, "fixedrange": False}
    layout = ruled_layout(xaxis=ruled_axis(**bare), yaxis=ruled_axis(**bare), hovermode=False)
    return {"data": traces, "layout": layout}


def rings(geometry: dict[str, Any]) -> Iterator[Ring]:
    """Every line of a GeoJSON geometry: outlines and holes, or the line itself. A point has none.

    >>> list(rings({"type": "LineString", "coordinates": [[0, 0, 5], [1, 0, 5]]}))
    [[[0, 0, 5], [1, 0, 5]]]
    """
    kind, coordinates = geometry["type"], geometry.get("coordinates", [])
    if kind == "LineString":
        yield coordinates
    elif kind in ("Polygon", "MultiLineString"):
        yield from coordinates
    elif kind == "MultiPolygon":
        for polygon in coordinates:
            yield from polygon
    elif kind == "GeometryCollection":
        for part in geometry["geometries"]:
            yield from rings(part)


def extent(shapes: Sequence[PlanShape]) -> tuple[float, float, float, float] | None:
    """West, south, east and north edge of what is drawn [m]; None where nothing is."""
    places = [place for shape in shapes for place in _places(shape.geometry)]
    if not places:
        return None
    east, north = [place[0] for place in places], [place[1] for place in places]
    return min(east), min(north), max(east), max(north)


def _places(geometry: dict[str, Any]) -> Iterator[Sequence[float]]:
    if geometry["type"] == "Point":
        yield geometry["coordinates"]
    for ring in rings(geometry):
        yield from ring


def _line(east: list[float | None], north: list[float | None]) -> dict[str, Any]:
    return {"type": "scatter", "mode": "lines", "x": east, "y": north, "hoverinfo": "skip"}


def _broken_lines(lines: Iterable[Ring]) -> tuple[list[float | None], list[float | None]]:
    east: list[float | None] = []
    north: list[float | None] = []
    for line in lines:
        if east:
            east.append(None)
            north.append(None)
        east += [round(place[0], 2) for place in line]
        north += [round(place[1], 2) for place in line]
    return east, north


def _sources(shapes: Sequence[PlanShape]) -> dict[str, Any] | None:
    places = [place for shape in shapes if shape.kind == "vibration_source" for place in _places(shape.geometry)]
    if not places:
        return None
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [place[0] for place in places],
        "y": [place[1] for place in places],
        "hoverinfo": "skip",
        "marker": {"symbol": "circle-x-open", "size": 9, "color": HAIR, "line": {"width": 1}},
        "uid": "vibration_source",
    }


def _gates(shapes: Sequence[PlanShape]) -> dict[str, Any] | None:
    gates = [shape for shape in shapes if shape.kind == "gate"]
    if not gates:
        return None
    places = [next(_places(gate.geometry)) for gate in gates]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "x": [place[0] for place in places],
        "y": [place[1] for place in places],
        "text": [gate.name or "gate" for gate in gates],
        "textposition": "top center",
        "textfont": {"size": 11, "color": INK_2, "family": "var(--lettering)"},
        "hoverinfo": "skip",
        "marker": {"symbol": "square-open", "size": 10, "color": INK, "line": {"width": 2}},
        "uid": "gate",
    }


def _area_names(shapes: Sequence[PlanShape]) -> dict[str, Any] | None:
    named = [(shape.name, next(rings(shape.geometry), None)) for shape in shapes if shape.kind == "area" and shape.name]
    placed = [(name, *_name_place(ring), _width(ring)) for name, ring in named if ring]
    if not placed:
        return None
    return {
        "type": "scatter",
        "mode": "text",
        "x": [east for _, east, _, _ in placed],
        "y": [north for _, _, north, _ in placed],
        "text": [name for name, _, _, _ in placed],
        "customdata": [width for _, _, _, width in placed],
        "textposition": "top right",
        "textfont": {"size": 13, "color": INK_2, "family": "var(--lettering)"},
        "hoverinfo": "skip",
        "cliponaxis": True,
        "uid": "area_name",
    }


def _name_place(ring: Ring) -> tuple[float, float]:
    """The corner of an outline that lies farthest north-west, where a draughtsman writes the name."""
    corner = max(ring, key=lambda place: place[1] - place[0])
    return corner[0], corner[1]


def _width(ring: Ring) -> float:
    return max(place[0] for place in ring) - min(place[0] for place in ring)
