"""What stands in no week and why; checks that somebody allows to be later, and the risk that this adds."""

from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.pages.frame import InPage, PageRequest
from dashboards.pages.plan_account import unplaced_counts
from dashboards.plan_contexts import DeferralsPage, UnplacedPage, UnplacedRow
from dashboards.plan_words import deferral_words
from dashboards.rendering import render
from registry.errors import Issue
from registry.planning.changes import DeferralRequest, DeferralUnfit
from registry.planning.deferral_service import defer, list_deferrals, preview_deferral
from registry.planning.model import Plan, UnplacedCheck
from registry.planning.reasons import Unplaced
from registry.planning.service import current_plan, list_unplaced
from registry.planning.store import count_unplaced
from registry.web.paging import CursorText, CursorUnknown, cursor_keys, cursor_text

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 200

Text = Annotated[str, Query(max_length=200)]
Words = Annotated[str, Form(max_length=500)]


@ROUTER.get("/weeks/unplaced")
def get_unplaced(page: InPage, reason: Text = "", after: CursorText = None) -> Response:
    """The checks that stand in no week, earliest due first."""
    plan = current_plan(page.connection)
    wanted = _reason(reason)
    found = list_unplaced(page.connection, plan, reason=wanted, after=_after(after), limit=LISTED + 1)
    more, found = len(found) > LISTED, found[:LISTED]
    kept = {"reason": reason} if reason else {}
    here = f"{page.root}/weeks/unplaced"
    following = {**kept, "after": cursor_text(_keys(found[-1]))} if more else {}
    return render(
        UnplacedPage(
            frame=page.frame("In no week", "weeks"),
            plan=plan,
            counts=unplaced_counts(page, count_unplaced(page.connection, plan.plan_run_id)),
            reason=wanted,
            rows=[_unplaced_row(page, plan, check) for check in found],
            first_href=(f"{here}?{urlencode(kept)}" if kept else here) if after else None,
            next_href=f"{here}?{urlencode(following)}" if more else None,
            all_href=here,
        )
    )


@ROUTER.get("/weeks/deferrals")
def get_deferrals(page: InPage, tag: Text = "", until_on: Annotated[str, Query(max_length=10)] = "") -> Response:
    """The deferrals in force; with a tag and a day, what deferring that joint's next check would add to its risk."""
    effect = preview_deferral(page.connection, tag.strip(), _day(until_on), page.today) if tag and until_on else None
    return render(
        DeferralsPage(
            frame=page.frame("Deferrals", "weeks"),
            deferrals=[(each, page.joint_href(each.tag)) for each in list_deferrals(page.connection, page.today)],
            tag=effect.tag if effect else tag,
            until_on=until_on,
            effect=effect,
            effect_lines=deferral_words(effect) if effect else (),
            root=f"{page.root}/weeks/deferrals",
            joint_href=page.joint_href(effect.tag) if effect else None,
        )
    )


@ROUTER.post("/weeks/deferrals")
def post_deferral(
    page: InPage,
    tag: Words,
    until_on: Annotated[date, Form()],
    reason: Words = "",
    decided_by: Words = "",
) -> Response:
    """Record a deferral, and show those in force."""
    defer(page.connection, DeferralRequest(tag, until_on, reason, decided_by), page.today)
    return RedirectResponse(f"{page.root}/weeks/deferrals", status_code=303)


def _unplaced_row(page: PageRequest, plan: Plan, check: UnplacedCheck) -> UnplacedRow:
    placing = urlencode({"plan": plan.plan_run_id, "joint": check.joint_id})
    return UnplacedRow(
        check=check,
        href=page.joint_href(check.tag),
        place_href=f"{page.root}/weeks/bundle?{placing}",
        defer_href=f"{page.root}/weeks/deferrals?{urlencode({'tag': check.tag})}" if check.occurrence == 0 else None,
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as exc:
        fault = Issue(None, "until_on", text, "is no date; write it as 2026-03-31")
        raise DeferralUnfit("the deferral was refused", [fault]) from exc


def _reason(text: str) -> Unplaced | None:
    if not text:
        return None
    try:
        return Unplaced[text.upper()]
    except KeyError as exc:
        known = ", ".join(reason.name.lower() for reason in Unplaced)
        raise DeferralUnfit("there is no such reason", [Issue(None, "reason", text, f"is none of {known}")]) from exc


def _keys(check: UnplacedCheck) -> tuple[str, int, int]:
    return check.due_on.isoformat(), check.joint_id, check.occurrence


def _after(text: str | None) -> tuple[date, int, int] | None:
    keys = cursor_keys(text, 3)
    if keys is None:
        return None
    try:
        return date.fromisoformat(keys[0]), int(keys[1]), int(keys[2])
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
