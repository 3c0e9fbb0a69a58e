"""Make-up at a glance; what a recall would call in; raising one; its progress."""

from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.figures.recall import recall_figure
from dashboards.make_up_contexts import (
    MakeUpPage,
    PackRow,
    RecalledRow,
    RecallPage,
    RecallRow,
    SuspectRow,
    SuspectsPage,
)
from dashboards.pages.frame import InPage, place_words
from dashboards.pages.plan import plan_grid
from dashboards.rendering import render, tag_path
from registry.completion.store import list_packs
from registry.overview import store as overview
from registry.papers.service import expiring
from registry.recalls import store
from registry.recalls.model import DAYS_BY_CLASS, RecallKind, RecallRequest
from registry.recalls.service import raise_recall, read_recall, suspects
from registry.routes.model import CAUTIONS

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 200
DRAWN = 2000
KIND_CHOICES = (
    ("tool", "tool, by serial"),
    ("person", "fitter, by name"),
    ("lot", "lot"),
    ("procedure", "procedure, as code or code/version"),
)

Subject = Annotated[str, Query(max_length=200)]
Day = Annotated[str, Query(max_length=10)]


@ROUTER.get("/make-up")
def get_make_up(page: InPage) -> Response:
    """Recalls, work packs, and the papers of people and tools that run out."""
    return render(
        MakeUpPage(
            frame=page.frame("Make-up", "make-up"),
            recalls=[
                RecallRow(recall, f"{page.root}/recalls/{recall.recall_id}")
                for recall in store.list_recalls(page.connection, page.today)
            ],
            packs=[
                PackRow(pack, f"{page.root}/work-packs/{tag_path(pack.code)}") for pack in list_packs(page.connection)
            ],
            expiring=expiring(page.connection, page.today)[:LISTED],
            today=page.today,
            kinds=KIND_CHOICES,
        )
    )


@ROUTER.get("/recalls/new")
def get_suspects(page: InPage, kind: RecallKind, subject: Subject, from_on: Day = "", until_on: Day = "") -> Response:
    """What a recall would call in; nothing is raised."""
    request = RecallRequest(kind=kind, subject=subject, from_on=_day(from_on), until_on=_day(until_on))
    found = suspects(page.connection, request, page.today)
    return render(
        SuspectsPage(
            frame=page.frame("Recall", "make-up"),
            found=found,
            rows=[
                SuspectRow(joint, page.joint_href(joint.tag))
                for joint in store.list_suspects(page.connection, found.joint_ids, LISTED)
            ],
            days_by_class=DAYS_BY_CLASS,
            chosen_from=request.from_on,
            chosen_until=request.until_on,
            cautions=CAUTIONS,
        )
    )


@ROUTER.post("/recalls")
def post_recall(
    page: InPage,
    kind: Annotated[RecallKind, Form()],
    subject: Annotated[str, Form(max_length=200)],
    reason: Annotated[str, Form(max_length=2000)] = "",
    raised_by: Annotated[str, Form(max_length=200)] = "",
    from_on: Annotated[str, Form(max_length=10)] = "",
    until_on: Annotated[str, Form(max_length=10)] = "",
    days: Annotated[list[int] | None, Form()] = None,
) -> Response:
    """Call in every joint, and show how far it has come."""
    request = RecallRequest(
        kind=kind,
        subject=subject,
        from_on=_day(from_on),
        until_on=_day(until_on),
        days_by_class=days or DAYS_BY_CLASS,
    )
    raised = raise_recall(page.connection, request, reason=reason, raised_by=raised_by, today=page.today)
    return RedirectResponse(f"{page.root}/recalls/{raised.recall_id}", status_code=303)


@ROUTER.get("/recalls/{recall_id}")
def get_recall(page: InPage, recall_id: int, after: Day = "", joint: int = 0) -> Response:
    """A recall's progress: on the plan, by area, joint by joint."""
    recall = read_recall(page.connection, recall_id, page.today)
    after_on = _day(after)
    joints = store.list_recalled_joints(
        page.connection, recall_id, after=(after_on, joint) if after_on else None, limit=LISTED + 1
    )
    more, joints = len(joints) > LISTED, joints[:LISTED]
    drawn = store.list_recalled_joints(page.connection, recall_id, limit=DRAWN)
    shapes = overview.list_plan_shapes(page.connection) if page.sheet.plot_plan_intake_id else []
    grid = plan_grid(page, shapes)
    following = urlencode({"after": joints[-1].raised_due_on, "joint": joints[-1].joint_id}) if more else ""
    return render(
        RecallPage(
            frame=page.frame(f"Recall {recall_id}", "make-up"),
            recall=recall,
            areas=store.list_recall_areas(page.connection, recall_id, page.today),
            rows=[
                RecalledRow(
                    joint=each,
                    href=page.joint_href(each.tag),
                    place=place_words(grid, each.east_m, each.north_m, each.elevation_m),
                    state=each.state(page.today),
                )
                for each in joints
            ],
            drawn=recall_figure(shapes, drawn, page.today),
            next_href=f"{page.root}/recalls/{recall_id}?{following}" if more else None,
            cautions=CAUTIONS,
        )
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
