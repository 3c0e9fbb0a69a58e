"""Make-ups as the field sends them, and those of a joint."""

from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

import orjson
from fastapi import APIRouter, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.assembly.model import MakeUpSent
from registry.assembly.service import record_make_up
from registry.makeup.procedures import MakeUpKind
from registry.makeup.service import make_ups_of_joint
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["make-up"])

Answer = bool | Annotated[float, Field(allow_inf_nan=False)] | Annotated[str, Field(max_length=200)]
Serial = Annotated[str, Field(min_length=1, max_length=200)]


class MakeUpBody(BaseModel):
    """A make-up with the answers to its procedure's steps, by their key; `client_uuid` is made where it was made up."""

    model_config = ConfigDict(extra="forbid")

    tag: str
    made_up_on: date | None = Field(default=None, description="default: today")
    fitter: str | None = Field(default=None, max_length=200)
    witness: str | None = Field(default=None, max_length=200)
    client_uuid: UUID
    kind: MakeUpKind = "first"
    method: Literal["turns", "torque", "tension"] | None = None
    procedure: str | None = Field(default=None, description="default: the only one for the joint and the method")
    procedure_version: int | None = Field(default=None, ge=1, le=2**31 - 1, description="default: the newest")
    answers: dict[str, Answer] = Field(default_factory=dict[str, Answer])
    tools: list[Serial] = Field(default_factory=list[str], description="serials of tools that no step asks for")
    photos: list[Annotated[str, Field(max_length=500)]] = Field(default_factory=list[str], max_length=50)
    notes: str | None = Field(default=None, max_length=2000)
    supersedes: int | None = Field(default=None, ge=1, le=2**63 - 1, description="number of the record it corrects")
    reason: str | None = Field(default=None, max_length=2000, description="why that record is corrected")


@router.post("/make-ups", status_code=201)
def post_make_up(connection: SiteConnection, body: MakeUpBody) -> Response:
    """Record a make-up and get its verdict with every reason; 200 when the same report was recorded before."""
    today = datetime.now(UTC).date()
    said = body.model_dump(exclude={"made_up_on"})
    answer = record_make_up(connection, MakeUpSent(**said, made_up_on=body.made_up_on or today), today)
    return _json(answer, status=200 if answer.repeated else 201)


@router.get("/joints/{tag:path}/make-ups")
def get_make_ups_of_joint(connection: SiteConnection, tag: str) -> Response:
    """Every make-up of a joint in the order in which they were recorded, corrected ones among them."""
    return _json({"make_ups": make_ups_of_joint(connection, tag)})


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
