"""Routes: make one, walk it, record at each stop."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData

from dashboards.contexts import NextStep
from dashboards.figures.route import route_figure
from dashboards.pages.frame import InPage, PageRequest, place_words, steps_to_scores
from dashboards.pages.plan import plan_grid
from dashboards.pages.reports import SentCheck, SentForm, fresh_uuid, moment_text, receipt_of
from dashboards.rendering import in_words, render
from dashboards.route_contexts import CrewChoice, RouteForm, RoutePage, RoutesPage, StopRow
from dashboards.route_words import totals_words
from dashboards.words import RESULT_WORDS
from registry.checks.service import joint_at_stop, record_result
from registry.crews.service import list_crews
from registry.errors import Issue
from registry.overview import store
from registry.overview.model import RouteStop, due_state
from registry.plant.sheet_grid import SheetGrid
from registry.policy.model import Policy
from registry.policy.service import current_policy
from registry.routes.model import CAUTIONS, CrewShift, RouteRefused
from registry.routes.service import make_routes, route_with_stops, start_names
from registry.routes.store import list_routes
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 100
_SEED = 1
_MOST_TOLD = 20
NO_PLAN = NextStep("A walk needs a plot plan with walkways and a gate.", "jointwright load plot-plan plan.geojson")
NO_ROUTE = NextStep(
    "Make the first route with the form in the strip: the due joints worth most are chosen and put in walking order."
)

Text = Annotated[str, Query(max_length=200)]
Outs = Annotated[list[str] | None, Query(max_length=20)]


@ROUTER.get("/routes")
def get_routes(page: InPage, made: Text = "", out: Outs = None) -> Response:
    """The newest routes, and the form that makes some.

    `made` are the numbers of those that were just made, `out` says which joint or crew is on none of them, and why.
    """
    starts = start_names(page.connection) if page.sheet.plot_plan_intake_id else []
    routes = list_routes(page.connection, LISTED)
    steps = steps_to_scores(page.sheet, page.root)
    if not steps and not starts:
        steps = (NO_PLAN,)
    elif not steps and not routes:
        steps = (NO_ROUTE,)
    numbers = {int(part) for part in made.split(",") if part.isdigit()}
    return render(
        RoutesPage(
            frame=page.frame("Routes", "routes"),
            routes=routes,
            made=[route for route in routes if route.route_id in numbers],
            left_out=out or (),
            form=_form(page, starts) if page.sheet.score_run_id and starts else None,
            next_steps=steps,
        )
    )


@ROUTER.post("/routes")
def post_routes(page: InPage, form: SentForm) -> Response:
    """Make a route for each crew, and show the one, or the list of them."""
    walk_on, area = _day(form), _text(form, "area") or None
    shifts = _shifts(page, form)
    made = make_routes(
        page.connection,
        walk_on,
        shifts,
        area,
        _SEED,
        pinned_tags=_tags(form, "pinned_tags"),
        left_out_tags=_tags(form, "left_out_tags"),
        today=page.today,
    )
    out = [f"{pin.tag}: {pin.reason}" for pin in made[0].pins_left_out[:_MOST_TOLD]]
    walking = {_plain(route.crew) for route in made}
    out += [f"{shift.crew}: nothing is left for it that day" for shift in shifts if _plain(shift.crew) not in walking]
    if len(made) == 1 and not out:
        return RedirectResponse(f"{page.root}/routes/{made[0].route_id}", status_code=303)
    numbers = ",".join(str(route.route_id) for route in made)
    query = urlencode({"made": numbers, "out": out}, doseq=True)
    return RedirectResponse(f"{page.root}/routes?{query}", status_code=303)


@ROUTER.get("/routes/{route_id}")
def get_route(
    page: InPage,
    route_id: int,
    clock: Now,
    recorded: Text = "",
    was: Text = "",
    now: Text = "",
    again: Text = "",
    mended: Text = "",
) -> Response:
    """A route: the walk drawn and numbered, the list beside it."""
    route, sheet = route_with_stops(page.connection, route_id)
    pinned = {stop.joint_id for stop in sheet if stop.pinned}
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
            tools=None if route.tools is None else ", ".join(map(in_words, route.tools)) or "none",
            totals=totals_words(route),
            stops=[
                _stop_row(page, route_id, stop, stop.joint_id in pinned, grid, policy, opened_at) for stop in at_joints
            ],
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
            mended=mended == "yes",
            mend_href=f"{page.root}/routes/{route_id}/mend",
            cautions=CAUTIONS,
        )
    )


@ROUTER.post("/routes/{route_id}/stops/{position}")
def post_stop(
    page: InPage,
    route_id: int,
    position: int,
    sent: SentCheck,
    seen: Annotated[int | None, Form(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """Record what was found at a stop, and go on with the next; `seen` is the joint that the form stood at."""
    joint_id = joint_at_stop(page.connection, route_id, position, seen=seen)
    answer = record_result(page.connection, sent.report(joint_id=joint_id, route_id=route_id), page.today)
    said = {
        "recorded": answer.result,
        "was": str(answer.old_due_on or ""),
        "now": str(answer.new_due_on or ""),
        "again": "yes" if answer.repeated else "",
    }
    query = urlencode({name: value for name, value in said.items() if value})
    return RedirectResponse(f"{page.root}/routes/{route_id}?{query}#stop-{position + 1}", status_code=303)


def _form(page: PageRequest, starts: Sequence[str]) -> RouteForm:
    crews = [crew for crew in list_crews(page.connection) if crew.until_on is None or crew.until_on >= page.today]
    return RouteForm(
        walk_on=page.today,
        areas=[choice.name for choice in store.list_choices(page.connection).areas],
        gates=starts,
        crews=[CrewChoice(crew.crew_id, crew.name, f"{max(crew.minutes_by_weekday) / 60.0:.3g}") for crew in crews],
        tools=[(kind, in_words(kind)) for kind in _tools(current_policy(page.connection))],
    )


def _tools(policy: Policy) -> list[str]:
    """The kinds of tool that some check takes."""
    return sorted({kind for family in policy.families for kinds in family.check_tools.values() for kind in kinds})


def _shifts(page: PageRequest, form: FormData) -> list[CrewShift]:
    """The crews that were ticked, and the one that was named. Raises RouteRefused with every fault."""
    names = {str(crew.crew_id): crew.name for crew in list_crews(page.connection)}
    issues: list[Issue] = []
    shifts: list[CrewShift] = []
    ticked = [(str(number), names.get(str(number), "")) for number in form.getlist("crew")]
    named = _text(form, "crew_name")
    for number, name in [*ticked, *([("0", named)] if named else [])]:
        if not name:
            issues.append(Issue(None, "crew", number, "is no crew of this site"))
            continue
        hours = _text(form, f"hours_{number}").replace(",", ".")
        try:
            minutes = 60.0 * float(hours)
        except ValueError:
            issues.append(Issue(None, f"hours of {name}", hours, "is no number"))
            continue
        tools = tuple(str(kind) for kind in form.getlist(f"tools_{number}"))
        shifts.append(CrewShift(name, minutes, _text(form, f"gate_{number}") or None, tools or None))
    if not shifts and not issues:
        issues.append(Issue(None, "crew", None, "tick a crew, or name one"))
    if issues:
        raise RouteRefused("no route was made", issues)
    return shifts


def _plain(name: str) -> str:
    """A crew's name as names are compared."""
    return " ".join(name.split()).casefold()


