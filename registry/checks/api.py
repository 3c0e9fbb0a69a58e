"""What the field sends: results of checks, leaks seen, and files of readings and history."""

from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

import orjson
from fastapi import APIRouter, File, Form, Response, UploadFile
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from registry.checks import service
from registry.checks.model import CheckAnswer, CheckReport, Result
from registry.errors import Invalid
from registry.intake.mapping_file import read_mapping
from registry.intake.model import FileMapping
from registry.intake.tables import read_table
from registry.intervals.service import rescore
from registry.leaks.model import FoundDuring, LeakReport, Severity
from registry.leaks.service import read_leak
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["field"])

Kind = Literal["vibration", "temperatures", "make-ups", "leaks", "checks"]


class FileRefused(Invalid):
    """The file was refused: no row of it was loaded"""

    slug = "history-refused"


class ResultBody(BaseModel):
    """What was found at a joint; `client_uuid` is made where it was found, so that sending it twice counts once."""

    model_config = ConfigDict(extra="forbid")

    observed_at: AwareDatetime
    result: Result
    client_uuid: UUID
    severity: Severity | None = Field(default=None, description="default: weep for weeping, drip for leaking")
    screening_ppmv: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    checked_by: str | None = Field(default=None, max_length=200)
    notes: str | None = Field(default=None, max_length=2000)


class CheckBody(ResultBody):
    """A result at a joint by its tag or its number."""

    tag: str | None = None
    joint_id: int | None = None
    route_id: int | None = None


class StopBody(ResultBody):
    """A result at a stop of a route."""

    position: int = Field(ge=1, description="number of the stop")
    tag: str | None = Field(
        default=None, max_length=200, description="the joint seen there: counts if it has moved since"
    )


class LeakBody(BaseModel):
    """A leak that somebody saw; `client_uuid` is made where it was seen, so that sending it twice counts once."""

    model_config = ConfigDict(extra="forbid")

    tag: str
    observed_at: AwareDatetime
    severity: Severity
    client_uuid: UUID
    found_during: FoundDuring = "operation"
    found_by: str | None = Field(default=None, max_length=200)
    screening_ppmv: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    notes: str | None = Field(default=None, max_length=2000)


@router.post("/checks", status_code=201)
def post_check(connection: SiteConnection, body: CheckBody) -> Response:
    """Record what was found at a joint; 200 when the same report was recorded before."""
    return _answer(service.record_result(connection, CheckReport(**body.model_dump()), _today()))


@router.post("/routes/{route_id}/results", status_code=201)
def post_route_result(connection: SiteConnection, route_id: int, body: StopBody) -> Response:
    """Record what was found at a stop of a route; 200 when the same report was recorded before."""
    joint_id = service.joint_at_stop(connection, route_id, body.position, seen_tag=body.tag)
    said = body.model_dump(exclude={"position", "tag"})
    report = CheckReport(**said, joint_id=joint_id, route_id=route_id)
    return _answer(service.record_result(connection, report, _today()))


@router.post("/leaks", status_code=201)
def post_leak(connection: SiteConnection, body: LeakBody) -> Response:
    """Report a leak; the same report again answers with the same leak."""
    leak_id = service.report_leak(connection, LeakReport(**body.model_dump()), _today())
    return _json(read_leak(connection, leak_id), status=201)


@router.post("/histories/{kind}")
def post_history(
    connection: SiteConnection,
    kind: Kind,
    file: Annotated[UploadFile, File(description="CSV or a workbook, one row each")],
    mapping: Annotated[str | None, Form(description="a mapping file's TOML; without one the headings are ours")] = None,
    keep_valid: Annotated[bool, Form(description="load the rows without a fault even if others have one")] = False,
) -> Response:
    """Load readings or history: all rows or none, or with `keep_valid` the good ones; a refused file answers 422."""
    described = FileMapping() if mapping is None else read_mapping(mapping.encode(), "the mapping")
    table = read_table(file.file.read(), described, file.filename or "the file")
    report = service.import_history(connection, kind, table, described, keep_valid, _today())
    if not report.loaded:
        raise FileRefused(f"{report.refused:,} of {report.rows_read:,} rows have a fault", report.issues)
    if report.changes:
        rescore(connection)
    return _json(report)


def _answer(answer: CheckAnswer) -> Response:
    return _json(answer, status=200 if answer.repeated else 201)


def _today() -> date:
    return datetime.now(UTC).date()


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
