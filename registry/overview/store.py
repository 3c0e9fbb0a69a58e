"""Reading what pages show.

Nothing is prepared: a plan that is kept for every filter and window at once would be a bad one for most of them, and
planning anew costs a millisecond.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any, TypeVar

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.overview.model import (
    SOON_DAYS,
    AreaSummary,
    Choice,
    Choices,
    DueCount,
    FoundTag,
    HistoryEntry,
    JointConditions,
    JointRecord,
    LeakOnPlan,
    ListedJoint,
    PlanShape,
    RouteStop,
    ScoreGroup,
    Sheet,
)
from registry.overview.risk_bands import BAND_EDGES

SQL = queries_beside(__file__)

Kind = TypeVar("Kind")
Row = tuple[Any, ...]
_EDGES = list(BAND_EDGES)


def read_sheet(connection: Connection) -> Sheet:
    """What the title block of this site's sheets says."""
    sheet = _first(connection, Sheet, "read_sheet")
    assert sheet is not None, "a transaction is set to a site that exists"
    return sheet


def list_choices(connection: Connection) -> Choices:
    """Areas, families and services of the site, by name."""
    rows = _all(connection, Choice, "list_choices")

    def of_kind(kind: str) -> tuple[Choice, ...]:
        return tuple(row for row in rows if row.kind == kind)

    return Choices(of_kind("area"), of_kind("family"), of_kind("service"))


def list_plan_shapes(connection: Connection) -> list[PlanShape]:
    """The features of the plot plan, areas first."""
    return _all(connection, PlanShape, "list_plan_shapes")


def read_joint_extent(connection: Connection) -> tuple[float, float, float, float] | None:
    """West, south, east and north edge of the scored joints [m]; None where there are none."""
    row = connection.execute(SQL["read_joint_extent"]).fetchone()
    return None if row is None or row[0] is None else (row[0], row[1], row[2], row[3])


def window_cells(
    connection: Connection,
    window: tuple[float, float, float, float],
    cell_m: float,
    conditions: JointConditions,
    today: date,
    *,
    wide: bool,
) -> list[Row]:
    """Cells that hold joints: cell east, cell north, joints, worst band, overdue, due soon.

    `wide` says that the window holds a good part of the site: it changes how the answer is found, not the answer.
    """
    parameters = {**_window(window), "cell_m": cell_m, **_dated(conditions, today)}
    return connection.execute(
        SQL["wide_cells" if wide else "window_cells"], parameters, prepare=False, binary=True
    ).fetchall()


def window_joints(
    connection: Connection,
    window: tuple[float, float, float, float],
    conditions: JointConditions,
    today: date,
    *,
    wide: bool,
) -> list[Row]:
    """The joints of a window, least risky first: tag, east, north, elevation [m], band, due date, risk rank."""
    parameters = {**_window(window), **_dated(conditions, today)}
    return connection.execute(
        SQL["wide_joints" if wide else "window_joints"], parameters, prepare=False, binary=True
    ).fetchall()


def window_riskiest(
    connection: Connection,
    window: tuple[float, float, float, float],
    conditions: JointConditions,
    today: date,
    limit: int,
    *,
    wide: bool,
) -> list[Row]:
    """The riskiest joints of a window, in the columns of `window_joints` and, as there, the riskiest last."""
    parameters = {**_window(window), **_dated(conditions, today), "limit": limit}
    return connection.execute(
        SQL["wide_riskiest" if wide else "window_riskiest"], parameters, prepare=False, binary=True
    ).fetchall()


def list_leaks_on_plan(connection: Connection, limit: int) -> list[LeakOnPlan]:
    """Where it leaks now, newest first."""
    return _all(connection, LeakOnPlan, "list_leaks_on_plan", {"limit": limit})


def summarise_areas(connection: Connection, conditions: JointConditions, today: date) -> list[AreaSummary]:
    """Each area's joints in numbers."""
    return _all(connection, AreaSummary, "summarise_areas", _dated(conditions, today))


