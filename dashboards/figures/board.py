"""The plan as a board: a lane for each crew, a column for each week, and what is drawn in each cell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Final

import numpy as np

from dashboards.figures.half_year import Span, outage_words
from registry.crews.calendar import day_minutes
from registry.crews.model import Crew, CrewAbsence, Outage
from registry.planning.model import CrewWeek, Plan, PlanSummary

WEEKS_SHOWN: Final = 13
CELL_HIGH_PX: Final = 64.0
_DAYS: Final = 7
_BASE_PX: Final = 62.0
_TOP_PX: Final = 14.0
"""Above it stands the strip in which days off are hatched."""

LateHours = Mapping[tuple[date, int], float]
"""Hours of late checks by week and crew."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A crew's week: its numbers, and the bar that shows them in pixels from the top of the cell.

    The late part stands at the foot of the bar, what is in time on top of it; `capacity_px` is the line of the crew's
    hours. `off` are its days off within the week.
    """

    week_starting_on: date
    horizon: str
    href: str
    opened: bool
    checks: int
    hours: float
    capacity_hours: float
    late: int
    late_hours: float
    pinned: int
    done: int
    late_px: tuple[float, float]
    in_time_px: tuple[float, float]
    capacity_px: float
    off: Sequence[Span]

    @property
    def over_hours(self) -> float:
        """By how much it exceeds the crew's hours, what rounding makes of it aside."""
        over = self.hours - self.capacity_hours
        return over if over > 0.005 else 0.0

    @property
    def empty(self) -> bool:
        """Whether the crew has neither hours nor checks."""
        return not self.checks and self.capacity_hours <= 0


@dataclass(frozen=True, slots=True)
class Lane:
    """One crew's weeks, on a scale of its own whose mark stands at `mark_px` for `mark_hours`."""

    crew_id: int
    crew: str
    href: str
    usual_hours: float
    mark_hours: float
    mark_px: float
    base_px: float
    cells: Sequence[Cell]

    @property
    def opened(self) -> Cell | None:
        """The cell whose bundles are shown."""
        return next((cell for cell in self.cells if cell.opened), None)


@dataclass(frozen=True, slots=True)
class WeekHead:
    """A column's head."""

    starts_on: date
    number: int
    """Of the ISO calendar."""
    horizon: str
    now: bool


@dataclass(frozen=True, slots=True)
class HorizonSpan:
    """Weeks of one horizon that stand side by side."""

    name: str
    weeks: int
    last: bool
    """Whether the horizon ends here, and not beyond the page."""


@dataclass(frozen=True, slots=True)
class OutageLane:
    """An outage over the weeks shown."""

    name: str
    href: str
    span: Span


@dataclass(frozen=True, slots=True)
class Board:
    """A page of the plan: so many weeks from its first."""

    weeks: Sequence[WeekHead]
    horizons: Sequence[HorizonSpan]
    outages: Sequence[OutageLane]
    lanes: Sequence[Lane]
    today_percent: float | None
    """Where today stands across the weeks; None where it does not."""

    @property
    def starts_on(self) -> date:
        """The first week shown."""
        return self.weeks[0].starts_on

    @property
    def ends_on(self) -> date:
        """The last day shown."""
        return self.weeks[-1].starts_on + timedelta(days=_DAYS - 1)


@dataclass(frozen=True, slots=True)
class BoardRequest:
    """Which page is drawn, which cell is open, and where the board's links lead."""

    first_week: int
    opened: tuple[date, int] | None
    root: str
    """Of the site."""
    today: date


def page_of(plan: Plan, wanted: date | None, today: date) -> int:
    """The number of the first week on the page that holds a day; the nearest page where the plan does not reach it.

    Pages begin with the plan, so that turning them shows each week once.
    """
    week = ((wanted or today) - plan.starts_on).days // _DAYS
    return min(max(week, 0), plan.weeks - 1) // WEEKS_SHOWN * WEEKS_SHOWN


def first_cell(rows: Sequence[CrewWeek], plan: Plan, first_week: int) -> tuple[date, int] | None:
    """The cell of a page to look at first: the earliest with late checks, else the earliest with any."""
    start = plan.starts_on + timedelta(weeks=first_week)
    shown = [row for row in rows if 0 <= (row.week_starting_on - start).days < _DAYS * WEEKS_SHOWN and row.checks]
    chosen = next((row for row in shown if row.late), shown[0] if shown else None)
    return None if chosen is None else (chosen.week_starting_on, chosen.crew_id)


def board(
    told: PlanSummary,
    late_hours: LateHours,
    crews: Sequence[Crew],
    absences: Sequence[CrewAbsence],
    outages: Sequence[Outage],
    wanted: BoardRequest,
) -> Board:
    """A page of the board. Crews without hours or checks on it are left out; those of the plan come by name."""
    plan = told.plan
    count = min(WEEKS_SHOWN, plan.weeks - wanted.first_week)
    mondays = [plan.starts_on + timedelta(weeks=wanted.first_week + week) for week in range(count)]
    by_crew: dict[int, dict[date, CrewWeek]] = {}
    for row in told.crew_weeks:
        if mondays[0] <= row.week_starting_on <= mondays[-1]:
            by_crew.setdefault(row.crew_id, {})[row.week_starting_on] = row
    days = count * _DAYS
    today = (wanted.today - mondays[0]).days + 0.5
    return Board(
        weeks=[
            WeekHead(monday, monday.isocalendar().week, plan.horizon_of(monday), 0 <= (wanted.today - monday).days < 7)
            for monday in mondays
        ],
        horizons=_horizons(plan, mondays),
        outages=[
            OutageLane(outage.name, f"{wanted.root}/outages/{outage.outage_id}", span)
            for outage in outages
            if (span := _span(outage.from_on, outage.until_on, outage_words(outage), mondays[0], days))
        ],
        lanes=[
            _lane(crew, plan, mondays, by_crew[crew.crew_id], late_hours, absences, wanted)
            for crew in crews
            if crew.crew_id in by_crew
        ],
        today_percent=round(100.0 * today / days, 3) if 0 <= today < days else None,
    )


