"""Scores over HTTP: score the plant, why of one joint, the due list, overrides, preview and publication of a policy."""

from datetime import UTC, date, datetime
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Header, HTTPException, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.intervals import service
from registry.intervals.decisions import DueFilter, DueJoint, OverrideRequest
from registry.policy.versions import DraftSavedSince
from registry.web.csv_text import csv_response
from registry.web.dependencies import SiteConnection
from registry.web.etags import revision_in
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["intervals"])

Area = Annotated[str | None, Query(description="name of an area")]
Family = Annotated[str | None, Query(description="code of a joint family")]
ServiceName = Annotated[str | None, Query(alias="service", description="name of a service")]
Overdue = Annotated[bool, Query(description="only what fell due before today")]
Until = Annotated[date | None, Query(description="only what falls due on this day or before")]


class ScoreRequest(BaseModel):
    """A day to score the plant as of."""

    model_config = ConfigDict(extra="forbid")

    as_of: date | None = Field(default=None, description="default: today")


class OverrideBody(BaseModel):
    """An engineer's decision on one joint's interval."""

    model_config = ConfigDict(extra="forbid")

    tag: str
    interval_days: float = Field(allow_inf_nan=False)
    until_on: date = Field(description="the last day on which it is in force; a day gone by ends the one before")
    decided_by: str = Field(max_length=200)
    reason: str = Field(max_length=2000)


class PublishBody(BaseModel):
    """Who publishes the policy draft, and why."""

    model_config = ConfigDict(extra="forbid")

    published_by: str = Field(max_length=200)
    note: str = Field(max_length=2000)
    as_of: date | None = Field(default=None, description="the day to score the plant as of; default: today")


@router.post("/score", status_code=201)
def post_score(connection: SiteConnection, wanted: ScoreRequest | None = None) -> Response:
    """Score every joint by the current policy, and put that in the place of the scores before."""
    return _json(service.score_plant(connection, (wanted and wanted.as_of) or _today()), status=201)


@router.get("/score")
def read_score(connection: SiteConnection) -> Response:
    """The current run of scores in numbers."""
    return _json(service.summary(connection, service.current_run(connection)))


@router.get("/due")
def list_due(
    connection: SiteConnection,
    area: Area = None,
    family: Family = None,
    service_name: ServiceName = None,
    overdue: Overdue = False,
    until: Until = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """Joints by due date, riskiest first among equals; `next` is the cursor of the next page, null on the last."""
    keys = cursor_keys(cursor, 3)
    try:
        after = None if keys is None else (date.fromisoformat(keys[0]), float(keys[1]), int(keys[2]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    chosen = _chosen(area, family, service_name, overdue, until)
    page = service.due_page(connection, chosen, after=after, limit=limit + 1)
    more, page = len(page) > limit, page[:limit]
    return _json({"joints": [joint.as_row() for joint in page], "next": _cursor(page) if more else None})


@router.get("/due.csv")
def list_due_csv(
    connection: SiteConnection,
    area: Area = None,
    family: Family = None,
    service_name: ServiceName = None,
    overdue: Overdue = False,
    until: Until = None,
) -> Response:
    """The whole due list as CSV."""
    pages = service.due_pages(connection, _chosen(area, family, service_name, overdue, until))
    return csv_response((joint.as_row() for page in pages for joint in page), "due.csv")


@router.get("/overrides")
def list_overrides(connection: SiteConnection, on: date | None = None) -> Response:
    """The decisions on intervals that are in force on a day, today if none is given."""
    return _json({"overrides": service.overrides_in_force(connection, on or _today())})


@router.post("/overrides", status_code=201)
def post_override(connection: SiteConnection, body: OverrideBody) -> Response:
    """Set one joint's interval until a day, with a name and a reason; its due date follows at once."""
    number = service.override_interval(connection, OverrideRequest(**body.model_dump()))
    return _json({"interval_override_id": number}, status=201)


@router.get("/policy/draft/preview")
def preview_draft(connection: SiteConnection, as_of: date | None = None) -> Response:
    """What the policy draft would change: intervals, workload by month, joints beyond checking. Nothing is written."""
    return _json(service.preview_draft(connection, as_of or _today()))


@router.post("/policy/draft/publish", status_code=201)
def publish_draft(
    connection: SiteConnection, body: PublishBody, if_match: Annotated[str | None, Header()] = None
) -> Response:
    """Make the draft (of the revision in If-Match) the next version, and score the plant by it."""
    try:
        published, scored = service.publish_policy(
            connection, body.published_by, body.note, body.as_of or _today(), revision=revision_in(if_match)
        )
    except DraftSavedSince as exc:
        raise HTTPException(412, str(exc)) from exc
    return _json({"policy_version": published.policy_version, "score": scored}, status=201)


@router.get("/joints/{tag:path}/why")
def read_why(connection: SiteConnection, tag: str) -> Response:
    """The account of one joint's interval, due date and risk, as of the current run."""
    return _json(service.why(connection, tag).as_json())


def _chosen(
    area: str | None, family: str | None, service_name: str | None, overdue: bool, until: date | None
) -> DueFilter:
    return DueFilter(area, family, service_name, _today() if overdue else None, until)


def _cursor(page: list[DueJoint]) -> str:
    due_on, risk, joint_id = service.after_last(page)
    return cursor_text([due_on.isoformat(), risk, joint_id])


def _today() -> date:
    return datetime.now(UTC).date()


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
