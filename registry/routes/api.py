"""Routes over HTTP: made for one or several crews, mended by hand, listed, read with what was recorded, and drawn."""

from collections.abc import Generator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import date
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Header, HTTPException, Path, Query, Response
from pydantic import BaseModel, ConfigDict, Field, model_validator

from registry.db import Connection
from registry.plant.store import read_georeference, read_plan
from registry.policy.service import current_policy
from registry.routes import sheet, store
from registry.routes.answers import crews_without_a_route, made_document, mended_document
from registry.routes.demand_service import joints_named
from registry.routes.mending_service import mend_route, preview_mend
from registry.routes.model import CrewShift, Mended, RouteChangedSince, RouteMend
from registry.routes.service import make_routes, route_with_stops, start_names, unreachable_joints
from registry.web.clock import Today
from registry.web.csv_text import csv_response
from registry.web.dependencies import SiteConnection
from registry.web.etags import etag, revision_in
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text
from registry.web.workbook import Sheet, workbook_response

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["routes"])

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
IfMatch = Annotated[str | None, Header()]
Tags = Annotated[list[Annotated[str, Field(min_length=1, max_length=200)]], Field(max_length=1000)]
Tools = Annotated[list[Annotated[str, Field(min_length=1, max_length=100)]], Field(max_length=100)]


class ShiftBody(BaseModel):
    """A crew that is to walk."""

    model_config = ConfigDict(extra="forbid")

    crew: str = Field(min_length=1, max_length=100)
    shift_minutes: float = Field(default=480.0, allow_inf_nan=False)
    start_gate: str | None = Field(default=None, description="without one the plan's first gate")
    tools: Tools | None = Field(default=None, description="kinds of tool that it holds; null: whatever its stops take")

    def as_shift(self) -> CrewShift:
        """What the service takes."""
        tools = None if self.tools is None else tuple(self.tools)
        return CrewShift(self.crew, self.shift_minutes, self.start_gate, tools)


class RouteRequest(BaseModel):
    """Walks for one crew (`crew`, with its shift beside it) or several at once (`crews`)."""

    model_config = ConfigDict(extra="forbid")

    walk_on: date
    crew: str | None = Field(default=None, min_length=1, max_length=100)
    shift_minutes: float = Field(default=480.0, allow_inf_nan=False)
    start_gate: str | None = Field(default=None, description="without one the plan's first gate")
    tools: Tools | None = Field(default=None, description="kinds of tool that it holds; null: whatever its stops take")
    crews: list[ShiftBody] | None = Field(default=None, min_length=1)
    area: str | None = Field(default=None, description="name of an area; without one the whole site")
    pinned: Tags = Field(default=[], description="tags of joints that are to be on a walk, due or not")
    left_out: Tags = Field(default=[], description="tags of joints that are to be on none")
    seed: int = Field(default=1, ge=0, le=2**31 - 1)

    @model_validator(mode="after")
    def _one_of_both(self) -> "RouteRequest":
        if (self.crew is None) == (self.crews is None):
            raise ValueError("give either crew or crews")
        if self.crews is not None and self.model_fields_set & {"shift_minutes", "start_gate", "tools"}:
            raise ValueError("with crews, shift_minutes, start_gate and tools stand in each of them")
        return self

    def as_shifts(self) -> list[CrewShift]:
        """What the service takes."""
        if self.crews is not None:
            return [shift.as_shift() for shift in self.crews]
        tools = None if self.tools is None else tuple(self.tools)
        return [CrewShift(self.crew or "", self.shift_minutes, self.start_gate, tools)]


class MendBody(BaseModel):
    """What to change on a route, joints by tag."""

    model_config = ConfigDict(extra="forbid")

    order: Tags | Literal["best"] | None = Field(
        default=None, description="every stop in walking order, or 'best'; null: as it is"
    )
    drop: Tags = []
    add: Tags = []
    pin: Tags = []
    unpin: Tags = []

    def as_mend(self, connection: Connection) -> RouteMend:
        """What the service takes. Raises RouteRefused for a tag that no joint has."""

        def numbers(tags: list[str], what: str) -> tuple[int, ...]:
            by_tag = {tag: joint_id for joint_id, tag in joints_named(connection, tags, what).items()}
            return tuple(by_tag[tag] for tag in tags)

        order = numbers(self.order, "order") if isinstance(self.order, list) else self.order
        return RouteMend(
            order,
            numbers(self.drop, "drop"),
            numbers(self.add, "add"),
            numbers(self.pin, "pin"),
            numbers(self.unpin, "unpin"),
        )


@router.post("/routes", status_code=201)
def post_route(connection: SiteConnection, site: str, wanted: RouteRequest, today: Today) -> Response:
    """Choose and order the stops of the shifts, and record the routes.

    For one crew the answer is its sheet; for several, `routes` holds the sheets of those that have a stop, and
    `without_a_route` the names of the others.
    """
    shifts = wanted.as_shifts()
    made = make_routes(
        connection,
        wanted.walk_on,
        shifts,
        wanted.area,
        wanted.seed,
        pinned_tags=wanted.pinned,
        left_out_tags=wanted.left_out,
        today=today,
    )
    sheets = [{**_sheet(connection, route.route_id), **made_document(route)} for route in made]
    if wanted.crews is not None:
        return _json({"routes": sheets, "without_a_route": crews_without_a_route(shifts, made)}, status=201)
    where = f"/api/v1/sites/{site}/routes/{made[0].route_id}"
    return _json(sheets[0], status=201, headers={"Location": where, "ETag": etag(made[0].revision)})


