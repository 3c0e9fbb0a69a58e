"""Checks moved by hand: what a move would do, the move itself, letting go; and the list of what moved."""

from datetime import date
from typing import Annotated
from urllib.parse import urlencode

import orjson
from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.pages.frame import InPage, PageRequest
from dashboards.pages.plan_account import move_counts
from dashboards.pages.plan_parts import QueriedBundle, SentBundle, bundle_fields, move_targets
from dashboards.plan_contexts import BundlePage, MoveRow, MovesPage
from dashboards.plan_words import EffectWords, effect_words, place_of_bundle, week_words
from dashboards.rendering import render
from registry.crews.service import list_crews
from registry.errors import Issue
from registry.planning.changes import Bundle, BundleKey, BundleUnknown, MoveUnfit
from registry.planning.model import Plan, PlannedCheck, UnplacedCheck
from registry.planning.moving_service import let_go, move_bundle, preview_move
from registry.planning.reasons import Moved
from registry.planning.service import checks_of_week, current_plan, list_bundles, list_moves, list_unplaced
from registry.planning.store import count_moves

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 200
_MOST_JOINTS = 10_000

Where = Annotated[date | None, Query()]
Crew = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Name = Annotated[str, Form(max_length=500)]


@ROUTER.get("/weeks/bundle")
def get_bundle(page: InPage, bundle: QueriedBundle, to_week: Where = None, to_crew: Crew = None) -> Response:
    """A bundle's checks, and what moving them to a week and crew would do."""
    plan = current_plan(page.connection)
    found = _bundle(page, plan, bundle)
    checks = _checks(page, bundle)
    unplaced = _unplaced(page, plan, bundle)
    effect = _effect(page, bundle, to_week, to_crew) if to_week and to_crew else None
    return render(
        BundlePage(
            frame=page.frame("Move checks", "weeks"),
            bundle=found,
            place=place_of_bundle(found.area, found.scaffold) if found else "In no week",
            checks=checks[:LISTED],
            unplaced=unplaced,
            hrefs={check.tag: page.joint_href(check.tag) for check in (*checks[:LISTED], *unplaced)},
            more=len(checks) > LISTED,
            fields=bundle_fields(bundle),
            chosen=bundle.joint_ids or (),
            targets=move_targets(plan, list_crews(page.connection), page.today),
            to_week=str(to_week or bundle.week_starting_on or ""),
            to_crew=str(to_crew or bundle.crew_id or ""),
            effect=effect,
            root=page.root,
        )
    )


@ROUTER.get("/weeks/effect.json")
def get_effect(page: InPage, bundle: QueriedBundle, to_week: date, to_crew: int) -> Response:
    """What a move would do, in the words of the page that works without script."""
    effect = _effect(page, bundle, to_week, to_crew)
    content = {"what": effect.what, "effects": effect.effects, "refused": effect.refused, "over": effect.over}
    return Response(orjson.dumps(content), media_type="application/json", headers={"Cache-Control": "no-store"})


@ROUTER.post("/weeks/moves")
def post_move(
    page: InPage,
    bundle: SentBundle,
    to_week: Annotated[date, Form()],
    to_crew: Annotated[int, Form(ge=1, le=2**31 - 1)],
    reason: Name = "",
    moved_by: Name = "",
    over_time: Annotated[str, Form(max_length=3)] = "",
) -> Response:
    """Move a bundle, and show it where it stands now."""
    effect = move_bundle(
        page.connection, bundle, to_week, to_crew, reason, moved_by, page.today, over_time=over_time == "yes"
    )
    query = urlencode({"week": to_week, "crew": to_crew, "moved": effect.checks})
    return RedirectResponse(f"{page.root}/weeks?{query}#cell", status_code=303)


@ROUTER.post("/weeks/let-go")
def post_let_go(page: InPage, bundle: SentBundle) -> Response:
    """Leave a bundle's checks to the next plan again."""
    if bundle.week_starting_on is None or bundle.crew_id is None:
        raise MoveUnfit("nothing was let go", [Issue(None, "week", None, "checks in no week are held by nobody")])
    checks = checks_of_week(
        page.connection,
        bundle.week_starting_on,
        bundle.crew_id,
        area_id=bundle.area_id,
        scaffold=bundle.scaffold,
        limit=None,
    )
    freed = let_go(page.connection, [check.joint_id for check in checks if check.pinned])
    query = urlencode({"week": bundle.week_starting_on, "crew": bundle.crew_id, "let_go": freed})
    return RedirectResponse(f"{page.root}/weeks?{query}#cell", status_code=303)


@ROUTER.get("/weeks/moves")
def get_moves(
    page: InPage,
    reason: Annotated[str, Query(max_length=40)] = "",
    after: Annotated[int | None, Query(ge=0, le=2**63 - 1)] = None,
) -> Response:
    """What stands elsewhere than in the plan before, and why."""
    plan = current_plan(page.connection)
    wanted = _reason(reason)
    moves = list_moves(page.connection, plan, reason=wanted, after=after, limit=LISTED + 1)
    more, moves = len(moves) > LISTED, moves[:LISTED]
    kept = {"reason": reason} if reason else {}
    here = f"{page.root}/weeks/moves"
    return render(
        MovesPage(
            frame=page.frame("What moved", "weeks"),
            plan=plan,
            counts=move_counts(page, count_moves(page.connection, plan.plan_run_id)),
            reason=wanted,
            rows=[
                MoveRow(
                    move=move,
                    href=page.joint_href(move.tag),
                    was=week_words(move.from_week, move.from_crew),
                    now=week_words(move.to_week, move.to_crew),
                )
                for move in moves
            ],
            first_href=_address(here, kept) if after else None,
            next_href=_address(here, {**kept, "after": str(moves[-1].plan_move_id)}) if more else None,
            all_href=here,
        )
    )


def _effect(page: PageRequest, bundle: BundleKey, to_week: date, to_crew: int) -> EffectWords:
    return effect_words(preview_move(page.connection, bundle, to_week, to_crew, page.today))


def _bundle(page: PageRequest, plan: Plan, key: BundleKey) -> Bundle | None:
    if key.week_starting_on is None:
        return None
    for bundle in list_bundles(page.connection, plan, key.week_starting_on):
        if (bundle.crew_id, bundle.area_id, bundle.scaffold) == (key.crew_id, key.area_id, key.scaffold):
            return bundle
    raise BundleUnknown(f"the plan has no such checks in the week of {key.week_starting_on}; they may have moved since")


def _checks(page: PageRequest, key: BundleKey) -> list[PlannedCheck]:
    if key.week_starting_on is None:
        return []
    return checks_of_week(
        page.connection,
        key.week_starting_on,
        key.crew_id,
        area_id=key.area_id,
        scaffold=key.scaffold,
        limit=LISTED + 1,
    )


def _unplaced(page: PageRequest, plan: Plan, key: BundleKey) -> list[UnplacedCheck]:
    if key.week_starting_on is not None or not key.joint_ids:
        return []
    wanted = set(key.joint_ids)
    found = list_unplaced(page.connection, plan, limit=None)
    return [check for check in found if check.joint_id in wanted]


def _reason(text: str) -> Moved | None:
    if not text:
        return None
    try:
        return Moved[text.upper()]
    except KeyError as exc:
        known = ", ".join(reason.name.lower() for reason in Moved)
        raise MoveUnfit("there is no such reason", [Issue(None, "reason", text, f"is none of {known}")]) from exc


def _address(path: str, query: dict[str, str]) -> str:
    return f"{path}?{urlencode(query)}" if query else path
