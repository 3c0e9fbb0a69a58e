"""Outages of a site: added, changed, removed. They are listed with the crews."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from dashboards.crew_contexts import OutageForm, OutagePage, OutageRow
from dashboards.pages.frame import InPage, PageRequest
from dashboards.rendering import render
from registry.crews import service
from registry.crews.model import Outage, OutageRequest
from registry.plant.store import list_areas

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Name = Annotated[str, Form(max_length=200)]
Names = Annotated[list[str] | None, Form(max_length=1000)]
Day = Annotated[date, Form()]
Revision = Annotated[int, Form(ge=1)]


@ROUTER.post("/outages")
def post_outage(page: InPage, from_on: Day, until_on: Day, name: Name = "", areas: Names = None) -> Response:
    """Add an outage of the areas ticked, or of the whole site."""
    service.add_outage(page.connection, OutageRequest(name, from_on, until_on, tuple(areas or ())))
    return RedirectResponse(f"{page.root}/crews#outages", status_code=303)


@ROUTER.get("/outages/{outage_id}")
def get_outage(page: InPage, outage_id: Number) -> Response:
    """One outage, and the form that changes it."""
    outage = service.read_outage(page.connection, outage_id)
    root = f"{page.root}/outages/{outage_id}"
    return render(
        OutagePage(
            frame=page.frame(outage.name, "weeks"),
            row=outage_row(page, outage),
            form=OutageForm(
                action=root,
                revision=outage.revision,
                name=outage.name,
                from_on=outage.from_on,
                until_on=outage.until_on,
                areas=[(area.name, area.name in outage.areas) for area in list_areas(page.connection)],
            ),
            root=root,
        )
    )


@ROUTER.post("/outages/{outage_id}")
def post_outage_change(
    page: InPage,
    outage_id: Number,
    revision: Revision,
    from_on: Day,
    until_on: Day,
    name: Name = "",
    areas: Names = None,
) -> Response:
    """Change an outage, if it still is as the form saw it."""
    wanted = OutageRequest(name, from_on, until_on, tuple(areas or ()))
    service.change_outage(page.connection, outage_id, wanted, revision)
    return RedirectResponse(f"{page.root}/crews#outages", status_code=303)


@ROUTER.post("/outages/{outage_id}/remove")
def post_outage_removal(page: InPage, outage_id: Number, revision: Revision) -> Response:
    """Remove an outage that will not be."""
    service.remove_outage(page.connection, outage_id, revision)
    return RedirectResponse(f"{page.root}/crews#outages", status_code=303)


def outage_row(page: PageRequest, outage: Outage) -> OutageRow:
    """An outage as tables show it."""
    days = (outage.until_on - outage.from_on).days + 1
    return OutageRow(outage, f"{page.root}/outages/{outage.outage_id}", days, _state(outage, page.today))


def blank_outage_form(page: PageRequest, areas: Sequence[str]) -> OutageForm:
    """The form of an outage that is to be added."""
    return OutageForm(f"{page.root}/outages", None, "", None, None, [(area, False) for area in areas])


def _state(outage: Outage, today: date) -> str:
    if outage.until_on < today:
        return "over"
    days = (outage.from_on - today).days
    if days <= 0:
        return "now"
    return f"in {days} {'day' if days == 1 else 'days'}"
