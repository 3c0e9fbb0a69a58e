"""The plan over HTTP: made, read week by week."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import orjson
from fastapi import APIRouter, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.planning import service
from registry.planning.model import PlanSummary
from registry.web.csv_text import csv_response
from registry.web.dependencies import SiteConnection
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["planning"])


class PlanRequest(BaseModel):
    """Weeks to plan, and the crew's hours in each."""

    model_config = ConfigDict(extra="forbid")

    crew_hours_per_week: float = Field(allow_inf_nan=False)
    weeks: int = 26
    starts_on: date | None = Field(default=None, description="a Monday; default: this week's")


@router.post("/plan", status_code=201)
def post_plan(connection: SiteConnection, wanted: PlanRequest) -> Response:
    """Lay the next check of each joint that falls due in the horizon into a week, and keep that as the plan."""
    starts_on = wanted.starts_on or _monday()
    return _json(_told(service.make_plan(connection, starts_on, wanted.weeks, wanted.crew_hours_per_week)), status=201)


@router.get("/plan")
def read_plan(connection: SiteConnection) -> Response:
    """The newest plan, week by week."""
    return _json(_told(service.summary(connection, service.current_plan(connection))))


@router.get("/plan.csv")
def read_plan_csv(connection: SiteConnection) -> Response:
    """Every check of the newest plan as CSV."""
    plan = service.current_plan(connection)
    mondays = (plan.starts_on + timedelta(weeks=week) for week in range(plan.weeks))
    columns = ("week_starting_on", "tag", "area", "due_on", "minutes", "done")
    return csv_response(
        (
            {
                "week_starting_on": monday,
                "tag": check.tag,
                "area": check.area,
                "due_on": check.due_on,
                "minutes": check.minutes,
                "done": check.done,
            }
            for monday in mondays
            for check in service.checks_of_week(connection, monday, limit=None)
        ),
        "plan.csv",
        columns,
    )


@router.get("/plan/weeks/{week_starting_on}")
def list_week(
    connection: SiteConnection, week_starting_on: date, limit: Limit = 200, cursor: CursorText = None
) -> Response:
    """The checks of one week of the newest plan; `next` is the cursor of the next page, null on the last."""
    keys = cursor_keys(cursor, 2)
    try:
        after = None if keys is None else (date.fromisoformat(keys[0]), int(keys[1]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    checks = service.checks_of_week(connection, week_starting_on, after=after, limit=limit + 1)
    more, checks = len(checks) > limit, checks[:limit]
    following = cursor_text([checks[-1].due_on.isoformat(), checks[-1].joint_id]) if more else None
    return _json({"checks": checks, "next": following})


def _told(summary: PlanSummary) -> dict[str, Any]:
    return {
        "plan": summary.plan,
        "weeks": summary.weeks,
        "checks": summary.checks,
        "late": summary.late,
        "unplaced": summary.unplaced,
    }


def _monday() -> date:
    today = datetime.now(UTC).date()
    return today - timedelta(days=today.weekday())


def _json(content: Any, *, status: int = 200) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json")
