"""Figures say what their rows say, and are figures that the plotting library accepts."""

import json
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboards.figures.leak_rates import leak_rates_figure
from dashboards.figures.plan import extent, plan_figure, rings
from dashboards.figures.route import route_figure
from dashboards.figures.timeline import LANES, timeline_figure
from dashboards.figures.weeks import weeks_figure
from registry.leaks.model import AreaCount, AreaRate
from registry.overview.model import HistoryEntry, PlanShape, RouteStop
from registry.planning.model import PlanWeek
from tests.unit.some_plans import a_plan

SQUARE = {"type": "Polygon", "coordinates": [[[0, 0], [40, 0], [40, 30], [0, 30], [0, 0]]]}
SHAPES = [
    PlanShape("area", "Jetty", SQUARE),
    PlanShape("equipment", "V-1", {"type": "MultiPolygon", "coordinates": [[[[1, 1], [2, 1], [2, 2], [1, 1]]]]}),
    PlanShape("walkway", None, {"type": "LineString", "coordinates": [[0, 5, 0], [40, 5, 0]]}),
    PlanShape("stair", None, {"type": "LineString", "coordinates": [[3, 5, 0], [4, 5, 6]]}),
    PlanShape("obstacle", None, {"type": "Polygon", "coordinates": [[[9, 9], [11, 9], [11, 11], [9, 9]]]}),
    PlanShape("vibration_source", "K-1", {"type": "Point", "coordinates": [20, 20, 1]}),
    PlanShape("gate", "West gate", {"type": "Point", "coordinates": [-5, 5, 0]}),
]


def accepted(figure: Mapping[str, Any] | None) -> go.Figure:
    """The figure as the library's own checker takes it, with an ink put in for each that the theme gives."""
    assert figure is not None
    text = re.sub(r"var\(--(?:text|lettering)\)", "sans-serif", json.dumps(figure))
    inked = json.loads(re.sub(r"var\(--[\w-]+\)", "#123456", text))
    return go.Figure({"data": inked["data"], "layout": inked["layout"]})


def colours_of(value: Any) -> set[str]:
    """Every text in a figure that names a colour."""
    return set(re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\([^)]*\)|hsla?\([^)]*\)", json.dumps(value)))


def test_a_plan_is_a_few_traces_of_ink() -> None:
    figure = plan_figure(SHAPES)
    accepted(figure)
    kinds = [trace["uid"] for trace in figure["data"]]
    assert kinds.index("area") < kinds.index("equipment"), "areas under, equipment over"
    assert len(kinds) == 8
    assert colours_of(figure) == set()
    area = next(trace for trace in figure["data"] if trace["uid"] == "area")
    assert list(zip(area["x"], area["y"], strict=True)) == [(0, 0), (40, 0), (40, 30), (0, 30), (0, 0)]


def test_lines_of_one_kind_are_broken_between_features() -> None:
    figure = plan_figure([SHAPES[2], SHAPES[2]])
    assert figure["data"][0]["x"] == [0, 40, None, 0, 40]


def test_an_empty_plan_is_an_empty_figure() -> None:
    assert plan_figure([])["data"] == []
    assert extent([]) is None


def test_the_extent_counts_points_and_lines() -> None:
    assert extent(SHAPES) == (-5, 0, 40, 30)
    assert extent([SHAPES[5]]) == (20, 20, 20, 20)


@pytest.mark.parametrize(
    ("geometry", "expected"),
    [
        ({"type": "Point", "coordinates": [1, 2]}, 0),
        ({"type": "MultiLineString", "coordinates": [[[0, 0], [1, 1]], [[2, 2], [3, 3]]]}, 2),
        ({"type": "GeometryCollection", "geometries": [SQUARE, SQUARE]}, 2),
    ],
)
def test_every_line_of_a_geometry_is_found(geometry: dict[str, Any], expected: int) -> None:
    assert len(list(rings(geometry))) == expected


def stop(position: int, leg: list[float], at: tuple[float, float] | None, band: int | None = 3) -> RouteStop:
    return RouteStop(
        position=position,
        joint_id=None if at is None else position,
        tag=None if at is None else f"J-{position}",
        family="flanged",
        service="hydrogen",
        size_mm=None,
        pressure_barg=10.0,
        access=None,
        east_m=None if at is None else at[0],
        north_m=None if at is None else at[1],
        elevation_m=None,
        due_on=None,
        band=band,
        walking_minutes=1.0,
        working_minutes=2.0,
        leg=leg,
        result=None,
        recorded_at=None,
        checked_by=None,
    )


def test_a_route_s_stops_are_numbered_where_they_are_and_coloured_by_risk() -> None:
    stops = [stop(1, [-5, 5, 0, 10, 5, 0], (10, 6)), stop(2, [10, 5, 0, 20, 5, 0], (20, 6), 5), stop(0, [], None)]
    figure = route_figure(SHAPES, stops)
    accepted(figure)
    assert figure is not None
    marks = next(trace for trace in figure["data"] if trace["uid"] == "stop")
    assert list(zip(marks["text"], marks["x"], marks["y"], strict=True)) == [("1", 10, 6), ("2", 20, 6)]
    assert marks["marker"]["color"] == ["var(--risk-3)", "var(--risk-5)"]
    walk = next(trace for trace in figure["data"] if trace["uid"] == "walk")
    assert walk["x"] == [-5, 10, None, 10, 20, None]
    assert figure["layout"]["yaxis"]["scaleanchor"] == "x"


