"""Which sites there are; with one site, its plot plan at once."""

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import NextStep, SitesPage
from dashboards.pages.frame import bare_frame
from dashboards.rendering import render
from registry.sites.service import all_sites
from registry.web.clock import Today
from registry.web.dependencies import database_of

ROUTER = APIRouter(include_in_schema=False)

_FIRST_STEPS = (
    NextStep("Look round the invented plant Saltmarsh Point.", "jointwright demo"),
    NextStep(
        "Or begin with your own: load its plot plan.", "jointwright load plot-plan plan.geojson --new-site my-plant"
    ),
)


@ROUTER.get("/")
def get_sites(request: Request, today: Today) -> Response:
    """The sites of this database."""
    with database_of(request).transaction() as connection:
        sites = all_sites(connection)
    if len(sites) == 1:
        return RedirectResponse(f"/sites/{sites[0].code}/plan", status_code=303)
    return render(SitesPage(bare_frame("Sites", today), sites, () if sites else _FIRST_STEPS))


@ROUTER.get("/sites/{site}")
def get_site(site: str) -> Response:
    """A site's first sheet."""
    return RedirectResponse(f"/sites/{site}/plan", status_code=303)
