"""Leaks over HTTP: the ledger, what was done about a leak, and rates by area. A leak is reported in
`registry/checks/api.py`."""

from datetime import UTC, date, datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from fastapi import APIRouter, Query, Response
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from registry.leaks import service, store
from registry.leaks.model import Step, StepReport
from registry.web.csv_text import csv_response
from registry.web.dependencies import SiteConnection
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["leaks"])

Since = Annotated[date | None, Query(description="first day; default: the ledger's first entry")]
UntilDay = Annotated[date | None, Query(description="last day; default: today")]


class StepBody(BaseModel):
    """What was done about a leak; `client_uuid` is made where it was done, so that sending it twice counts once."""

    model_config = ConfigDict(extra="forbid")

    step: Step
    observed_at: AwareDatetime
    client_uuid: UUID
    done_by: str | None = Field(default=None, max_length=200)
    notes: str | None = Field(default=None, max_length=2000)


@router.get("/leaks")
def list_leaks(
    connection: SiteConnection,
    area: Annotated[str | None, Query(description="name of an area")] = None,
    tag: Annotated[str | None, Query(description="tag of a joint")] = None,
    only_open: Annotated[bool, Query(alias="open", description="only those not repaired")] = False,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """Leaks, newest first; `next` is the cursor of the next page, null on the last."""
    keys = cursor_keys(cursor, 2)
    try:
        before = None if keys is None else (datetime.fromisoformat(keys[0]), int(keys[1]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    leaks = store.list_leaks(connection, area=area, tag=tag, only_open=only_open, before=before, limit=limit + 1)
    more, leaks = len(leaks) > limit, leaks[:limit]
    following = cursor_text([leaks[-1].observed_at.isoformat(), leaks[-1].leak_id]) if more else None
    return _json({"leaks": leaks, "next": following})


@router.get("/leaks/rates")
def read_rates(connection: SiteConnection, since: Since = None, until: UntilDay = None) -> Response:
    """Leaks of each area: counts, joint-years, rate per 1,000 joint-years with exact 95 % limits, open now, repairs."""
    rates = service.area_rates(connection, since, until or _today())
    return _json(
        {
            "since_on": rates.since_on,
            "until_on": rates.until_on,
            "areas": [rate.as_row() for rate in rates.areas],
            "whole_site": rates.whole_site.as_row(),
        }
    )


@router.get("/leaks/rates.csv")
def read_rates_csv(connection: SiteConnection, since: Since = None, until: UntilDay = None) -> Response:
    """The same by area as CSV."""
    rates = service.area_rates(connection, since, until or _today())
    return csv_response(
        (rate.as_row() for rate in rates.areas), "leak-rates.csv", columns=list(rates.whole_site.as_row())
    )


@router.get("/leaks/{leak_id}")
def read_leak(connection: SiteConnection, leak_id: int) -> Response:
    """One leak with the state of its repair."""
    return _json(service.read_leak(connection, leak_id))


@router.post("/leaks/{leak_id}/steps", status_code=201)
def post_step(connection: SiteConnection, leak_id: int, body: StepBody) -> Response:
    """Record a first attempt, or the repair that closes a leak."""
    number = service.record_step(connection, StepReport(leak_id=leak_id, **body.model_dump()), _today())
    return _json({"leak_step_id": number, "leak": service.read_leak(connection, leak_id)}, status=201)


def _today() -> date:
    return datetime.now(UTC).date()


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
