"""Work packs over HTTP: open, follow, hand back, certificate."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Response
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from registry.completion import service, store
from registry.completion.model import PackStepKind, StepReport
from registry.web.dependencies import InSite, SiteConnection
from registry.web.paging import Limit

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["work packs"])


class PackBody(BaseModel):
    """A work pack and the joints that are to be broken."""

    model_config = ConfigDict(extra="forbid")

    code: str = Field(min_length=1, max_length=100, pattern="^[^/]+$")
    title: str = Field(min_length=1, max_length=300)
    opened_by: str = Field(min_length=1, max_length=200)
    tags: list[str] = Field(min_length=1, max_length=10_000)


class PackStepBody(BaseModel):
    """A joint was broken, or leak-tested; `client_uuid` is made where it was done, so that sending it twice counts
    once."""

    model_config = ConfigDict(extra="forbid")

    tag: str
    step: PackStepKind
    passed: bool = True
    observed_at: AwareDatetime
    done_by: str = Field(min_length=1, max_length=200)
    client_uuid: UUID
    notes: str | None = Field(default=None, max_length=2000)


class HandBackBody(BaseModel):
    """Who hands the system back."""

    model_config = ConfigDict(extra="forbid")

    by: str = Field(min_length=1, max_length=200)


@router.get("/work-packs")
def list_packs(connection: SiteConnection, limit: Limit = 200) -> Response:
    """Work packs, those not handed back first."""
    return _json({"work_packs": store.list_packs(connection, limit=limit)})


@router.post("/work-packs", status_code=201)
def post_pack(connection: SiteConnection, body: PackBody) -> Response:
    """Open a work pack."""
    return _json(service.open_pack(connection, body.code, body.title, body.opened_by, body.tags).as_row(), status=201)


@router.get("/work-packs/{code}")
def read_pack(connection: SiteConnection, code: str) -> Response:
    """A work pack with how far each of its joints has come."""
    return _json(service.read_completion(connection, code).as_row())


@router.post("/work-packs/{code}/steps", status_code=201)
def post_pack_step(connection: SiteConnection, code: str, body: PackStepBody) -> Response:
    """Record that a joint was broken or leak-tested."""
    joint = service.record_step(connection, code, StepReport(**body.model_dump()), _today())
    return _json({"state": joint.state, "joint": joint}, status=201)


@router.post("/work-packs/{code}/hand-back")
def post_hand_back(connection: SiteConnection, code: str, body: HandBackBody) -> Response:
    """Hand the system back; 422 with every joint that stands open."""
    return _json(service.hand_back(connection, code, body.by, datetime.now(UTC)).as_row())


@router.get("/work-packs/{code}/certificate.pdf")
def read_certificate(request: InSite, code: str) -> Response:
    """The certificate of completion; 422 with every joint that stands open."""
    pdf = service.certificate(request.connection, code, request.site.name)
    return Response(pdf, media_type="application/pdf")


def _today() -> date:
    return datetime.now(UTC).date()


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
