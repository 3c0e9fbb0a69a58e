"""Procedures, people and tools of a site over HTTP."""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, File, Form, Query, Response, UploadFile

from registry.errors import Invalid
from registry.intake.mapping_file import read_mapping
from registry.intake.model import FileMapping
from registry.intake.tables import read_table
from registry.makeup.papers_of_site import SOON_DAYS, expiring, people, tool_of_serial, tools
from registry.makeup.procedures import Procedure
from registry.makeup.publishing import procedure_of, procedures_of_joint, publish_first_procedures
from registry.makeup.reading_procedures import document_of
from registry.makeup.registers import REGISTERS
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["make-up"])


class RegisterRefused(Invalid):
    """The file was refused: no row of it was loaded"""

    slug = "register-refused"


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


@router.get("/people")
def get_people(connection: SiteConnection) -> Response:
    """People with their qualifications."""
    return _json({"people": people(connection)})


@router.get("/tools")
def get_tools(connection: SiteConnection) -> Response:
    """Tools with their calibrations."""
    return _json({"tools": tools(connection)})


@router.get("/tools/{serial:path}")
def get_tool(connection: SiteConnection, serial: str) -> Response:
    """One tool with its calibrations."""
    return _json(tool_of_serial(connection, serial))


@router.get("/expiring")
def get_expiring(connection: SiteConnection, days: Annotated[int, Query(ge=0, le=3650)] = SOON_DAYS) -> Response:
    """Qualifications and calibrations that ran out or do so within some days, without one after them."""
    return _json({"expiring": expiring(connection, datetime.now(UTC).date(), days)})


@router.post("/registers/{kind}")
def post_register(
    connection: SiteConnection,
    kind: Literal["people", "tools", "calibrations"],
    file: Annotated[UploadFile, File(description="CSV or a workbook, one row each")],
    mapping: Annotated[str | None, Form(description="a mapping file's TOML; without one the headings are ours")] = None,
    keep_valid: Annotated[bool, Form(description="load the rows without a fault even if others have one")] = False,
) -> Response:
    """Load people, tools or calibrations: all rows or none, or with `keep_valid` the good ones; else 422."""
    described = FileMapping() if mapping is None else read_mapping(mapping.encode(), "the mapping")
    table = read_table(file.file.read(), described, file.filename or "the file")
    report = REGISTERS[kind].take_in(connection, table, described, keep_valid, datetime.now(UTC).date())
    if not report.loaded:
        raise RegisterRefused(f"{report.refused:,} of {report.rows_read:,} rows have a fault", report.issues)
    return _json(report)


def _said(procedure: Procedure) -> dict[str, Any]:
    return {"version": procedure.version, **document_of(procedure)}


def _json(content: Any) -> Response:
    return Response(orjson.dumps(content), media_type="application/json")
