"""The plan: crews by weeks, what limits it, what moved, and the form that makes another."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Response

from dashboards.contexts import NextStep
from dashboards.figures.board import WEEKS_SHOWN, Board, BoardRequest, board, first_cell, page_of
from dashboards.figures.weeks import weeks_figure
from dashboards.pages.frame import InPage, PageRequest, steps_to_scores
from dashboards.pages.plan_account import account_of
from dashboards.pages.plan_parts import bundle_row, move_targets
from dashboards.plan_contexts import BundleRow, PlanForm, WeekRow, WeeksPage
from dashboards.plan_words import checks_words
from dashboards.rendering import render
from registry.crews.calendar import capacity_minutes
from registry.crews.model import Crew, CrewAbsence
from registry.crews.service import list_absences, list_crews, list_outages
from registry.overview.store import list_late_minutes
from registry.planning.changes import PlanJob
from registry.planning.job_service import newest_job
from registry.planning.model import Plan, PlanSummary
from registry.planning.service import list_bundles, summary
from registry.planning.store import read_current_plan
from registry.policy.service import current_policy

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

HORIZON_WEEKS = 52
_LEAST_MINUTES = 0.5
_FIRST_PLAN = "Make the first plan with the form in the strip: every check that falls due gets a week and a crew."
_FIRST_CREW = "Add a crew first, on the sheet 'Crews and outages': a plan needs to know who has which hours."

Day = Annotated[date | None, Query()]
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Count = Annotated[int | None, Query(ge=0, le=10**9)]


@dataclass(frozen=True, slots=True)
class _Drawn:
    board: Board
    told: PlanSummary
    late_hours: dict[tuple[date, int], float]
    bundles: list[BundleRow]
    absences: list[CrewAbsence]


@ROUTER.get("/weeks")
def get_weeks(
    page: InPage,
    from_week: Annotated[date | None, Query(alias="from")] = None,
    week: Day = None,
    crew: Number = None,
    moved: Count = None,
    let_go: Count = None,
) -> Response:
    """The newest plan: a page of its weeks, the one of `from` or `week`, and the bundles of one crew's week."""
    plan = read_current_plan(page.connection)
    crews = list_crews(page.connection)
    drawn = None if plan is None else _drawn(page, plan, crews, from_week, week, crew)
    return render(
        WeeksPage(
            frame=page.frame("Weeks", "weeks"),
            account=None if drawn is None else account_of(page, drawn.told),
            board=None if drawn is None else drawn.board,
            bundles=() if drawn is None else drawn.bundles,
            targets=None if plan is None else move_targets(plan, crews, page.today),
            receipt=_receipt(moved, let_go),
            earlier_href=None if drawn is None else _turned(page, drawn, -1),
            later_href=None if drawn is None else _turned(page, drawn, 1),
            chart=None if drawn is None else _chart(drawn),
            weeks=() if drawn is None else _week_rows(page, drawn),
            form=_form(page, plan) if page.sheet.score_run_id else None,
            job=_unfinished(newest_job(page.connection)),
            outdated=plan is not None and plan.score_run_id != page.sheet.score_run_id,
            hours_changed=0 if drawn is None else _hours_changed(drawn, crews),
            next_steps=_next_steps(page, plan, crews),
        )
    )


def _drawn(
    page: PageRequest, plan: Plan, crews: list[Crew], from_week: date | None, week: date | None, crew: int | None
) -> _Drawn:
    told = summary(page.connection, plan)
    late = list_late_minutes(page.connection, plan.plan_run_id)
    late_hours = {where: minutes / 60.0 for where, minutes in late.items()}
    absences = list_absences(page.connection)
    first_week = page_of(plan, from_week or week, page.today)
    opened = first_cell(told.crew_weeks, plan, first_week) if week is None or crew is None else (week, crew)
    wanted = BoardRequest(first_week, opened, page.root, page.today)
    drawn = board(told, late_hours, crews, absences, list_outages(page.connection), wanted)
    bundles = list_bundles(page.connection, plan, opened[0]) if opened and plan.has_week(opened[0]) else []
    return _Drawn(
        drawn,
        told,
        late_hours,
        [
            bundle_row(page, bundle)
            for bundle in sorted(bundles, key=lambda each: (each.late == 0, each.earliest_due_on, each.area or ""))
            if opened and bundle.crew_id == opened[1]
        ],
        absences,
    )


def _turned(page: PageRequest, drawn: _Drawn, pages: int) -> str | None:
    monday = drawn.board.starts_on + timedelta(weeks=pages * WEEKS_SHOWN)
    return f"{page.root}/weeks?from={monday}#board" if drawn.told.plan.has_week(monday) else None


def _late_by_week(drawn: _Drawn) -> dict[date, float]:
    by_week: dict[date, float] = defaultdict(float)
    for (week, _), hours in drawn.late_hours.items():
        by_week[week] += hours
    return by_week


def _chart(drawn: _Drawn) -> dict[str, object]:
    return weeks_figure(drawn.told.plan, drawn.told.weeks, _late_by_week(drawn))


def _week_rows(page: PageRequest, drawn: _Drawn) -> list[WeekRow]:
    late = _late_by_week(drawn)
    return [
        WeekRow(
            week=week,
            href=f"{page.root}/weeks?from={week.week_starting_on}#board",
            late_hours=late.get(week.week_starting_on, 0.0),
        )
        for week in drawn.told.weeks
    ]


def _hours_changed(drawn: _Drawn, crews: Sequence[Crew]) -> int:
    """In how many crew-weeks the hours differ from those that the plan counted on; its first week may have been cut."""
    plan = drawn.told.plan
    counted_on = {(row.week_starting_on, row.crew_id): row.capacity_minutes for row in drawn.told.crew_weeks}
    now = capacity_minutes(crews, drawn.absences, plan.starts_on, plan.weeks)
    return sum(
        abs(float(now[row, week]) - counted_on.get((plan.starts_on + timedelta(weeks=week), crew.crew_id), 0.0))
        > _LEAST_MINUTES
        for row, crew in enumerate(crews)
        for week in range(1, plan.weeks)
    )


def _form(page: PageRequest, plan: Plan | None) -> PlanForm:
    weighing = current_policy(page.connection).planning
    return PlanForm(
        action=f"{page.root}/weeks/jobs",
        starts_on=page.today - timedelta(days=page.today.weekday()),
        weeks=plan.weeks if plan else HORIZON_WEEKS,
        frozen_weeks=plan.frozen_weeks if plan else weighing.frozen_weeks,
        planned_weeks=plan.planned_weeks if plan else weighing.planned_weeks,
    )


def _unfinished(job: PlanJob | None) -> PlanJob | None:
    return None if job is None or job.state == "done" else job


def _receipt(moved: int | None, let_go: int | None) -> str | None:
    if moved is not None:
        return f"{checks_words(moved)} put here. Later plans keep them here until they are done or let go."
    if let_go is not None:
        return f"{checks_words(let_go)} let go: they stand where they are, and the next plan may move them."
    return None


def _next_steps(page: PageRequest, plan: Plan | None, crews: Sequence[Crew]) -> tuple[NextStep, ...]:
    steps = steps_to_scores(page.sheet, page.root)
    if steps or plan is not None:
        return steps
    return (NextStep(_FIRST_PLAN),) if crews else (NextStep(_FIRST_CREW),)