def _lane(
    crew: Crew,
    plan: Plan,
    mondays: Sequence[date],
    rows: Mapping[date, CrewWeek],
    late_hours: LateHours,
    absences: Sequence[CrewAbsence],
    wanted: BoardRequest,
) -> Lane:
    capacity = max(row.capacity_minutes for row in rows.values()) / 60.0
    scale = max(capacity, max(row.minutes for row in rows.values()) / 60.0) or 1.0
    mark = capacity or scale
    off = _days_off(crew, absences, mondays)
    return Lane(
        crew_id=crew.crew_id,
        crew=crew.name,
        href=f"{wanted.root}/crews/{crew.crew_id}",
        usual_hours=crew.minutes_per_week / 60.0,
        mark_hours=mark,
        mark_px=_down(mark, scale),
        base_px=_BASE_PX,
        cells=[
            _cell(crew.crew_id, plan, monday, rows.get(monday), late_hours, scale, off[week], wanted)
            for week, monday in enumerate(mondays)
        ],
    )


def _cell(
    crew_id: int,
    plan: Plan,
    monday: date,
    row: CrewWeek | None,
    late_hours: LateHours,
    scale: float,
    off: Sequence[Span],
    wanted: BoardRequest,
) -> Cell:
    hours = row.minutes / 60.0 if row else 0.0
    late = min(late_hours.get((monday, crew_id), 0.0), hours)
    capacity = row.capacity_minutes / 60.0 if row else 0.0
    late_top, top = _down(late, scale), _down(hours, scale)
    return Cell(
        week_starting_on=monday,
        horizon=plan.horizon_of(monday),
        href=f"{wanted.root}/weeks?week={monday}&crew={crew_id}#cell",
        opened=wanted.opened == (monday, crew_id),
        checks=row.checks if row else 0,
        hours=hours,
        capacity_hours=capacity,
        late=row.late if row else 0,
        late_hours=late,
        pinned=row.pinned if row else 0,
        done=row.done if row else 0,
        late_px=(late_top, round(_BASE_PX - late_top, 1)),
        in_time_px=(top, round(late_top - top, 1)),
        capacity_px=_down(capacity, scale),
        off=off,
    )


def _down(hours: float, scale: float) -> float:
    """Pixels from the top of a cell down to so many hours."""
    return round(_BASE_PX - (_BASE_PX - _TOP_PX) * hours / scale, 1)


def _days_off(crew: Crew, absences: Sequence[CrewAbsence], mondays: Sequence[date]) -> list[list[Span]]:
    """The days off in each of the weeks, in percent of the week; a week in which the crew never works has none."""
    start, days = mondays[0], len(mondays) * _DAYS
    usual = day_minutes(crew, (), start, days).reshape(-1, _DAYS).sum(axis=1)
    reasons: list[str | None] = [None] * days
    for absence in absences:
        if absence.crew_id == crew.crew_id:
            first, last = (absence.from_on - start).days, (absence.until_on - start).days
            for day in range(max(first, 0), min(last + 1, days)):
                reasons[day] = absence.reason
    return [
        [] if usual[week] <= 0 else _runs(reasons[_DAYS * week : _DAYS * (week + 1)], monday)
        for week, monday in enumerate(mondays)
    ]


def _runs(reasons: Sequence[str | None], monday: date) -> list[Span]:
    spans: list[Span] = []
    day = 0
    for reason, same in groupby(reasons):
        length = len(list(same))
        if reason is not None:
            first, last = monday + timedelta(days=day), monday + timedelta(days=day + length - 1)
            when = f"{first}" if first == last else f"{first} to {last}"
            spans.append(Span(round(100.0 * day / _DAYS, 2), round(100.0 * length / _DAYS, 2), f"{when}: {reason}"))
        day += length
    return spans


def _horizons(plan: Plan, mondays: Sequence[date]) -> list[HorizonSpan]:
    spans = [(name, len(list(same))) for name, same in groupby(plan.horizon_of(monday) for monday in mondays)]
    after = mondays[-1] + timedelta(weeks=1)
    goes_on = plan.has_week(after) and plan.horizon_of(after) == spans[-1][0]
    return [
        HorizonSpan(name, weeks, last=number < len(spans) or not goes_on)
        for number, (name, weeks) in enumerate(spans, start=1)
    ]


def _span(from_on: date, until_on: date, words: str, start: date, days: int) -> Span | None:
    first, end = np.clip([(from_on - start).days, (until_on - start).days + 1], 0, days).tolist()
    return Span(round(100.0 * first / days, 3), round(100.0 * (end - first) / days, 3), words) if first < end else None
