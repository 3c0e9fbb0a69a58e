"""The plot plan: the home."""

import math
from collections.abc import Sequence
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Query, Request, Response

from dashboards.contexts import AreaRow, PlanPage
from dashboards.figures.plan import extent, plan_figure
from dashboards.pages.filters import Wanted
from dashboards.pages.frame import InPage, PageRequest, filter_form, filter_query, joint_row, steps_to_scores
from dashboards.rendering import render
from registry.overview import store
from registry.overview.model import JointFilter, PlanShape, joint_conditions
from registry.plant.sheet_grid import SheetGrid, sheet_grid

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 50
MOST_OPEN_LEAKS = 500


@ROUTER.get("/plan")
def get_plan(page: InPage, wanted: Wanted, view: Annotated[str, Query(max_length=100)] = "") -> Response:
    """The plot plan under a filter; `view` is west,south,east,north in metres."""
    if page.sheet.score_run_id is None and page.sheet.plot_plan_intake_id is None:
        steps = steps_to_scores(page.sheet, page.root)
        return render(PlanPage(page.frame("Plot plan", "plan"), None, None, None, (), (), steps))
    grid = plan_grid(page)
    choices = store.list_choices(page.connection)
    conditions = joint_conditions(wanted, choices, page.today)
    areas = store.summarise_areas(page.connection, conditions, page.today)
    riskiest = store.list_riskiest(page.connection, conditions, page.today, LISTED)
    counts = store.count_due(page.connection, conditions, page.today) if page.sheet.score_run_id else None
    return render(
        PlanPage(
            frame=page.frame("Plot plan", "plan"),
            form=filter_form(wanted, choices, view),
            counts=counts,
            map_data=_map_data(page, wanted, grid, view) if grid is not None else None,
            in_view=[joint_row(page, joint, grid) for joint in riskiest],
            areas=[AreaRow(row, f"{page.root}/plan?{filter_query(JointFilter(area=row.area))}") for row in areas],
            next_steps=steps_to_scores(page.sheet, page.root),
        )
    )


@ROUTER.get("/plan-figure.json")
def get_plan_figure(page: InPage, request: Request) -> Response:
    """The drawing under the joints; kept by the browser until another plot plan is loaded."""
    tag = f'"{page.sheet.plot_plan_intake_id or 0}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if tag in request.headers.get("If-None-Match", ""):
        return Response(status_code=304, headers=headers)
    figure = plan_figure(store.list_plan_shapes(page.connection))
    return Response(orjson.dumps(figure), media_type="application/json", headers=headers)


def plan_grid(page: PageRequest, shapes: Sequence[PlanShape] | None = None) -> SheetGrid | None:
    """The sheet grid round the plot plan, or round the joints where there is no plan; None where there is neither.

    `shapes` is the plan where the caller has read it already.
    """
    if shapes is None:
        shapes = store.list_plan_shapes(page.connection) if page.sheet.plot_plan_intake_id else ()
    edges = extent(shapes)
    if edges is None and page.sheet.score_run_id is not None:
        edges = store.read_joint_extent(page.connection)
    return None if edges is None else sheet_grid(*edges)


def _map_data(page: PageRequest, wanted: JointFilter, grid: SheetGrid, view: str) -> dict[str, Any]:
    leaks = store.list_leaks_on_plan(page.connection, MOST_OPEN_LEAKS)
    query = filter_query(wanted)
    return {
        "figure_address": f"{page.root}/plan-figure.json",
        "map_address": f"/api/v1/sites/{page.site.code}/map" + (f"?{query}" if query else ""),
        "joint_address": f"{page.root}/joints/",
        "bounds": list(grid.bounds),
        "view": _edges(view),
        "grid": {
            "west_m": grid.west_m,
            "north_m": grid.north_m,
            "field_m": grid.field_m,
            "columns": grid.columns,
            "rows": grid.rows,
        },
        "open_leaks": [{"tag": leak.tag, "east_m": leak.east_m, "north_m": leak.north_m} for leak in leaks],
    }


def _edges(view: str) -> list[float] | None:
    """A view from the address bar; None when it is none, for a spoilt link should still open the plan."""
    try:
        edges = [float(part) for part in view.split(",")]
    except ValueError:
        return None
    sound = len(edges) == 4 and all(math.isfinite(edge) and abs(edge) < 1e7 for edge in edges)
    return edges if sound and edges[0] < edges[2] and edges[1] < edges[3] else None
