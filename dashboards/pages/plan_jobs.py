"""A plan made in the background: asked for, watched, stopped. Until it is done the plan before stands."""

from datetime import date, timedelta
from typing import Annotated

import orjson
from fastapi import APIRouter, Depends, Form, Path, Response
from fastapi.responses import RedirectResponse

from dashboards.pages.frame import InPage
from dashboards.plan_contexts import PlanJobPage
from dashboards.rendering import render
from registry.db import Database
from registry.planning.changes import PlanJob
from registry.planning.job_service import read_job, start_job, stop_job
from registry.planning.model import PlanRequest
from registry.web.dependencies import database_of

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Weeks = Annotated[int, Form(ge=0, le=10_000)]


@ROUTER.post("/weeks/jobs")
def post_job(
    page: InPage,
    database: Annotated[Database, Depends(database_of)],
    starts_on: Annotated[date, Form()],
    weeks: Weeks,
    frozen_weeks: Weeks,
    planned_weeks: Weeks,
    asked_by: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Begin to make a plan, and show how far it is. A start on another day is taken as the Monday of its week."""
    wanted = PlanRequest(starts_on - timedelta(days=starts_on.weekday()), weeks, frozen_weeks, planned_weeks)
    job = start_job(database, page.site.site_id, wanted, page.today, asked_by)
    return RedirectResponse(f"{page.root}/weeks/jobs/{job.plan_job_id}", status_code=303)


@ROUTER.get("/weeks/jobs/{plan_job_id}")
def get_job(page: InPage, plan_job_id: Number) -> Response:
    """How far a plan is; once it is done, the plan."""
    job = read_job(page.connection, plan_job_id)
    if job.state == "done":
        return RedirectResponse(f"{page.root}/weeks", status_code=303)
    return render(
        PlanJobPage(
            frame=page.frame("A plan in the making", "weeks"),
            job=job,
            weeks=_wanted_words(job),
            root=f"{page.root}/weeks/jobs/{plan_job_id}",
            plan_href=f"{page.root}/weeks",
        )
    )


@ROUTER.get("/weeks/jobs/{plan_job_id}/progress.json")
def get_progress(page: InPage, plan_job_id: Number) -> Response:
    """How far a plan is, for the page that shows it."""
    job = read_job(page.connection, plan_job_id)
    content = {"percent": round(100.0 * job.share_done, 1), "stage": job.stage, "over": job.over}
    return Response(orjson.dumps(content), media_type="application/json", headers={"Cache-Control": "no-store"})


@ROUTER.post("/weeks/jobs/{plan_job_id}/stop")
def post_stop(page: InPage, plan_job_id: Number) -> Response:
    """Ask a job to stop; the plan before stands."""
    stop_job(page.connection, plan_job_id)
    return RedirectResponse(f"{page.root}/weeks/jobs/{plan_job_id}", status_code=303)


def _wanted_words(job: PlanJob) -> str:
    asked = job.request
    if "weeks" not in asked or "starts_on" not in asked:
        return "a plan"
    return f"{asked['weeks']} weeks from {asked['starts_on']}"