@router.get("/routes")
def list_routes(
    connection: SiteConnection,
    walk_on: Annotated[date | None, Query(description="day of the walk")] = None,
    crew: Annotated[str | None, Query(description="name of the crew")] = None,
    limit: Limit = 100,
    cursor: CursorText = None,
) -> Response:
    """Routes, newest first; `next` is the cursor of the next page, null on the last."""
    keys = cursor_keys(cursor, 2)
    try:
        after = None if keys is None else (date.fromisoformat(keys[0]), int(keys[1]))
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    routes = store.list_routes(connection, limit + 1, walk_on=walk_on, crew=crew, after=after)
    more, routes = len(routes) > limit, routes[:limit]
    following = cursor_text([routes[-1].walk_on.isoformat(), routes[-1].route_id]) if more else None
    return _json({"routes": [asdict(route) for route in routes], "next": following})


@router.get("/route-starts")
def list_starts(connection: SiteConnection) -> Response:
    """The places where a walk may start, the usual one first."""
    return _json({"starts": start_names(connection)})


@router.get("/unreachable-joints")
def list_unreachable(
    connection: SiteConnection,
    start_gate: Annotated[str | None, Query(description="without one the plan's first gate")] = None,
    area: Annotated[str | None, Query(description="name of an area; without one the whole site")] = None,
) -> Response:
    """The joints that no walk from a gate reaches, each with its place and why."""
    return _json({"joints": [asdict(joint) for joint in unreachable_joints(connection, start_gate, area)]})


@router.get("/routes/{route_id}.csv")
def read_route_csv(connection: SiteConnection, route_id: Number) -> Response:
    """A route's stops in walking order, the way back last."""
    _, stops = route_with_stops(connection, route_id)
    rows = sheet.stop_rows(stops, read_plan(connection), current_policy(connection))
    return csv_response(rows, f"route-{route_id}.csv", sheet.STOP_COLUMNS)


@router.get("/routes/{route_id}.xlsx")
def read_route_xlsx(connection: SiteConnection, route_id: Number) -> Response:
    """A route as a workbook: its stops, and what it is as a whole."""
    route, stops = route_with_stops(connection, route_id)
    policy = current_policy(connection)
    sheets = [
        Sheet("Stops", sheet.STOP_COLUMNS, sheet.stop_rows(stops, read_plan(connection), policy)),
        Sheet("Route", sheet.TOTAL_COLUMNS, sheet.total_rows(route, stops, policy)),
    ]
    return workbook_response(sheets, f"route-{route_id}.xlsx")


@router.get("/routes/{route_id}")
def read_route(connection: SiteConnection, route_id: Number) -> Response:
    """A route's sheet: totals, cautions, what to do and bring, the stops with what was recorded there.

    Its ETag is what a change says it saw.
    """
    document = _sheet(connection, route_id)
    return _json(document, headers={"ETag": etag(document["revision"])})


@router.patch("/routes/{route_id}")
def patch_route(connection: SiteConnection, route_id: Number, body: MendBody, if_match: IfMatch = None) -> Response:
    """Change a route by hand, over the revision in If-Match; the answer says what that cost."""
    revision = revision_in(if_match)
    with _seen():
        mended = mend_route(connection, route_id, revision, body.as_mend(connection))
    return _json(_mended(connection, mended), headers={"ETag": etag(mended.revision)})


@router.post("/routes/{route_id}/preview")
def post_preview(connection: SiteConnection, route_id: Number, body: MendBody) -> Response:
    """What a change by hand would make of a route, and what it would cost; nothing is kept."""
    return _json(_mended(connection, preview_mend(connection, route_id, body.as_mend(connection))))


@router.get("/routes/{route_id}/walk.geojson")
def read_walk(connection: SiteConnection, route_id: Number) -> Response:
    """The walk as GeoJSON: a line for each leg, a point for each stop."""
    document = sheet.walk_geojson(*route_with_stops(connection, route_id), read_georeference(connection))
    return Response(orjson.dumps(document), media_type="application/geo+json")


@contextmanager
def _seen() -> Generator[None]:
    try:
        yield
    except RouteChangedSince as exc:
        raise HTTPException(412, str(exc)) from exc


def _mended(connection: Connection, mended: Mended) -> dict[str, Any]:
    joints = [stop.joint_id for stop in mended.stops if stop.joint_id is not None]
    return mended_document(mended, store.list_tags(connection, joints))


def _sheet(connection: Connection, route_id: int) -> dict[str, Any]:
    policy = current_policy(connection)
    return sheet.route_sheet(*route_with_stops(connection, route_id), read_plan(connection), policy)


def _json(content: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json", headers=headers)
