"""The plan: due checks in weeks, against the crew's hours."""

from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import NextStep, WeekPanel, WeeksPage
from dashboards.figures.weeks import weeks_figure
from dashboards.pages.frame import InPage, PageRequest, steps_to_scores
from dashboards.rendering import render
from registry.overview import store
from registry.overview.model import PlannedWeek
from registry.planning.model import Plan, PlanRequest
from registry.planning.service import checks_of_week, make_plan
from registry.planning.store import read_current_plan

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

CREW_HOURS = 80.0
HORIZON_WEEKS = 26
MOST_CHECKS = 500


@ROUTER.get("/weeks")
def get_weeks(page: InPage, week: Annotated[date | None, Query()] = None) -> Response:
    """The newest plan; `week` opens one of its weeks, the first by default."""
    plan = read_current_plan(page.connection)
    weeks = store.list_planned_weeks(page.connection, plan.plan_run_id) if plan else []
    return render(
        WeeksPage(
            frame=page.frame("Weeks", "weeks"),
            plan=plan,
            weeks=weeks,
            chart=weeks_figure(plan, weeks) if plan and weeks else None,
            panel=_panel(page, plan, weeks, week) if plan else None,
            starts_on=_monday(page.today),
            crew_hours=plan.crew_hours_per_week if plan else CREW_HOURS,
            horizon_weeks=plan.weeks if plan else HORIZON_WEEKS,
            outdated=plan is not None and plan.score_run_id != page.sheet.score_run_id,
            next_steps=_next_steps(page, plan),
        )
    )


@ROUTER.post("/weeks")
def post_weeks(
    page: InPage,
    starts_on: Annotated[date, Form()],
    crew_hours: Annotated[float, Form(gt=0, le=100_000)],
    weeks: Annotated[int, Form(ge=1, le=260)],
) -> Response:
    """Make a plan and show it. A start on another day is taken as the Monday of its week."""
    make_plan(page.connection, PlanRequest(_monday(starts_on), weeks), page.today, "the dashboard")
    return RedirectResponse(f"{page.root}/weeks", status_code=303)


def _panel(page: PageRequest, plan: Plan, weeks: list[PlannedWeek], wanted: date | None) -> WeekPanel | None:
    opened = next((week for week in weeks if week.starts_on == wanted), weeks[0] if weeks else None)
    if opened is None:
        return None
    checks = checks_of_week(page.connection, opened.starts_on, limit=MOST_CHECKS)
    return WeekPanel(
        week=opened,
        areas=store.list_week_areas(page.connection, plan.plan_run_id, opened.starts_on),
        checks=checks,
        hrefs={check.tag: page.joint_href(check.tag) for check in checks},
    )


def _next_steps(page: PageRequest, plan: Plan | None) -> tuple[NextStep, ...]:
    steps = steps_to_scores(page.sheet, page.root)
    if not steps and plan is None:
        return (NextStep("Make the first plan: say in the strip how many hours the crew has a week."),)
    return steps


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
