"""Routes over HTTP: made, listed, read with what was recorded at their stops, and drawn."""

from dataclasses import asdict
from datetime import date
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from registry.plant.store import read_georeference, read_plan
from registry.policy.service import current_policy
from registry.routes import store
from registry.routes.service import make_route, route_with_stops, start_names
from registry.routes.sheet import route_sheet, walk_geojson
from registry.web.dependencies import SiteConnection
from registry.web.paging import CursorText, CursorUnknown, Limit, cursor_keys, cursor_text

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["routes"])


class RouteRequest(BaseModel):
    """A walk for one crew and one shift."""

    model_config = ConfigDict(extra="forbid")

    walk_on: date
    crew: str = Field(min_length=1, max_length=100)
    area: str | None = Field(default=None, description="name of an area; without one the whole site")
    shift_minutes: float = Field(default=480.0, allow_inf_nan=False)
    start_gate: str | None = Field(default=None, description="without one the plan's first gate")
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


@router.post("/routes", status_code=201)
def post_route(connection: SiteConnection, site: str, wanted: RouteRequest) -> Response:
    """Choose and order the stops of a shift, and record the route; the answer is its sheet."""
    made = make_route(
        connection, wanted.walk_on, wanted.crew, wanted.area, wanted.shift_minutes, wanted.start_gate, wanted.seed
    )
    chosen = {"source": made.source, "weighed": made.weighed, "waiting_for_outage": made.waiting_for_outage}
    where = f"/api/v1/sites/{site}/routes/{made.route_id}"
    return _json({**_sheet(connection, made.route_id), **chosen}, status=201, headers={"Location": where})


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


@router.get("/routes/{route_id}")
def read_route(connection: SiteConnection, route_id: int) -> Response:
    """A route's sheet: totals, cautions, what to do, and the stops with what was recorded there."""
    return _json(_sheet(connection, route_id))


@router.get("/routes/{route_id}/walk.geojson")
def read_walk(connection: SiteConnection, route_id: int) -> Response:
    """The walk as GeoJSON: a line for each leg, a point for each stop."""
    document = walk_geojson(*route_with_stops(connection, route_id), read_georeference(connection))
    return Response(orjson.dumps(document), media_type="application/geo+json")


def _sheet(connection: SiteConnection, route_id: int) -> dict[str, Any]:
    return route_sheet(*route_with_stops(connection, route_id), read_plan(connection), current_policy(connection))


def _json(content: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(orjson.dumps(content), status_code=status, media_type="application/json", headers=headers)
