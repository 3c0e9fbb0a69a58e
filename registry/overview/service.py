"""What a page needs that is more than one query."""

from datetime import date
from typing import Any

import orjson

from registry.db import Connection
from registry.overview import store
from registry.overview.map_window import (
    CELLS_ACROSS,
    MOST_JOINTS,
    RISKIEST,
    Window,
    cell_columns,
    cell_size,
    joint_columns,
    summed,
)
from registry.overview.model import JointConditions, JointFilter, Sheet, joint_conditions

_EXTENTS: dict[tuple[str, int], float] = {}
_MOST_EXTENTS = 64
_WIDE_SHARE = 0.15  # measured: from here on one pass over all scores beats the index

EVERY_JOINT = JointConditions(None, None, None, None, None)


def conditions_of(connection: Connection, wanted: JointFilter, today: date) -> JointConditions:
    """A filter as the queries take it; looks names up only when there are any. Raises FilterUnknown."""
    if wanted.is_empty:
        return EVERY_JOINT
    return joint_conditions(wanted, store.list_choices(connection), today)


def window_answer(
    connection: Connection,
    sheet: Sheet,
    window: Window,
    wanted: JointFilter,
    today: date,
    *,
    across: int = CELLS_ACROSS,
    most_joints: int = MOST_JOINTS,
) -> bytes:
    """The joints of a window as ready-made JSON in columns: `kind` 'joints', or 'cells' where there are too many.

    Cells cover the window outwards to whole cells, and the joints are those of the same cells, so that zooming in never
    makes one vanish. Raises FilterUnknown.
    """
    conditions = conditions_of(connection, wanted, today)
    cell_m = cell_size(window, across)
    edges = window.out_to(cell_m).edges()
    site_area_m2 = _site_area_m2(connection, sheet)
    wide = site_area_m2 is not None and window.area_m2 > _WIDE_SHARE * site_area_m2
    cells = store.window_cells(connection, edges, cell_m, conditions, today, wide=wide)
    answer: dict[str, Any] = {"window": edges, **summed(cells)}
    if answer["joints"] > most_joints:
        riskiest = store.window_riskiest(connection, edges, conditions, today, RISKIEST, wide=wide)
        answer |= {"kind": "cells", "cell_m": cell_m, "columns": cell_columns(cells, cell_m)}
        return orjson.dumps(answer | {"riskiest": joint_columns(riskiest, today)})
    rows = store.window_joints(connection, edges, conditions, today, wide=wide) if cells else []
    return orjson.dumps(answer | {"kind": "joints", "columns": joint_columns(rows, today)})


def _site_area_m2(connection: Connection, sheet: Sheet) -> float | None:
    """Area that a run's joints lie in; kept, for a published run moves no joint and a pass over them takes time."""
    if sheet.score_run_id is None:
        return None
    key = (sheet.site_code, sheet.score_run_id)
    if key not in _EXTENTS:
        extent = store.read_joint_extent(connection)
        if extent is None:
            return None
        if len(_EXTENTS) >= _MOST_EXTENTS:
            _EXTENTS.clear()
        west, south, east, north = extent
        _EXTENTS[key] = max((east - west) * (north - south), 1.0)
    return _EXTENTS[key]