def _day(form: FormData) -> date:
    text = _text(form, "walk_on")
    try:
        return date.fromisoformat(text)
    except ValueError as exc:
        fault = Issue(None, "walk_on", text, "is no date; write it as 2026-03-31")
        raise RouteRefused("no route was made", [fault]) from exc


def _tags(form: FormData, name: str) -> tuple[str, ...]:
    """Tags, one a line or with commas between."""
    lines = _text(form, name).replace(",", "\n").splitlines()
    return tuple(line.strip() for line in lines if line.strip())


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


def _stop_row(
    page: PageRequest,
    route_id: int,
    stop: RouteStop,
    pinned: bool,
    grid: SheetGrid | None,
    policy: Policy,
    opened_at: str,
) -> StopRow:
    assert stop.tag is not None, "a stop at a joint"
    assert stop.east_m is not None, "a joint has a place"
    assert stop.north_m is not None, "a joint has a place"
    family = policy.family(stop.family or "")
    return StopRow(
        stop=stop,
        pinned=pinned,
        href=page.joint_href(stop.tag),
        place=place_words(grid, stop.east_m, stop.north_m, stop.elevation_m),
        state=due_state(stop.due_on, page.today) if stop.due_on else None,
        action=f"{page.root}/routes/{route_id}/stops/{stop.position}",
        client_uuid=fresh_uuid(),
        opened_at=opened_at,
        full_check=family.full_check if family else (),
    )
