"""Procedures of a site over HTTP."""

from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Query, Response

from registry.makeup.procedures import Procedure
from registry.makeup.reading_procedures import document_of
from registry.makeup.service import procedure_of, procedures_of_joint, publish_first_procedures
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["make-up"])


@router.get("/procedures")
def get_procedures(connection: SiteConnection) -> Response:
    """The procedures of the site, each in its newest version, with steps, rules, cautions and source."""
    return _json({"procedures": [_said(each) for each in publish_first_procedures(connection)]})


@router.get("/procedures/{code}")
def get_procedure(
    connection: SiteConnection,
    code: str,
    version: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="default: the newest")] = None,
) -> Response:
    """One procedure, in its newest version or the given one."""
    return _json(_said(procedure_of(connection, code, version)))


@router.get("/joints/{tag:path}/procedures")
def get_procedures_of_joint(
    connection: SiteConnection, tag: str, method: Literal["turns", "torque", "tension"] | None = None
) -> Response:
    """The procedures that a joint may be made up by, the one made for the fewest sizes first."""
    return _json({"procedures": [_said(each) for each in procedures_of_joint(connection, tag, method)]})


def _said(procedure: Procedure) -> dict[str, Any]:
    return {"version": procedure.version, **document_of(procedure)}


def _json(content: Any) -> Response:
    return Response(orjson.dumps(content), media_type="application/json")