def test_a_route_without_a_walk_is_not_drawn() -> None:
    assert route_figure(SHAPES, [stop(1, [], (10, 6))]) is None


def test_weeks_stack_late_below_in_time_under_the_crews_hours() -> None:
    plan = a_plan(weeks=3, frozen_weeks=1, planned_weeks=2)
    weeks = [
        PlanWeek(plan.starts_on, "frozen", 10, 2400.0, 2400.0, 4, 0, 0),
        PlanWeek(date(2026, 3, 9), "planned", 0, 0.0, 1200.0, 0, 0, 0),
        PlanWeek(date(2026, 3, 16), "forecast", 2, 480.0, 2400.0, 0, 0, 0),
    ]
    figure = weeks_figure(plan, weeks, {plan.starts_on: 15.0})
    accepted(figure)
    late, in_time, crews = figure["data"]
    assert late["x"] == ["2026-03-02", "2026-03-09", "2026-03-16"]
    assert late["y"] == [15.0, 0.0, 0.0]
    assert in_time["y"] == [25.0, 0.0, 8.0]
    assert crews["y"] == [40.0, 20.0, 40.0, 40.0], "the line goes on to the end of the last week"
    assert [line["x0"] for line in figure["layout"]["shapes"]] == ["2026-03-09", "2026-03-16"]
    assert [note["text"] for note in figure["layout"]["annotations"]] == ["frozen to here", "planned to here"]
    assert colours_of(figure) == set()


def rate(area: str | None, leaks: int, years: float, value: float | None) -> AreaRate:
    count = AreaCount(1, area, 10, years, leaks, leaks, 0, 0, 0, None, 0, None)
    if value is None:
        return AreaRate(count, None, None, None)
    return AreaRate(count, value, value / 2, value * 2)


def test_leak_rates_keep_their_limits_and_stand_in_order() -> None:
    rates = [rate("A", 4, 100.0, 40.0), rate(None, 0, 50.0, 0.0), rate("C", 1, 0.0, None)]
    figure = leak_rates_figure(rates, rate(None, 4, 150.0, 26.7))
    accepted(figure)
    assert figure is not None
    dots = figure["data"][0]
    assert dots["y"] == ["in no area", "A"], "the highest on top, and none without exposure"
    assert dots["x"] == [0.0, 40.0]
    assert dots["error_x"]["array"] == [0.0, 40.0]
    assert dots["error_x"]["arrayminus"] == [0.0, 20.0]
    assert dots["marker"]["color"][0] != dots["marker"]["color"][1], "an area without a leak has an open dot"
    assert figure["layout"]["shapes"][0]["x0"] == 26.7


def test_leak_rates_without_exposure_are_not_drawn() -> None:
    assert leak_rates_figure([rate("C", 0, 0.0, None)], None) is None


def entry(kind: Any, what: str, *, superseded: bool = False, number: float | None = None) -> HistoryEntry:
    return HistoryEntry(kind, datetime(2026, 1, 2, 3, 4, tzinfo=UTC), what, None, number, None, superseded)


def test_a_time_line_has_a_lane_for_each_kind_and_leaves_out_what_was_corrected() -> None:
    history = [
        entry("make_up", "accepted, by turns, witnessed by T"),
        entry("check", "tight", number=12.0),
        entry("check", "weeping", superseded=True),
        entry("leak", "weep, found during check"),
        entry("repair", "repaired"),
        entry("reading", "at 24.8 Hz", number=4.2),
        entry("change", "size_mm: 10 → 12"),
    ]
    figure = timeline_figure(history, date(2026, 3, 4), date(2026, 5, 6))
    accepted(figure)
    assert figure is not None
    marks = figure["data"][0]
    assert [LANES[lane] for lane in marks["y"]] == [
        "make-up",
        "check",
        "leak and repair",
        "leak and repair",
        "vibration reading",
    ]
    assert marks["text"][1] == "2026-01-02: tight, 12 ppmv"
    assert marks["text"][4] == "2026-01-02: at 24.8 Hz, 4.2 mm/s"
    assert [line["x0"] for line in figure["layout"]["shapes"]] == ["2026-03-04", "2026-05-06"]


def test_bad_news_is_filled() -> None:
    history = [entry("check", "tight"), entry("check", "weeping"), entry("make_up", "not accepted")]
    figure = timeline_figure(history, date(2026, 3, 4), None)
    assert figure is not None
    assert figure["data"][0]["marker"]["symbol"] == ["circle-open", "circle", "diamond"]


def test_nothing_that_happened_is_no_time_line() -> None:
    assert timeline_figure([entry("change", "size")], date(2026, 3, 4), None) is None
