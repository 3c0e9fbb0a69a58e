"""The plan over HTTP: made at once or in the background, read, changed by hand; deferrals."""

from datetime import date, timedelta
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Depends, Path, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.db import Connection, Database
from registry.planning import answers, deferral_service, job_service, moving_service, service
from registry.planning.changes import BundleKey, DeferralRequest
from registry.planning.model import Plan, PlannedCheck, PlanRequest, UnplacedCheck
from registry.planning.reasons import moved_named, unplaced_named
from registry.sites.service import find_site
from registry.web.clock import Today
from registry.web.csv_text import csv_response
from registry.web.dependencies import SiteConnection, database_of
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text
from registry.web.workbook import Sheet, workbook_response

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["planning"])

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
CrewNumber = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
_MOST_JOINTS = 5000


class PlanBody(BaseModel):
    """The weeks that a plan is to cover."""

    model_config = ConfigDict(extra="forbid")

    starts_on: date | None = Field(default=None, description="a Monday, not before this week's; default: this week's")
    weeks: int = 52
    frozen_weeks: int | None = Field(default=None, description="these keep what they hold; default: the policy's")
    planned_weeks: int | None = Field(default=None, description="moving costs up to here; default: the policy's")
    made_by: str = "over the API"

    def as_request(self, today: date) -> PlanRequest:
        """What the service takes."""
        starts_on = self.starts_on or today - timedelta(days=today.weekday())
        return PlanRequest(starts_on, self.weeks, self.frozen_weeks, self.planned_weeks)


class MoveBody(BaseModel):
    """Checks of a plan, and where they are to go. A week of null: checks that stand in no week, by `joint_ids`."""

    model_config = ConfigDict(extra="forbid")

    plan_run_id: int = Field(ge=1, le=2**31 - 1, description="the plan that was looked at: an older one is refused")
    week_starting_on: date | None
    crew_id: int | None = Field(ge=1, le=2**31 - 1)
    area_id: int | None = Field(default=None, ge=0, le=2**31 - 1)
    scaffold: int | None = Field(default=None, ge=0, le=2**31 - 1)
    joint_ids: list[Annotated[int, Field(ge=1, le=2**31 - 1)]] | None = Field(default=None, max_length=_MOST_JOINTS)
    to_week: date
    to_crew_id: int = Field(ge=1, le=2**31 - 1)

    def key(self) -> BundleKey:
        """Which checks are meant."""
        joints = None if self.joint_ids is None else tuple(self.joint_ids)
        return BundleKey(self.plan_run_id, self.week_starting_on, self.crew_id, self.area_id, self.scaffold, joints)


class MadeMoveBody(MoveBody):
    """A move with who makes it and why."""

    reason: str = ""
    moved_by: str = ""
    over_time: bool = Field(default=False, description="allow what puts the crew's week over its time")


class LetGoBody(BaseModel):
    """Joints whose next check is left to the next plan again."""

    model_config = ConfigDict(extra="forbid")

    joint_ids: list[Annotated[int, Field(ge=1, le=2**31 - 1)]] = Field(max_length=_MOST_JOINTS)


class DeferralPreviewBody(BaseModel):
    """A joint whose next check may be as late as a day."""

    model_config = ConfigDict(extra="forbid")

    tag: str
    until_on: date


class DeferralBody(DeferralPreviewBody):
    """A deferral with who decided it and why."""

    reason: str = ""
    decided_by: str = ""


@router.post("/plan", status_code=201)
def post_plan(connection: SiteConnection, today: Today, wanted: PlanBody) -> Response:
    """Make a plan and wait for it: for a large plant, `POST /plan/jobs` makes it in the background."""
    made = service.make_plan(connection, wanted.as_request(today), today, wanted.made_by)
    return _json(answers.summary_document(made), status=201)


@router.post("/plan/jobs", status_code=202)
def post_job(
    site: str, database: Annotated[Database, Depends(database_of)], today: Today, wanted: PlanBody
) -> Response:
    """Begin to make a plan in the background; the plan before stands until it is done. One at a time."""
    found = find_site(database, site)
    job = job_service.start_job(database, found.site_id, wanted.as_request(today), today, wanted.made_by)
    place = f"/api/v1/sites/{found.code}/plan/jobs/{job.plan_job_id}"
    return _json(answers.job_document(job), status=202, headers={"Location": place})


@router.get("/plan/jobs/{plan_job_id}")
def read_job(connection: SiteConnection, plan_job_id: Number) -> Response:
    """How far a job is: running, done, failed, stopped, or cut off where nobody works on it any more."""
    return _json(answers.job_document(job_service.read_job(connection, plan_job_id)))


@router.post("/plan/jobs/{plan_job_id}/stop", status_code=202)
def post_stop(connection: SiteConnection, plan_job_id: Number) -> Response:
    """Ask a job to stop, which it does at its next step; the plan before stands."""
    return _json(answers.job_document(job_service.stop_job(connection, plan_job_id)), status=202)


@router.get("/plan")
def read_plan(connection: SiteConnection) -> Response:
    """The newest plan in numbers, and what limits it in words."""
    return _json(answers.summary_document(service.summary(connection, service.current_plan(connection))))


@router.get("/plan.csv")
def read_plan_csv(connection: SiteConnection) -> Response:
    """Every check of the newest plan that has a week, as CSV."""
    plan = service.current_plan(connection)
    return csv_response(
        answers.check_rows(service.whole_plan(connection, plan)),
        "plan.csv",
        answers.CHECK_COLUMNS,
    )


@router.get("/plan.xlsx")
def read_plan_xlsx(connection: SiteConnection) -> Response:
    """The newest plan as a workbook: checks, crews by week, checks without a week, moves."""
    return workbook_response(_sheets(connection, service.current_plan(connection)), "plan.xlsx")


