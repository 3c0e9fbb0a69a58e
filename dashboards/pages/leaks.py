"""Leaks: open now, and how often each area leaks."""

from datetime import date, datetime
from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import LeakRow, LeaksPage
from dashboards.figures.leak_rates import leak_rates_figure
from dashboards.pages.frame import InPage, steps_to_scores
from dashboards.pages.reports import fresh_uuid, moment_text
from dashboards.rendering import render
from registry.leaks.model import Step, StepReport
from registry.leaks.service import area_rates, record_step
from registry.leaks.store import list_leaks
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

MOST_OPEN = 300


@ROUTER.get("/leaks")
def get_leaks(page: InPage, clock: Now, since: Annotated[date | None, Query()] = None) -> Response:
    """Open leaks, and the rate of each area since a day, or since the ledger begins."""
    leaks = list_leaks(page.connection, only_open=True, limit=MOST_OPEN)
    rates = area_rates(page.connection, since, page.today)
    opened_at = moment_text(clock)
    recorded = rates.since_on is not None
    return render(
        LeaksPage(
            frame=page.frame("Leaks", "leaks"),
            open_leaks=[
                LeakRow(
                    leak=leak,
                    href=page.joint_href(leak.tag),
                    days_open=(page.today - leak.observed_at.date()).days,
                    action=f"{page.root}/leaks/{leak.leak_id}/steps",
                    client_uuid=fresh_uuid(),
                    opened_at=opened_at,
                )
                for leak in leaks
            ],
            rates=rates.areas if recorded else (),
            plant=rates.whole_site if recorded else None,
            chart=leak_rates_figure(rates.areas, rates.whole_site) if recorded else None,
            since_on=rates.since_on,
            until_on=rates.until_on,
            next_steps=() if page.sheet.has_joints else steps_to_scores(page.sheet, page.root),
        )
    )


@ROUTER.post("/leaks/{leak_id}/steps")
def post_step(
    page: InPage,
    leak_id: int,
    step: Annotated[Step, Form()],
    client_uuid: Annotated[UUID, Form()],
    opened_at: Annotated[datetime, Form()],
    done_by: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Record a first attempt or the repair that closes a leak."""
    report = StepReport(
        leak_id=leak_id, step=step, observed_at=opened_at, client_uuid=client_uuid, done_by=done_by.strip() or None
    )
    record_step(page.connection, report, page.today)
    return RedirectResponse(f"{page.root}/leaks", status_code=303)
