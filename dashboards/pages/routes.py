"""Routes: make one, walk it, record at each stop."""

from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import NextStep, RoutePage, RoutesPage, StopRow
from dashboards.figures.route import route_figure
from dashboards.pages.frame import InPage, PageRequest, place_words, steps_to_scores
from dashboards.pages.plan import plan_grid
from dashboards.pages.reports import SentCheck, fresh_uuid, moment_text, receipt_of
from dashboards.rendering import render
from dashboards.words import RESULT_WORDS
from registry.checks.service import joint_at_stop, record_result
from registry.overview import store
from registry.overview.model import RouteStop, due_state
from registry.plant.sheet_grid import SheetGrid
from registry.policy.model import Policy
from registry.policy.service import current_policy
from registry.routes.model import CAUTIONS, RouteUnknown
from registry.routes.service import make_route, start_names
from registry.routes.store import list_routes, read_route
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 100
_SEED = 1
NO_PLAN = NextStep("A walk needs a plot plan with walkways and a gate.", "jointwright load plot-plan plan.geojson")
NO_ROUTE = NextStep(
    "Make the first route with the form in the strip: the due joints worth most are chosen and put in walking order."
)

Text = Annotated[str, Query(max_length=200)]


@ROUTER.get("/routes")
def get_routes(page: InPage) -> Response:
    """The newest routes, and the form that makes one."""
    starts = start_names(page.connection) if page.sheet.plot_plan_intake_id else []
    routes = list_routes(page.connection, LISTED)
    steps = steps_to_scores(page.sheet, page.root)
    if not steps and not starts:
        steps = (NO_PLAN,)
    elif not steps and not routes:
        steps = (NO_ROUTE,)
    return render(
        RoutesPage(
            frame=page.frame("Routes", "routes"),
            routes=routes,
            areas=[choice.name for choice in store.list_choices(page.connection).areas],
            gates=starts if page.sheet.score_run_id else (),
            next_steps=steps,
        )
    )


@ROUTER.post("/routes")
def post_route(
    page: InPage,
    walk_on: Annotated[date, Form()],
    crew: Annotated[str, Form(min_length=1, max_length=100)],
    shift_hours: Annotated[float, Form(gt=0, le=24)],
    start_gate: Annotated[str, Form(min_length=1, max_length=200)],
    area: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make a route and show it."""
    route = make_route(page.connection, walk_on, crew.strip(), area or None, shift_hours * 60.0, start_gate, _SEED)
    return RedirectResponse(f"{page.root}/routes/{route.route_id}", status_code=303)


@ROUTER.get("/routes/{route_id}")
def get_route(
    page: InPage, route_id: int, clock: Now, recorded: Text = "", was: Text = "", now: Text = "", again: Text = ""
) -> Response:
    """A route: the walk drawn and numbered, the list beside it."""
    route = read_route(page.connection, route_id)
    if route is None:
        raise RouteUnknown(f"no route {route_id} in this site")
    stops = store.list_route_stops(page.connection, route_id)
    shapes = store.list_plan_shapes(page.connection) if page.sheet.plot_plan_intake_id else []
    grid = plan_grid(page, shapes)
    policy = current_policy(page.connection)
    opened_at = moment_text(clock)
    at_joints = [stop for stop in stops if stop.joint_id is not None]
    return render(
        RoutePage(
            frame=page.frame(f"Route {route_id}", "routes"),
            route=route,
            stops=[_stop_row(page, route_id, stop, grid, policy, opened_at) for stop in at_joints],
            back_minutes=sum(stop.walking_minutes for stop in stops if stop.position == 0),
            left_out=max(0, route.considered - len(at_joints) - route.unreachable),
            walk=route_figure(shapes, stops),
            results=tuple(RESULT_WORDS.items()),
            full_checks={
                family.label: family.full_check
                for family in policy.families
                if family.code in {stop.family for stop in at_joints}
            },
            receipt=receipt_of(recorded, was, now, again),
            cautions=CAUTIONS,
        )
    )


@ROUTER.post("/routes/{route_id}/stops/{position}")
def post_stop(page: InPage, route_id: int, position: int, sent: SentCheck) -> Response:
    """Record what was found at a stop, and go on with the next."""
    joint_id = joint_at_stop(page.connection, route_id, position)
    answer = record_result(page.connection, sent.report(joint_id=joint_id, route_id=route_id), page.today)
    said = {
        "recorded": answer.result,
        "was": str(answer.old_due_on or ""),
        "now": str(answer.new_due_on or ""),
        "again": "yes" if answer.repeated else "",
    }
    query = urlencode({name: value for name, value in said.items() if value})
    return RedirectResponse(f"{page.root}/routes/{route_id}?{query}#stop-{position + 1}", status_code=303)


def _stop_row(
    page: PageRequest, route_id: int, stop: RouteStop, grid: SheetGrid | None, policy: Policy, opened_at: str
) -> StopRow:
    assert stop.tag is not None, "a stop at a joint"
    assert stop.east_m is not None, "a joint has a place"
    assert stop.north_m is not None, "a joint has a place"
    family = policy.family(stop.family or "")
    return StopRow(
        stop=stop,
        href=page.joint_href(stop.tag),
        place=place_words(grid, stop.east_m, stop.north_m, stop.elevation_m),
        state=due_state(stop.due_on, page.today) if stop.due_on else None,
        action=f"{page.root}/routes/{route_id}/stops/{stop.position}",
        client_uuid=fresh_uuid(),
        opened_at=opened_at,
        full_check=family.full_check if family else (),
    )
