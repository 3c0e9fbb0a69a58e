"""A route's walk drawn on the plan and its stops numbered."""

from collections.abc import Sequence
from typing import Any

from dashboards.figures.plan import plan_figure
from dashboards.figures.ruling import INK, PAPER
from registry.overview.model import PlanShape, RouteStop

_PAD_M = 12.0


def route_figure(shapes: Sequence[PlanShape], stops: Sequence[RouteStop]) -> dict[str, Any] | None:
    """The plan under the walk, near the walk alone; None where no leg was drawn."""
    east: list[float | None] = []
    north: list[float | None] = []
    for stop in stops:
        if stop.leg:
            east += [*(round(place, 2) for place in stop.leg[0::3]), None]
            north += [*(round(place, 2) for place in stop.leg[1::3]), None]
    walked_east = [place for place in east if place is not None]
    walked_north = [place for place in north if place is not None]
    at_joints = [stop for stop in stops if stop.east_m is not None and stop.north_m is not None]
    if not walked_east or not at_joints:
        return None
    walked_east += [stop.east_m for stop in at_joints if stop.east_m is not None]
    walked_north += [stop.north_m for stop in at_joints if stop.north_m is not None]
    figure = plan_figure(shapes)
    figure["data"] += [
        {
            "type": "scatter",
            "mode": "lines",
            "x": east,
            "y": north,
            "hoverinfo": "skip",
            "line": {"color": INK, "width": 2.2, "dash": "7px,3px"},
            "uid": "walk",
        },
        {
            "type": "scatter",
            "mode": "markers+text",
            "x": [stop.east_m for stop in at_joints],
            "y": [stop.north_m for stop in at_joints],
            "text": [str(stop.position) for stop in at_joints],
            "textfont": {
                "size": 10,
                "family": "var(--lettering)",
                "color": [f"var(--on-risk-{stop.band})" if stop.band else INK for stop in at_joints],
            },
            "customdata": [stop.tag for stop in at_joints],
            "hovertemplate": "%{text}. %{customdata}<extra></extra>",
            "marker": {
                "size": 18,
                "color": [f"var(--risk-{stop.band})" if stop.band else PAPER for stop in at_joints],
                "line": {"color": INK, "width": 1.4},
            },
            "uid": "stop",
        },
    ]
    layout = figure["layout"]
    layout["hovermode"] = "closest"
    layout["margin"] = {"l": 2, "r": 2, "t": 2, "b": 2}
    layout["dragmode"] = "pan"
    layout["xaxis"] |= {"range": [min(walked_east) - _PAD_M, max(walked_east) + _PAD_M]}
    layout["yaxis"] |= {"range": [min(walked_north) - _PAD_M, max(walked_north) + _PAD_M], "scaleanchor": "x"}
    return figure
