"""Routes in the database: what there is to walk to, and the walks as made."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

import numpy as np
import numpy.typing as npt
from psycopg.rows import class_row

from registry.columns import Columns, read_columns
from registry.db import Connection
from registry.named_sql import queries_beside
from registry.routes.model import RouteStop, RouteSummary, StopOnSheet

SQL = queries_beside(__file__)

_DUE_TYPES = {
    "joint_id": "integer",
    "location": "point",
    "elevation_m": "double precision",
    "area_id": "integer",
    "risk_now": "double precision",
    "detection_probability": "double precision",
    "due_on": "date",
    "check_minutes": "double precision",
    "family_id": "smallint",
    "due_reason": "smallint",
    "requires_outage": "boolean",
}


def read_planned_week(connection: Connection, week_starting_on: date) -> tuple[int, datetime] | None:
    """The newest plan if it covers a week: its number, and when it was made."""
    row = connection.execute(SQL["read_planned_week"], {"week_starting_on": week_starting_on}).fetchone()
    return None if row is None else (int(row[0]), row[1])


def list_planned(
    connection: Connection,
    plan_run_id: int,
    planned_at: datetime,
    week_starting_on: date,
    *,
    area_id: int | None,
    crew_id: int | None,
) -> Columns:
    """The joints that a plan has in this week or had before, not checked since: all of them, or one crew's."""
    given = {
        "plan_run_id": plan_run_id,
        "planned_at": planned_at,
        "week_starting_on": week_starting_on,
        "area_id": area_id,
        "crew_id": crew_id,
    }
    return read_columns(connection, SQL["list_planned"], _DUE_TYPES, given)


def list_due(connection: Connection, until_on: date, *, area_id: int | None) -> Columns:
    """The joints that fall due by a day."""
    return read_columns(connection, SQL["list_due"], _DUE_TYPES, {"until_on": until_on, "area_id": area_id})


def list_asked(connection: Connection, joint_ids: Sequence[int]) -> Columns:
    """The given joints as far as they are scored, due or not."""
    return read_columns(connection, SQL["list_asked"], _DUE_TYPES, {"joint_ids": list(joint_ids)})


def list_taken(
    connection: Connection, walk_on: date, crews: Sequence[str], today: date | None
) -> npt.NDArray[np.int32]:
    """The joints that other crews walk to on a day, and those on walks of other days from `today` on, in rising order.

    `crews` are names in small letters. Without `today` other days do not count.
    """
    given = {"walk_on": walk_on, "crews": list(crews), "today": today}
    return read_columns(connection, SQL["list_taken"], {"joint_id": "integer"}, given)["joint_id"]


def list_walkers(
    connection: Connection, joint_ids: Sequence[int], walk_on: date, crews: Sequence[str]
) -> dict[int, tuple[int, str]]:
    """Route and crew of the given joints on the walk of a crew other than these (in small letters) that day."""
    given = {"joint_ids": list(joint_ids), "walk_on": walk_on, "crews": list(crews)}
    rows = connection.execute(SQL["list_walkers"], given).fetchall()
    return {int(joint_id): (int(route_id), str(crew)) for joint_id, route_id, crew in rows}


def list_joint_ids(connection: Connection, tags: Sequence[str]) -> dict[str, int]:
    """The numbers of the joints with these tags, as far as there are any."""
    rows = connection.execute(SQL["list_joint_ids"], {"tags": list(tags)}).fetchall()
    return {str(tag): int(joint_id) for tag, joint_id in rows}


def list_tags(connection: Connection, joint_ids: Sequence[int]) -> dict[int, str]:
    """The tags of the joints with these numbers, as far as there are any."""
    rows = connection.execute(SQL["list_tags"], {"joint_ids": list(joint_ids)}).fetchall()
    return {int(joint_id): str(tag) for joint_id, tag in rows}


def list_families(connection: Connection) -> dict[int, str]:
    """The code of each joint family by its number."""
    return {int(family_id): str(code) for family_id, code in connection.execute(SQL["list_families"]).fetchall()}


def list_tool_kinds(connection: Connection) -> list[str]:
    """The kinds of tool in the register of tools."""
    return [str(row[0]) for row in connection.execute(SQL["list_tool_kinds"]).fetchall()]


def list_places(connection: Connection, *, area_id: int | None) -> Columns:
    """Where every scored joint is."""
    types = {name: _DUE_TYPES[name] for name in ("joint_id", "location", "elevation_m")}
    return read_columns(connection, SQL["list_places"], types, {"area_id": area_id})


def add_route(
    connection: Connection,
    *,
    walk_on: date,
    crew: str,
    area_id: int | None,
    start_gate: str,
    shift_minutes: float,
    considered: int,
    unreachable: int,
    tools: Sequence[str] | None,
    best_walking_minutes: float,
    stops: Sequence[RouteStop],
) -> int:
    """Write a route with its stops and the way back, and return its number."""
    row = connection.execute(
        SQL["add_route"],
        {
            "walk_on": walk_on,
            "crew": crew,
            "area_id": area_id,
            "start_gate": start_gate,
            "shift_minutes": shift_minutes,
            "considered": considered,
            "unreachable": unreachable,
            "tools": None if tools is None else list(tools),
            "best_walking_minutes": best_walking_minutes,
            **_totals(stops),
        },
    ).fetchone()
    assert row is not None
    _add_stops(connection, int(row[0]), stops)
    return int(row[0])


def save_route(
    connection: Connection, route_id: int, revision: int, best_walking_minutes: float, stops: Sequence[RouteStop]
) -> int | None:
    """Write a route's stops and totals after a change, and return its revision; None where it changed in between."""
    given = {
        "route_id": route_id,
        "revision": revision,
        "best_walking_minutes": best_walking_minutes,
        **_totals(stops),
    }
    row = connection.execute(SQL["save_route"], given).fetchone()
    if row is None:
        return None
    connection.execute(SQL["drop_stops"], {"route_id": route_id})
    _add_stops(connection, route_id, stops)
    return int(row[0])


def _totals(stops: Sequence[RouteStop]) -> dict[str, float]:
    return {
        "walking_minutes": sum(stop.walking_minutes for stop in stops),
        "working_minutes": sum(stop.working_minutes for stop in stops),
    }


def _add_stops(connection: Connection, route_id: int, stops: Sequence[RouteStop]) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(SQL["add_stop"], [{"route_id": route_id, **asdict(stop)} for stop in stops])


def list_routes(
    connection: Connection,
    limit: int,
    *,
    walk_on: date | None = None,
    crew: str | None = None,
    after: tuple[date, int] | None = None,
) -> list[RouteSummary]:
    """Routes by day and number, newest first, beginning after a given one."""
    given = {
        "limit": limit,
        "walk_on": walk_on,
        "crew": crew,
        "after_walk_on": None if after is None else after[0],
        "after_route_id": None if after is None else after[1],
    }
    with connection.cursor(row_factory=class_row(RouteSummary)) as cursor:
        return cursor.execute(SQL["list_routes"], given).fetchall()


def read_route(connection: Connection, route_id: int) -> RouteSummary | None:
    """One route with its totals."""
    with connection.cursor(row_factory=class_row(RouteSummary)) as cursor:
        return cursor.execute(SQL["read_route"], {"route_id": route_id}).fetchone()


def list_stops(connection: Connection, route_id: int) -> list[StopOnSheet]:
    """The stops of a route in walking order, the way back last, with the newest result recorded there on this route."""
    with connection.cursor(row_factory=class_row(StopOnSheet)) as cursor:
        return cursor.execute(SQL["list_stops"], {"route_id": route_id}).fetchall()
