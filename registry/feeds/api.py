"""A crew's calendar over HTTP, at an address that holds a secret."""

from typing import Annotated

import orjson
from fastapi import APIRouter, Path, Request, Response

from registry.crews.service import calendar_secret, renew_calendar
from registry.feeds.service import calendar_path, write_calendar
from registry.web.clock import Today
from registry.web.dependencies import InSite

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["crews"])

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
# Whoever has the address has the calendar: nobody on the way keeps a copy, and no search engine lists it.
_PRIVATE = {"Cache-Control": "private, no-cache", "X-Robots-Tag": "noindex, nofollow"}
_SECRET = {"Cache-Control": "no-store"}


@router.get("/crews/{crew_id}/calendar/{secret}.ics")
def read_calendar(request: Request, in_site: InSite, crew_id: Number, secret: str, today: Today) -> Response:
    """The crew's weeks and walks as iCalendar, for a calendar program to subscribe to."""
    root = str(request.base_url).rstrip("/")
    text = write_calendar(in_site.connection, in_site.site, crew_id, secret, today, root=root)
    return Response(text, media_type="text/calendar; charset=utf-8", headers=_PRIVATE)


@router.get("/crews/{crew_id}/calendar")
def read_address(in_site: InSite, crew_id: Number) -> Response:
    """The path of the crew's calendar, secret and all."""
    return _address(calendar_path(in_site.site, crew_id, calendar_secret(in_site.connection, crew_id)))


@router.post("/crews/{crew_id}/calendar/renew")
def post_renew(in_site: InSite, crew_id: Number) -> Response:
    """Give the crew's calendar a new address; the old one is dead from now on."""
    return _address(calendar_path(in_site.site, crew_id, renew_calendar(in_site.connection, crew_id)))


def _address(path: str) -> Response:
    return Response(orjson.dumps({"path": path}), media_type="application/json", headers=_SECRET)
