"""One joint, and the search that leads to it. Tags may hold a slash, so its routes come last of the site's."""

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import CheckForm, JointPage, TagsPage
from dashboards.figures.timeline import timeline_figure
from dashboards.pages.frame import InPage, PageRequest, place_words, steps_to_scores
from dashboards.pages.plan import plan_grid
from dashboards.pages.reports import SentCheck, fresh_uuid, moment_text, receipt_of
from dashboards.rendering import render
from dashboards.words import DUE_REASON_WORDS, LIMIT_WORDS, RESULT_WORDS
from registry.checks.service import record_result
from registry.intervals.model import DUE_REASONS, LIMITS
from registry.intervals.service import agrees, why
from registry.makeup.store import list_make_ups
from registry.overview import store
from registry.overview.model import JointRecord, TagUnknown, due_state
from registry.policy.service import current_policy
from registry.routes.model import CAUTIONS
from registry.web.clock import Now

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

MOST_FOUND = 50
MOST_HISTORY = 300
_ROUND_M = 25.0

Text = Annotated[str, Query(max_length=200)]


@ROUTER.get("/joints")
def get_tags(page: InPage, tag: Text = "") -> Response:
    """Find joints by a part of their tag; a whole tag leads to its joint at once."""
    text = tag.strip()
    found = store.find_tags(page.connection, text, MOST_FOUND + 1) if text else []
    exact = [row for row in found if row.tag.casefold() == text.casefold()]
    if len(exact) == 1 or len(found) == 1:
        return RedirectResponse(page.joint_href((exact or found)[0].tag), status_code=303)
    return render(TagsPage(page.frame("Find a joint", ""), text, found[:MOST_FOUND], len(found) > MOST_FOUND))


@ROUTER.post("/joints/{tag:path}/checks")
def post_check(page: InPage, tag: str, sent: SentCheck) -> Response:
    """Record what was found, and show the joint again with what that changed."""
    answer = record_result(page.connection, sent.report(tag=tag), page.today)
    said = {
        "recorded": answer.result,
        "was": str(answer.old_due_on or ""),
        "now": str(answer.new_due_on or ""),
        "again": "yes" if answer.repeated else "",
    }
    query = urlencode({name: value for name, value in said.items() if value})
    return RedirectResponse(f"{page.joint_href(tag)}?{query}", status_code=303)


@ROUTER.get("/joints/{tag:path}")
def get_joint(
    page: InPage, tag: str, clock: Now, recorded: Text = "", was: Text = "", now: Text = "", again: Text = ""
) -> Response:
    """Identity, why, next due, history, and the form that records a check."""
    joint = store.read_joint_record(page.connection, tag)
    if joint is None:
        raise TagUnknown(f"no joint '{tag}' in this site; the search in the head finds a part of a tag")
    account = why(page.connection, joint.tag) if joint.due_on else None
    grid = plan_grid(page)
    policy = current_policy(page.connection)
    family = policy.family(joint.family)
    history = store.list_history(page.connection, joint.joint_id, MOST_HISTORY)
    return render(
        JointPage(
            frame=page.frame(f"Joint {joint.tag}", "plan"),
            joint=joint,
            href=page.joint_href(joint.tag),
            place=place_words(grid, joint.east_m, joint.north_m, joint.elevation_m),
            state=due_state(joint.due_on, page.today) if joint.due_on else None,
            reason=DUE_REASON_WORDS[DUE_REASONS[joint.due_reason]] if joint.due_reason is not None else None,
            days=(joint.due_on - page.today).days if joint.due_on else None,
            plan_href=_plan_href(page, joint),
            why=account,
            stale=account is not None and not agrees(page.connection, account),
            limit_words=LIMIT_WORDS[LIMITS[joint.interval_limit]] if joint.interval_limit is not None else None,
            make_ups=list_make_ups(page.connection, joint_id=joint.joint_id)[::-1],
            make_ups_root=f"{page.root}/make-ups",
            history=history,
            timeline=timeline_figure(history, page.today, joint.due_on),
            check_form=CheckForm(
                action=f"{page.joint_href(joint.tag)}/checks",
                client_uuid=fresh_uuid(),
                results=tuple(RESULT_WORDS.items()),
                today=page.today,
                opened_at=moment_text(clock),
            ),
            receipt=receipt_of(recorded, was, now, again),
            full_check=family.full_check if family else (),
            cautions=(*(family.cautions if family else ()), CAUTIONS[-1]) if family else CAUTIONS,
            next_steps=steps_to_scores(page.sheet, page.root),
        )
    )


def _plan_href(page: PageRequest, joint: JointRecord) -> str:
    edges = (joint.east_m - _ROUND_M, joint.north_m - _ROUND_M, joint.east_m + _ROUND_M, joint.north_m + _ROUND_M)
    return f"{page.root}/plan?view={','.join(f'{edge:.1f}' for edge in edges)}"
