"""Recalls over HTTP: what one would call in, raising it, its progress."""

from datetime import UTC, date, datetime
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.recalls import service, store
from registry.recalls.model import DAYS_BY_CLASS, RecallKind, RecallRequest
from registry.web.dependencies import SiteConnection
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["recalls"])

Subject = Annotated[str, Query(min_length=1, max_length=200, description="serial, name, lot, or code/version")]


class RecallBody(BaseModel):
    """What turned out bad, why, and who says so. Days left out are found from the calibrations or the ledger."""

    model_config = ConfigDict(extra="forbid")

    kind: RecallKind
    subject: str = Field(min_length=1, max_length=200)
    reason: str = Field(min_length=1, max_length=2000)
    raised_by: str = Field(min_length=1, max_length=200)
    from_on: date | None = None
    until_on: date | None = None
    days_by_class: list[int] = Field(default=list(DAYS_BY_CLASS), description="days to the check, class 1 to 5")


@router.get("/recalls/suspects")
def list_suspects(
    connection: SiteConnection,
    kind: RecallKind,
    subject: Subject,
    from_on: date | None = None,
    until_on: date | None = None,
    limit: Limit = 200,
) -> Response:
    """The joints that a recall would call in, the worst class first; nothing is raised."""
    request = RecallRequest(kind=kind, subject=subject, from_on=from_on, until_on=until_on)
    found = service.suspects(connection, request, _today())
    listed = store.list_suspects(connection, found.joint_ids, limit)
    return _json(
        {
            "kind": found.kind,
            "subject": found.subject,
            "from_on": found.from_on,
            "until_on": found.until_on,
            "why": found.why,
            "joints": len(found.joint_ids),
            "made_again": found.made_again,
            "listed": listed,
        }
    )


@router.get("/recalls")
def list_recalls(connection: SiteConnection, limit: Limit = 200) -> Response:
    """Recalls with their progress, newest first."""
    return _json({"recalls": [row.as_row() for row in store.list_recalls(connection, _today(), limit=limit)]})


@router.post("/recalls", status_code=201)
def post_recall(connection: SiteConnection, body: RecallBody) -> Response:
    """Call in every joint that was made up so."""
    request = RecallRequest(
        kind=body.kind,
        subject=body.subject,
        from_on=body.from_on,
        until_on=body.until_on,
        days_by_class=body.days_by_class,
    )
    raised = service.raise_recall(connection, request, reason=body.reason, raised_by=body.raised_by, today=_today())
    return _json(raised, status=201)


@router.get("/recalls/{recall_id}")
def read_recall(connection: SiteConnection, recall_id: int) -> Response:
    """One recall with its progress by area."""
    today = _today()
    recall = service.read_recall(connection, recall_id, today)
    return _json({**recall.as_row(), "areas": store.list_recall_areas(connection, recall_id, today)})


@router.get("/recalls/{recall_id}/joints")
def list_recalled_joints(
    connection: SiteConnection,
    recall_id: int,
    area: Annotated[str | None, Query(description="name of an area")] = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """A recall's joints by the day their check was raised for; `next` is the cursor of the next page."""
    today = _today()
    service.read_recall(connection, recall_id, today)
    keys = cursor_keys(cursor, 2)
    try:
        after = None if keys is None else (date.fromisoformat(keys[0]), int(keys[1]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    joints = store.list_recalled_joints(connection, recall_id, area=area, after=after, limit=limit + 1)
    more, joints = len(joints) > limit, joints[:limit]
    following = cursor_text([joints[-1].raised_due_on.isoformat(), joints[-1].joint_id]) if more else None
    rows = [{"state": joint.state(today), "joint": joint} for joint in joints]
    return _json({"joints": rows, "next": following})


def _today() -> date:
    return datetime.now(UTC).date()


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
