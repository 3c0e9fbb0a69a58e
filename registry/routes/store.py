"""Routes in the database: what there is to walk to, and the walks as made."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

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
    "risk_now": "double precision",
    "detection_probability": "double precision",
    "due_on": "date",
    "check_minutes": "double precision",
    "requires_outage": "boolean",
}


def read_planned_week(connection: Connection, week_starting_on: date) -> tuple[int, datetime] | None:
    """The newest plan if it has checks in a week: its number, and when it was made."""
    row = connection.execute(SQL["read_planned_week"], {"week_starting_on": week_starting_on}).fetchone()
    return None if row is None else (int(row[0]), row[1])


def list_planned(
    connection: Connection,
    plan_run_id: int,
    planned_at: datetime,
    week_starting_on: date,
    walk_on: date,
    crew: str,
    area_id: int | None,
) -> Columns:
    """The joints that a plan has in this week or had before, not checked since, on no other crew's walk that day."""
    given = {
        "plan_run_id": plan_run_id,
        "planned_at": planned_at,
        "week_starting_on": week_starting_on,
        "walk_on": walk_on,
        "crew": crew,
        "area_id": area_id,
    }
    return read_columns(connection, SQL["list_planned"], _DUE_TYPES, given)


def list_due(connection: Connection, until_on: date, walk_on: date, crew: str, area_id: int | None) -> Columns:
    """The joints that fall due by a day, on no other crew's walk."""
    given = {"until_on": until_on, "walk_on": walk_on, "crew": crew, "area_id": area_id}
    return read_columns(connection, SQL["list_due"], _DUE_TYPES, given)


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
            "walking_minutes": sum(stop.walking_minutes for stop in stops),
            "working_minutes": sum(stop.working_minutes for stop in stops),
            "considered": considered,
            "unreachable": unreachable,
        },
    ).fetchone()
    assert row is not None
    with connection.cursor() as cursor:
        cursor.executemany(SQL["add_stop"], [{"route_id": row[0], **asdict(stop)} for stop in stops])
    return int(row[0])


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