@router.get("/plan/weeks/{week_starting_on}")
def list_week(
    connection: SiteConnection,
    week_starting_on: date,
    crew_id: CrewNumber = None,
    area_id: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    scaffold: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """The checks of one week of the newest plan, earliest due first; `next` is the cursor of the next page."""
    checks = service.checks_of_week(
        connection,
        week_starting_on,
        crew_id,
        area_id=area_id,
        scaffold=scaffold,
        after=_check_key(cursor),
        limit=limit + 1,
    )
    following = _cursor(checks[limit - 1]) if len(checks) > limit else None
    return _json({"checks": list(answers.check_rows(checks[:limit])), "next": following})


@router.get("/plan/bundles")
def list_bundles(
    connection: SiteConnection, week: Annotated[date | None, Query(description="default: all of them")] = None
) -> Response:
    """What can be moved as one piece: the checks of one area and scaffold that a crew has in a week."""
    plan = service.current_plan(connection)
    return _json({"plan_run_id": plan.plan_run_id, "bundles": service.list_bundles(connection, plan, week)})


@router.get("/plan/moves")
def list_moves(
    connection: SiteConnection,
    reason: Annotated[str | None, Query(description="as `reason_code` names it")] = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """What stands elsewhere than in the plan before, and what people moved since, each with its reason."""
    keys = cursor_keys(cursor, 1)
    if keys is not None and not isinstance(keys[0], int):
        raise CursorUnknown("take `next` from the page before, as it is")
    plan = service.current_plan(connection)
    wanted = None if reason is None else moved_named(reason)
    after = None if keys is None else int(keys[0])
    moves = service.list_moves(connection, plan, reason=wanted, after=after, limit=limit + 1)
    following = cursor_text([moves[limit - 1].plan_move_id]) if len(moves) > limit else None
    return _json({"moves": list(answers.move_rows(moves[:limit])), "next": following})


@router.get("/plan/unplaced")
def list_unplaced(
    connection: SiteConnection,
    reason: Annotated[str | None, Query(description="as `reason_code` names it")] = None,
    limit: Limit = 200,
    cursor: CursorText = None,
) -> Response:
    """The checks that stand in no week, each with its reason."""
    plan = service.current_plan(connection)
    wanted = None if reason is None else unplaced_named(reason)
    checks = service.list_unplaced(connection, plan, reason=wanted, after=_check_key(cursor), limit=limit + 1)
    following = _cursor(checks[limit - 1]) if len(checks) > limit else None
    return _json({"checks": list(answers.unplaced_rows(checks[:limit])), "next": following})


@router.post("/plan/move/preview")
def post_move_preview(connection: SiteConnection, today: Today, wanted: MoveBody) -> Response:
    """What moving checks would cost, the risk that it would add, and why it cannot be (`refused`); changes nothing."""
    effect = moving_service.preview_move(connection, wanted.key(), wanted.to_week, wanted.to_crew_id, today)
    return _json(answers.move_document(effect))


@router.post("/plan/move")
def post_move(connection: SiteConnection, today: Today, wanted: MadeMoveBody) -> Response:
    """Move checks of the newest plan, and keep them there in later ones: all of them or none."""
    effect = moving_service.move_bundle(
        connection,
        wanted.key(),
        wanted.to_week,
        wanted.to_crew_id,
        wanted.reason,
        wanted.moved_by,
        today,
        over_time=wanted.over_time,
    )
    return _json(answers.move_document(effect))


@router.post("/plan/let-go")
def post_let_go(connection: SiteConnection, wanted: LetGoBody) -> Response:
    """Leave checks that a person put somewhere to the next plan again."""
    return _json({"let_go": moving_service.let_go(connection, wanted.joint_ids)})


@router.get("/deferrals")
def list_deferrals(
    connection: SiteConnection,
    today: Today,
    tag: Annotated[str | None, Query(description="of one joint")] = None,
    past_too: Annotated[bool, Query(description="those that no longer count, too")] = False,
) -> Response:
    """Checks that somebody allowed to be later than the policy does, newest first."""
    found = deferral_service.list_deferrals(connection, today, tag=tag, past_too=past_too)
    return _json({"deferrals": found})


@router.post("/deferrals/preview")
def post_deferral_preview(connection: SiteConnection, today: Today, wanted: DeferralPreviewBody) -> Response:
    """The risk that a deferral would add; changes nothing."""
    return _json(deferral_service.preview_deferral(connection, wanted.tag, wanted.until_on, today))


@router.post("/deferrals", status_code=201)
def post_deferral(connection: SiteConnection, today: Today, wanted: DeferralBody) -> Response:
    """Allow the next check of a joint to be as late as a day; the due date stays, and the next plan goes by it."""
    request = DeferralRequest(wanted.tag, wanted.until_on, wanted.reason, wanted.decided_by)
    return _json(deferral_service.defer(connection, request, today), status=201)


def _sheets(connection: Connection, plan: Plan) -> list[Sheet]:
    told = service.summary(connection, plan)
    return [
        Sheet(*parts)
        for parts in answers.sheets(
            told,
            service.whole_plan(connection, plan),
            service.list_unplaced(connection, plan, limit=None),
            service.list_moves(connection, plan, limit=None),
        )
    ]


def _check_key(cursor: str | None) -> tuple[date, int, int] | None:
    keys = cursor_keys(cursor, 3)
    try:
        return None if keys is None else (date.fromisoformat(keys[0]), int(keys[1]), int(keys[2]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc


def _cursor(check: PlannedCheck | UnplacedCheck) -> str:
    return cursor_text([check.due_on.isoformat(), check.joint_id, check.occurrence])


def _json(content: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json", headers=headers)
