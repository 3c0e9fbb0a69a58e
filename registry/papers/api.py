"""People and tools of a site over HTTP, and lists of them."""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, File, Form, Query, Response, UploadFile

from registry.errors import Invalid
from registry.intake.mapping_file import read_mapping
from registry.intake.model import FileMapping
from registry.intake.tables import read_table
from registry.papers.service import REGISTERS, SOON_DAYS, expiring, people, tool_of_serial, tools
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["make-up"])


class RegisterRefused(Invalid):
    """The file was refused: no row of it was loaded"""

    slug = "register-refused"


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


def _json(content: Any) -> Response:
    return Response(orjson.dumps(content), media_type="application/json")
