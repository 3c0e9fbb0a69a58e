"""Errors as RFC 9457 problem details, in one shape whatever raised them."""

import logging
import re
from http import HTTPStatus
from typing import Any

import orjson
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from registry.errors import Conflict, Invalid, Issue, NotAllowed, NotFound, RegistryError, Unavailable

LOG = logging.getLogger(__name__)
PROBLEM_TYPE = "urn:jointwright:problem:"

# The first kind that an error is an instance of decides.
_STATUS: tuple[tuple[type[RegistryError], HTTPStatus], ...] = (
    (NotFound, HTTPStatus.NOT_FOUND),
    (Conflict, HTTPStatus.CONFLICT),
    (Invalid, HTTPStatus.UNPROCESSABLE_ENTITY),
    (NotAllowed, HTTPStatus.FORBIDDEN),
    (Unavailable, HTTPStatus.SERVICE_UNAVAILABLE),
)


def status_of(error: RegistryError) -> HTTPStatus:
    """The HTTP status that a kind of error becomes."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), HTTPStatus.INTERNAL_SERVER_ERROR)


def problem(status: int, slug: str, title: str, detail: str, issues: tuple[Issue, ...] = ()) -> dict[str, Any]:
    """The members of a problem document; `issues` holds each wrong field or cell."""
    document: dict[str, Any] = {"type": PROBLEM_TYPE + slug, "title": title, "status": int(status), "detail": detail}
    if issues:
        document["issues"] = [
            {"row": issue.row, "column": issue.column, "value": issue.value, "reason": issue.reason} for issue in issues
        ]
    return document


def problem_of(error: Exception) -> dict[str, Any]:
    """Any exception as a problem document; what nobody foresaw says nothing of its inside."""
    if isinstance(error, RegistryError):
        issues = error.issues if isinstance(error, Invalid) else ()
        return problem(status_of(error), error.slug, error.title, str(error) or error.title, issues)
    if isinstance(error, RequestValidationError):
        issues = tuple(
            Issue(None, ".".join(str(part) for part in fault["loc"]), _shown(fault.get("input")), str(fault["msg"]))
            for fault in error.errors()
        )
        return problem(422, "request-invalid", "The request was refused", "; ".join(map(str, issues)), issues)
    if isinstance(error, HTTPException):
        title = HTTPStatus(error.status_code).phrase
        return problem(error.status_code, title.lower().replace(" ", "-"), title, str(error.detail))
    return problem(500, "internal", "Something went wrong here", "The fault is ours and is in the server's log.")


def path_to_log(path: str) -> str:
    """A path without the secret of a calendar's address: who reads the log may not read the calendar.

    >>> path_to_log("/api/v1/sites/works/crews/3/calendar/c2VjcmV0.ics")
    '/api/v1/sites/works/crews/3/calendar/…'
    """
    return re.sub(r"(?<=/calendar/).+", "…", path)


def install_problem_handlers(app: FastAPI) -> None:
    """Make every error of `app` a problem document."""

    def answer(request: Request, exc: Exception) -> Response:
        document = problem_of(exc)
        if document["status"] >= 500:
            LOG.error("%s %s", request.method, path_to_log(request.url.path), exc_info=exc)
        headers = dict(exc.headers or {}) if isinstance(exc, HTTPException) else {}
        return Response(
            orjson.dumps(document),
            status_code=document["status"],
            media_type="application/problem+json",
            headers=headers,
        )

    for kind in (RegistryError, RequestValidationError, HTTPException, Exception):
        app.add_exception_handler(kind, answer)


def _shown(value: Any) -> str | None:
    return None if value is None else str(value)[:200]
