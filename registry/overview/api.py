"""The map's answers over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from registry.overview import store
from registry.overview.kept_answers import KeptAnswers
from registry.overview.map_window import CELLS_ACROSS, Window
from registry.overview.model import DueState, JointFilter
from registry.overview.service import window_answer
from registry.web.clock import Today
from registry.web.dependencies import SiteConnection

router = APIRouter(prefix="/api/v1/sites/{site}", tags=["map"])

_KEPT = KeptAnswers(64)

Name = Annotated[str | None, Query(max_length=200)]


@router.get("/map", summary="The joints of a window of the plot plan, or cells with counts where there are many")
def get_map(
    request: Request,
    connection: SiteConnection,
    today: Today,
    west: float,
    south: float,
    east: float,
    north: float,
    area: Name = None,
    family: Name = None,
    service: Name = None,
    due: DueState | None = None,
    across: Annotated[int, Query(ge=4, le=CELLS_ACROSS, description="most cells along the longer edge")] = CELLS_ACROSS,
) -> Response:
    """Columns as ready-made JSON: `kind` is 'joints' or 'cells'. The ETag changes with scores, checks and leaks."""
    window = Window(west, south, east, north)
    sheet = store.read_sheet(connection)
    tag = f'W/"{sheet.stamp}-{today:%Y%m%d}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if tag in request.headers.get("If-None-Match", ""):
        return Response(status_code=304, headers=headers)
    wanted = JointFilter(area or None, family or None, service or None, due)
    key = (request.app.state.database.url, sheet.site_code, tag, window, wanted, across)
    answer = _KEPT.get(key)
    if answer is None:
        answer = window_answer(connection, sheet, window, wanted, today, across=across)
        _KEPT.put(key, answer)
    return Response(answer, media_type="application/json", headers=headers)
