"""A route mended by hand: a draft in the address, weighed at every step, and kept when it is right."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboards.figures.route import route_figure
from dashboards.pages.frame import InPage, PageRequest, place_words
from dashboards.pages.plan import plan_grid
from dashboards.rendering import render
from dashboards.route_contexts import MendPage, MendRow
from dashboards.route_words import mended_words
from registry.errors import Invalid, Issue, RegistryError
from registry.joints.service import joint_of_tag
from registry.overview import store
from registry.overview.model import RouteStop
from registry.routes.mending_service import mend_route, preview_mend
from registry.routes.model import BEST, Mended, RouteMend, RouteRefused, RouteSummary, StopOnSheet
from registry.routes.service import route_with_stops

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

Numbers = Annotated[str, Query(max_length=20_000)]
SentNumbers = Annotated[str, Form(max_length=20_000)]


@dataclass(frozen=True, slots=True)
class _Draft:
    """Joints in walking order, and which of them are pinned; beside the route as it is kept."""

    order: tuple[int, ...]
    pins: frozenset[int]
    kept_order: tuple[int, ...]
    kept_pins: frozenset[int]

    @property
    def dropped(self) -> tuple[int, ...]:
        return tuple(joint for joint in self.kept_order if joint not in self.order)

    @property
    def added(self) -> tuple[int, ...]:
        return tuple(joint for joint in self.order if joint not in self.kept_order)

    @property
    def changed(self) -> bool:
        return self.order != self.kept_order or self.pins != self.kept_pins

    @property
    def in_kept_order(self) -> bool:
        return self.order == tuple(joint for joint in self.kept_order if joint in self.order)

    def mend(self, *, best: bool = False) -> RouteMend:
        """The change from the route to this draft, or to the best order of its stops."""
        return RouteMend(
            order=BEST if best else self.order,
            drop=self.dropped,
            add=self.added,
            pin=tuple(sorted(self.pins - self.kept_pins)),
            unpin=tuple(sorted((self.kept_pins - self.pins) & set(self.order))),
        )


@ROUTER.get("/routes/{route_id}/mend")
def get_mend(
    page: InPage,
    route_id: int,
    order: Numbers = "",
    pins: Numbers = "",
    do: Annotated[str, Query(max_length=30)] = "",
    tag: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """The draft with what it costs; `do` changes it by one step, and where that cannot be it stays as it was."""
    route, sheet = route_with_stops(page.connection, route_id)
    draft = _draft(sheet, order, pins)
    refused = None
    mended: Mended | None = None
    if do:
        try:
            changed = _changed(page, route_id, draft, do, tag)
            mended = preview_mend(page.connection, route_id, changed.mend())
        except RegistryError as exc:
            refused = _said(exc)
        else:
            draft = changed
    if mended is None:
        mended = preview_mend(page.connection, route_id, draft.mend())
    return render(_page(page, route, sheet, draft, mended, refused))


@ROUTER.post("/routes/{route_id}/mend")
def post_mend(
    page: InPage,
    route_id: int,
    revision: Annotated[int, Form(ge=1)],
    order: SentNumbers = "",
    pins: SentNumbers = "",
) -> Response:
    """Keep a draft, if the route still is as the draft saw it."""
    _, sheet = route_with_stops(page.connection, route_id)
    draft = _draft(sheet, order, pins)
    mend_route(page.connection, route_id, revision, draft.mend())
    return RedirectResponse(f"{_root(page, route_id)}?mended=yes", status_code=303)


def _draft(sheet: Sequence[StopOnSheet], order: str, pins: str) -> _Draft:
    at_joints = [stop for stop in sheet if stop.joint_id is not None]
    kept_order = tuple(stop.joint_id for stop in at_joints if stop.joint_id is not None)
    kept_pins = frozenset(stop.joint_id for stop in at_joints if stop.pinned and stop.joint_id is not None)
    if not order:
        return _Draft(kept_order, kept_pins, kept_order, kept_pins)
    wanted = _numbers("order", order)
    if len(set(wanted)) != len(wanted):
        fault = Issue(None, "order", order, "names a stop twice")
        raise RouteRefused("the route was not mended", [fault])
    return _Draft(wanted, frozenset(_numbers("pins", pins)) & set(wanted), kept_order, kept_pins)


def _changed(page: PageRequest, route_id: int, draft: _Draft, do: str, tag: str) -> _Draft:
    """The draft after one step. Raises what the step raises, or RouteRefused for one that is none."""
    step, _, number = do.partition("-")
    if do == "as-given":  # what the script made of the order
        return draft
    if step == "add":
        return _with_joint(page, route_id, draft, joint_of_tag(page.connection, tag.strip()).joint_id)
    if step == "best":
        mended = preview_mend(page.connection, route_id, draft.mend(best=True))
        return replace(draft, order=_order_of(mended))
    if not number.isdigit():
        raise RouteRefused(f"'{do}' is no step")
    joint, order = int(number), list(draft.order)
    if step == "back" and joint in draft.dropped:
        return _with_joint(page, route_id, draft, joint)
    if joint not in order:
        raise RouteRefused(f"there is no stop {number} in this walk")
    at = order.index(joint)
    if step in ("up", "down"):
        to = max(at - 1, 0) if step == "up" else min(at + 1, len(order) - 1)
        order.insert(to, order.pop(at))
        return replace(draft, order=tuple(order))
    if step == "drop":
        return replace(draft, order=tuple(each for each in order if each != joint), pins=draft.pins - {joint})
    if step in ("pin", "unpin"):
        return replace(draft, pins=draft.pins | {joint} if step == "pin" else draft.pins - {joint})
    raise RouteRefused(f"'{do}' is no step")


def _with_joint(page: PageRequest, route_id: int, draft: _Draft, joint: int) -> _Draft:
    """A joint more: where it costs the least walking, or at the end of an order that was changed by hand."""
    if joint in draft.order:
        raise RouteRefused("it is on this walk already")
    longer = replace(draft, order=(*draft.order, joint))
    if joint in draft.kept_order or not draft.in_kept_order:
        if joint in draft.kept_order and draft.in_kept_order:
            kept = set(longer.order)
            return replace(longer, order=tuple(each for each in draft.kept_order if each in kept))
        return longer
    mended = preview_mend(page.connection, route_id, replace(longer.mend(), order=None))
    return replace(draft, order=_order_of(mended))


def _order_of(mended: Mended) -> tuple[int, ...]:
    return tuple(stop.joint_id for stop in mended.stops if stop.joint_id is not None)


def _page(
    page: PageRequest,
    route: RouteSummary,
    sheet: Sequence[StopOnSheet],
    draft: _Draft,
    mended: Mended,
    refused: str | None,
) -> MendPage:
    shapes = store.list_plan_shapes(page.connection) if page.sheet.plot_plan_intake_id else []
    grid = plan_grid(page, shapes)
    results = {stop.joint_id: stop.result for stop in sheet}
    known = store.list_joints_as_stops(page.connection, (*draft.order, *draft.dropped))
    at = {stop.joint_id: stop for stop in known}

    def row(stop: RouteStop) -> MendRow:
        assert stop.tag is not None, "a stop at a joint"
        assert stop.east_m is not None, "a joint has a place"
        assert stop.north_m is not None, "a joint has a place"
        return MendRow(
            stop=stop,
            href=page.joint_href(stop.tag),
            place=place_words(grid, stop.east_m, stop.north_m, stop.elevation_m),
            pinned=stop.joint_id in draft.pins,
            added=stop.joint_id in draft.added,
        )

    walked = [
        replace(
            at[stop.joint_id],
            position=stop.position,
            walking_minutes=stop.walking_minutes,
            working_minutes=stop.working_minutes,
            leg=stop.leg,
            result=results.get(stop.joint_id),
        )
        for stop in mended.stops
        if stop.joint_id in at
    ]
    return MendPage(
        frame=page.frame(f"Mend route {route.route_id}", "routes"),
        route=route,
        rows=[row(stop) for stop in walked],
        dropped=[row(at[joint]) for joint in draft.dropped],
        order=_text(draft.order),
        pins=_text(sorted(draft.pins)),
        lines=mended_words(mended, len(draft.dropped), len(draft.added)),
        refused=refused,
        changed=draft.changed,
        back_minutes=mended.back.walking_minutes,
        walk=route_figure(shapes, [*walked, _way_back(mended)]),
        root=_root(page, route.route_id),
    )


def _way_back(mended: Mended) -> RouteStop:
    nothing = dict.fromkeys(("joint_id", "tag", "family", "service", "size_mm", "pressure_barg", "access", "east_m"))
    return RouteStop(
        **nothing,
        north_m=None,
        elevation_m=None,
        due_on=None,
        band=None,
        position=0,
        walking_minutes=mended.back.walking_minutes,
        working_minutes=0.0,
        leg=mended.back.leg,
        result=None,
        recorded_at=None,
        checked_by=None,
    )


def _said(refusal: RegistryError) -> str:
    """A refusal in one line, with every fault."""
    faults = refusal.issues if isinstance(refusal, Invalid) else ()
    told = "; ".join(f"{fault.value} {fault.reason}" if fault.value else fault.reason for fault in faults)
    return told or str(refusal) or refusal.title


def _numbers(column: str, text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(",") if part.strip())
    except ValueError as exc:
        fault = Issue(None, column, text, "holds numbers of joints with commas between")
        raise RouteRefused("the route was not mended", [fault]) from exc


def _text(numbers: Sequence[int]) -> str:
    return ",".join(str(number) for number in numbers)


def _root(page: PageRequest, route_id: int) -> str:
    return f"{page.root}/routes/{route_id}"
