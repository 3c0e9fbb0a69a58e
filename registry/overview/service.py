"""What a page needs that is more than one query."""

from datetime import date

from registry.db import Connection
from registry.overview import store
from registry.overview.map_window import CELLS_ACROSS, Window, map_answer
from registry.overview.model import JointConditions, JointFilter, Sheet, joint_conditions

_EXTENTS: dict[tuple[str, int], float] = {}
_MOST_EXTENTS = 64

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
) -> bytes:
    """A window of the map as ready-made JSON. Raises FilterUnknown."""
    conditions = conditions_of(connection, wanted, today)
    return map_answer(
        connection, window, conditions, today, site_area_m2=_site_area_m2(connection, sheet), across=across
    )


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
