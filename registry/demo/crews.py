"""The crews of Saltmarsh Point with their days off, and its next two outages. All of it is invented.

Who there is and what each may check is common practice, no source; their hours follow from what the scores ask for, so
that a plant of any size is busy and not drowned.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Final

from registry.crews.model import Crew, CrewRequest, OutageRequest
from registry.crews.service import add_absence, add_crew, add_outage
from registry.db import Connection
from registry.demo.areas import COMPRESSION, REFRIGERATION, SYNTHESIS
from registry.demo.joints import Plant
from registry.intervals.service import current_run
from registry.intervals.store import list_workload

BUSY: Final = 0.9
"""Share of the crews' hours that a year's checks take."""

_WEEKS: Final = 52
_LEAST_MINUTES, _MOST_MINUTES = 30.0, 1200.0
"""Of a crew's day. In a large plant a crew is several pairs over two shifts, and beyond that there is a second one; in
a small plant it comes on fewer days."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """A kind of crew: the families that it may check, how much of their work it takes, its days, and its shift."""

    name: str
    families: tuple[str, ...]
    share: float
    weekdays: tuple[int, ...]
    shift_starts_at: time


_EVERYTHING: Final = _Kind("Crew A", (), 1.0, (0, 1, 2, 3, 4), time(7))
"""Takes what the others leave."""

_OTHERS: Final = (
    _Kind("Flange crew", ("flanged", "clamp_hub", "union"), 0.6, (0, 1, 2, 3), time(6, 30)),
    _Kind("Fitting crew", ("twin_ferrule", "taper_thread"), 0.6, (0, 1, 2, 3, 4), time(7)),
    _Kind("High-pressure pair", ("cone_thread", "ferrule_mp"), 0.7, (1, 2, 3), time(13)),
)


def add_demo_crews(connection: Connection, built: Plant, as_of: date) -> list[Crew]:
    """Add four kinds of crew, their days off in the next year and two outages to a plant that is scored.

    Each crew has so many hours that it is busy with `BUSY` of them over a year, what is overdue and what comes round
    again within.
    """
    until_on = as_of + timedelta(weeks=_WEEKS)
    run = current_run(connection)
    workload: dict[str, float] = {}
    for row in list_workload(connection, run.score_run_id, as_of, until_on):
        if not row.needs_outage:
            workload[row.family] = workload.get(row.family, 0.0) + row.minutes
    crews = [
        add_crew(connection, wanted)
        for kind, minutes in weekly_minutes(workload).items()
        for wanted in _requests(kind, minutes)
    ]
    monday = as_of - timedelta(days=as_of.weekday())
    for crew in crews:
        if crew.name.startswith("Flange crew"):
            add_absence(
                connection, crew.crew_id, monday + timedelta(weeks=9), monday + timedelta(weeks=11, days=-1), "holiday"
            )
    for month, day in ((12, 25), (12, 26), (1, 1)):
        holiday = next(found for year in (as_of.year, as_of.year + 1) if (found := date(year, month, day)) >= as_of)
        add_absence(connection, None, holiday, holiday, "public holiday")
    for name, weeks, areas in (
        ("Compressor overhaul", 5, (COMPRESSION,)),
        ("Catalyst change", 31, (SYNTHESIS, REFRIGERATION)),
    ):
        first_on = monday + timedelta(weeks=weeks)
        names = tuple(block.area_name(area) for block in built.blocks for area in areas)
        add_outage(connection, OutageRequest(name, first_on, first_on + timedelta(days=11), names))
    return crews


def weekly_minutes(workload: Mapping[str, float]) -> dict[_Kind, float]:
    """Net minutes in a week of each kind of crew, from the minutes of a year's checks by family."""
    hours = {
        kind: kind.share * sum(workload.get(family, 0.0) for family in kind.families) / _WEEKS / BUSY
        for kind in _OTHERS
    }
    return {_EVERYTHING: sum(workload.values()) / _WEEKS / BUSY - sum(hours.values()), **hours}


def _requests(kind: _Kind, weekly: float) -> list[CrewRequest]:
    days = kind.weekdays[-max(1, int(weekly / _LEAST_MINUTES)) :]
    daily = weekly / len(days)
    crews = max(1, math.ceil(daily / _MOST_MINUTES))
    minutes = max(_LEAST_MINUTES, 5.0 * math.ceil(daily / crews / 5.0))
    by_weekday = tuple(minutes if weekday in days else 0.0 for weekday in range(7))
    names = [kind.name, *(f"{kind.name} {number}" for number in range(2, crews + 1))]
    return [CrewRequest(name, by_weekday, kind.families, kind.shift_starts_at) for name in names]
