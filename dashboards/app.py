"""The composition root: the API, the pages, their errors, and what keeps them safe, as one application."""

import logging
import re
from collections.abc import Callable, Collection
from contextlib import suppress
from datetime import UTC, date, datetime

import orjson
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from dashboards import assets
from dashboards.contexts import Frame, RefusedPage
from dashboards.pages import PAGES
from dashboards.pages.frame import bare_frame, site_frame
from dashboards.rendering import render
from dashboards.security import SameOrigin
from registry.api import ROUTERS
from registry.db import Database
from registry.errors import RegistryError
from registry.sites.service import find_site
from registry.web.problems import path_to_log, problem_of

LOG = logging.getLogger(__name__)
_IN_SITE = re.compile(r"/sites/([^/]+)/")

DESCRIPTION = "A plant-wide registry of mechanical joints: what is due, why, who walks there, what leaks."


def create_app(
    database: Database, *, hosts: Collection[str] = (), clock: Callable[[], datetime] | None = None
) -> FastAPI:
    """The application over a database.

    `hosts` are the names it answers for besides this machine's own; `clock` stands in for the time of day.
    """
    # FastAPI's own documentation pages load scripts from elsewhere, so they are off; the OpenAPI document stays.
    app = FastAPI(
        title="Jointwright",
        description=DESCRIPTION,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    app.state.database = database
    app.state.clock = clock
    app.include_router(assets.ROUTER)
    for router in (*ROUTERS, *PAGES):
        app.include_router(router)
    for kind in (RegistryError, RequestValidationError, HTTPException, Exception):
        app.add_exception_handler(kind, _refused)
    app.add_middleware(SameOrigin, hosts=hosts)
    return app


def _frame(request: Request, title: str, today: date) -> Frame:
    """The frame of the site that the request was about, so that a reader can go on from there; else a bare one."""
    found = _IN_SITE.match(request.url.path)
    if found is not None:
        with suppress(RegistryError):
            return site_frame(find_site(request.app.state.database, found.group(1)), None, title, "", today)
    return bare_frame(title, today)


def _refused(request: Request, exc: Exception) -> Response:
    """Any error as a problem document for programs, and as a page for people."""
    document = problem_of(exc)
    status = document["status"]
    if status >= 500:
        LOG.error("%s %s", request.method, path_to_log(request.url.path), exc_info=exc)
    headers = dict(exc.headers or {}) if isinstance(exc, HTTPException) else {}
    if request.url.path.startswith(("/api/", "/static/")) or "text/html" not in request.headers.get("Accept", ""):
        body = orjson.dumps(document)
        return Response(body, status_code=status, media_type="application/problem+json", headers=headers)
    clock = request.app.state.clock
    today = (clock() if clock is not None else datetime.now(UTC)).date()
    page = RefusedPage(
        frame=_frame(request, document["title"], today),
        status=status,
        title=document["title"],
        detail=document["detail"],
        issues=document.get("issues", ()),
    )
    answer = render(page, status)
    answer.headers.update(headers)
    return answer
