"""The due list, and the same as CSV."""

import csv
import io
from collections.abc import Iterator
from datetime import date

from fastapi import APIRouter, Response
from fastapi.responses import StreamingResponse

from dashboards.contexts import DuePage
from dashboards.pages.filters import Wanted
from dashboards.pages.frame import InPage, PageRequest, filter_form, filter_query, joint_row, steps_to_scores
from dashboards.pages.plan import plan_grid
from dashboards.rendering import render
from registry.intervals.model import DUE_REASONS
from registry.overview import store
from registry.overview.model import JointConditions, ListedJoint, due_state, joint_conditions
from registry.overview.service import conditions_of
from registry.plant.sheet_grid import SheetGrid
from registry.web.paging import CursorText, CursorUnknown, cursor_keys, cursor_text

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

ROWS = 100
_CSV_ROWS = 5000
_CSV_COLUMNS = (
    "tag", "due_on", "due_state", "due_reason", "area", "family", "service", "grid_reference", "east_m", "north_m",
    "elevation_m", "interval_days", "consequence_class", "leak_rate_now_per_year", "risk_now", "risk_band", "risk_rank",
    "check_minutes", "beyond_checking",
)  # fmt: skip


@ROUTER.get("/due")
def get_due(page: InPage, wanted: Wanted, after: CursorText = None) -> Response:
    """A page of the joints by due date, riskiest first among equals."""
    choices = store.list_choices(page.connection)
    form = filter_form(wanted, choices)
    query = filter_query(wanted)
    csv_href = f"{page.root}/due.csv" + (f"?{query}" if query else "")
    if page.sheet.score_run_id is None:
        steps = steps_to_scores(page.sheet, page.root)
        return render(DuePage(page.frame("Due list", "due"), form, None, (), None, None, csv_href, steps))
    conditions = joint_conditions(wanted, choices, page.today)
    listed = store.list_due(page.connection, conditions, page.today, ROWS + 1, _after(after))
    grid = plan_grid(page)
    more = len(listed) > ROWS
    cursor = cursor_text(_key(listed[ROWS - 1])) if more else ""
    return render(
        DuePage(
            frame=page.frame("Due list", "due"),
            form=form,
            counts=store.count_due(page.connection, conditions, page.today),
            rows=[joint_row(page, joint, grid) for joint in listed[:ROWS]],
            first_href=f"{page.root}/due?{query}" if after else None,
            next_href=f"{page.root}/due?{filter_query(wanted, after=cursor)}" if more else None,
            csv_href=csv_href,
        )
    )


@ROUTER.get("/due.csv")
def get_due_csv(page: InPage, wanted: Wanted) -> Response:
    """The whole due list under a filter, units in the headings."""
    conditions = conditions_of(page.connection, wanted, page.today)
    grid = plan_grid(page)
    name = f"due-{page.site.code}-{page.today}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    # The transaction ends before the answer goes out, so the rows are read now; as text they are a few megabytes.
    blocks = list(_csv_blocks(page, conditions, grid))
    return StreamingResponse(iter(blocks), media_type="text/csv; charset=utf-8", headers=headers)


def _csv_blocks(page: PageRequest, conditions: JointConditions, grid: SheetGrid | None) -> Iterator[str]:
    yield ",".join(_CSV_COLUMNS) + "\r\n"
    after: tuple[date, float, int] | None = None
    while page.sheet.score_run_id is not None:
        listed = store.list_due(page.connection, conditions, page.today, _CSV_ROWS, after)
        buffer = io.StringIO()
        csv.writer(buffer).writerows(_csv_row(page, joint, grid) for joint in listed)
        yield buffer.getvalue()
        if len(listed) < _CSV_ROWS:
            return
        after = listed[-1].due_on, listed[-1].risk_now, listed[-1].joint_id


def _csv_row(page: PageRequest, joint: ListedJoint, grid: SheetGrid | None) -> tuple[object, ...]:
    return (
        _cell(joint.tag),
        joint.due_on,
        due_state(joint.due_on, page.today),
        DUE_REASONS[joint.due_reason],
        _cell(joint.area),
        joint.family,
        _cell(joint.service),
        grid.reference(joint.east_m, joint.north_m) if grid else "",
        joint.east_m,
        joint.north_m,
        joint.elevation_m,  # empty where nobody gave it
        joint.interval_days,
        joint.consequence_class,
        joint.leak_rate_now_per_year,
        joint.risk_now,
        joint.band,
        joint.risk_rank,
        joint.check_minutes,
        "yes" if joint.beyond_checking else "no",
    )


def _cell(text: str | None) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return "" if text is None else f"'{text}" if text[:1] in "=+-@\t\r" else text


def _key(joint: ListedJoint) -> tuple[str, float, int]:
    return joint.due_on.isoformat(), joint.risk_now, joint.joint_id


def _after(text: str | None) -> tuple[date, float, int] | None:
    keys = cursor_keys(text, 3)
    if keys is None:
        return None
    try:
        return date.fromisoformat(keys[0]), float(keys[1]), int(keys[2])
    except (TypeError, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