def list_riskiest(
    connection: Connection, conditions: JointConditions, today: date, limit: int, *, only_beyond: bool = False
) -> list[ListedJoint]:
    """The riskiest joints, or the riskiest of those that checking alone cannot hold."""
    parameters = {**_dated(conditions, today), "limit": limit, "only_beyond": only_beyond}
    return _all(connection, ListedJoint, "list_riskiest", parameters)


def list_due(
    connection: Connection,
    conditions: JointConditions,
    today: date,
    limit: int,
    after: tuple[date, float, int] | None = None,
) -> list[ListedJoint]:
    """A page of joints by due date, beginning after the row of that due date, risk and joint."""
    due_on, risk, joint_id = after or (None, None, None)
    parameters = {
        **_dated(conditions, today),
        "limit": limit,
        "after_due_on": due_on,
        "after_risk": risk,
        "after_joint_id": joint_id,
    }
    return _all(connection, ListedJoint, "list_due", parameters)


def count_due(connection: Connection, conditions: JointConditions, today: date) -> DueCount:
    """Joints and hours under a filter, by due state."""
    counted = _first(connection, DueCount, "count_due", _dated(conditions, today))
    assert counted is not None, "an aggregate gives one row"
    return counted


def find_tags(connection: Connection, text: str, limit: int) -> list[FoundTag]:
    """Joints whose tag has `text` in it, whatever its case."""
    return _all(connection, FoundTag, "find_tags", {"text": text, "limit": limit})


def read_joint_record(connection: Connection, tag: str) -> JointRecord | None:
    """One joint with its current score; None where there is no such tag."""
    return _first(connection, JointRecord, "read_joint_record", {"tag": tag, "band_edges": _EDGES})


def list_history(connection: Connection, joint_id: int, limit: int) -> list[HistoryEntry]:
    """What happened to one joint, newest first."""
    return _all(connection, HistoryEntry, "list_history", {"joint_id": joint_id, "limit": limit})


def list_late_minutes(connection: Connection, plan_run_id: int) -> dict[tuple[date, int], float]:
    """The minutes of a plan's late checks, by week and crew."""
    rows = connection.execute(SQL["list_late_minutes"], {"plan_run_id": plan_run_id}).fetchall()
    return {(row[0], int(row[1])): float(row[2]) for row in rows}


def list_route_stops(connection: Connection, route_id: int) -> list[RouteStop]:
    """The stops of a route in walking order, the way back last."""
    return _all(connection, RouteStop, "list_route_stops", {"route_id": route_id, "band_edges": _EDGES})


def list_joints_as_stops(connection: Connection, joint_ids: Sequence[int]) -> list[RouteStop]:
    """Joints as stops of a walk that is not kept yet, in the given order, without the way to them."""
    return _all(connection, RouteStop, "list_joints_as_stops", {"joint_ids": list(joint_ids), "band_edges": _EDGES})


def count_score_groups(connection: Connection) -> list[ScoreGroup]:
    """How many joints share the same codes of the score."""
    return _all(connection, ScoreGroup, "count_score_groups")


def _window(window: tuple[float, float, float, float]) -> dict[str, float]:
    return dict(zip(("west", "south", "east", "north"), window, strict=True))


def _dated(conditions: JointConditions, today: date) -> dict[str, Any]:
    return {**asdict(conditions), "today": today, "soon": today + timedelta(days=SOON_DAYS), "band_edges": _EDGES}


def _all(
    connection: Connection, kind: type[Kind], name: str, parameters: Mapping[str, Any] | None = None
) -> list[Kind]:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[name], parameters, prepare=False).fetchall()


def _first(
    connection: Connection, kind: type[Kind], name: str, parameters: Mapping[str, Any] | None = None
) -> Kind | None:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[name], parameters, prepare=False).fetchone()
