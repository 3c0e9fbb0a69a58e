"""The board and the half year show each crew's week, day off and outage where it is, on a scale that holds."""

from collections.abc import Sequence
from datetime import date, timedelta
from types import MappingProxyType

import pytest

from dashboards.figures.board import WEEKS_SHOWN, Board, BoardRequest, LateHours, board, first_cell, page_of
from dashboards.figures.half_year import half_year
from registry.crews.model import Crew, CrewAbsence, Outage
from registry.planning.model import CrewWeek
from tests.unit.some_plans import MONDAY, a_crew, a_crew_week, a_plan, an_outage, told

TODAY = date(2026, 3, 4)


def week(number: int) -> date:
    """The Monday of a plan's week, from 0."""
    return MONDAY + timedelta(weeks=number)


def drawn(
    rows: Sequence[CrewWeek],
    *,
    crews: Sequence[Crew] = (a_crew(),),
    absences: Sequence[CrewAbsence] = (),
    outages: Sequence[Outage] = (),
    late_hours: LateHours = MappingProxyType({}),
    first_week: int = 0,
) -> Board:
    """A page of the board of a plan that has these crew-weeks."""
    wanted = BoardRequest(first_week, None, "/sites/works", TODAY)
    return board(told(a_plan(), rows), late_hours, crews, absences, outages, wanted)


@pytest.mark.parametrize(
    ("wanted", "first"),
    [(None, 0), (week(12), 0), (week(13), 13), (week(19), 13), (date(2030, 1, 7), 13), (date(2020, 1, 6), 0)],
)
def test_pages_of_a_plan_begin_with_it_and_hold_every_week_once(wanted: date | None, first: int) -> None:
    assert page_of(a_plan(), wanted, TODAY) == first


def test_a_page_shows_so_many_weeks_and_the_last_one_what_is_left() -> None:
    rows = [a_crew_week(week(number)) for number in range(20)]
    assert len(drawn(rows).weeks) == WEEKS_SHOWN
    last = drawn(rows, first_week=13)
    assert [head.starts_on for head in last.weeks] == [week(number) for number in range(13, 20)]
    assert (last.starts_on, last.ends_on) == (week(13), week(20) - timedelta(days=1))


def test_a_bar_stands_on_its_foot_the_late_part_first_up_to_the_lane_s_own_scale() -> None:
    shown = drawn([a_crew_week(week(0)), a_crew_week(week(1), minutes=2400.0)], late_hours={(week(0), 1): 5.0})
    half, full = shown.lanes[0].cells[:2]
    foot = shown.lanes[0].base_px
    assert half.late_px[0] + half.late_px[1] == pytest.approx(foot)
    assert half.in_time_px[0] + half.in_time_px[1] == pytest.approx(half.late_px[0])
    assert half.late_px[1] * 4 == pytest.approx(half.late_px[1] + half.in_time_px[1], abs=0.5), "5 of 20 hours"
    assert full.in_time_px[0] == full.capacity_px == half.capacity_px, "filled to the line of its hours"
    assert (shown.lanes[0].mark_hours, shown.lanes[0].mark_px) == (40.0, full.capacity_px)


def test_what_exceeds_the_hours_stands_above_their_line_and_is_said() -> None:
    cell = drawn([a_crew_week(week(0), minutes=3000.0)]).lanes[0].cells[0]
    assert cell.in_time_px[0] < cell.capacity_px
    assert cell.over_hours == pytest.approx(10.0)
    assert drawn([a_crew_week(week(0), minutes=2400.0 + 1e-9)]).lanes[0].cells[0].over_hours == 0.0


def test_a_week_without_hours_or_checks_is_empty_and_a_crew_without_any_has_no_lane() -> None:
    shown = drawn([a_crew_week(week(0))], crews=[a_crew(), a_crew(2, "Crew B")])
    assert [lane.crew for lane in shown.lanes] == ["Crew A"]
    assert [cell.empty for cell in shown.lanes[0].cells[:2]] == [False, True]


def test_days_off_are_hatched_day_by_day_within_their_week() -> None:
    off = CrewAbsence(1, 1, week(0) + timedelta(days=3), week(1) + timedelta(days=1), "holiday")
    others = CrewAbsence(2, 9, week(0), week(5), "of another crew")
    cells = drawn([a_crew_week(week(0))], absences=[off, others]).lanes[0].cells
    spans = [[(span.from_percent, span.width_percent) for span in cell.off] for cell in cells[:3]]
    assert spans == [[(42.86, 57.14)], [(0.0, 28.57)], []]
    assert cells[0].off[0].words == "2026-03-05 to 2026-03-08: holiday"


def test_outages_stand_where_their_days_are_and_nowhere_else() -> None:
    inside = an_outage(week(1), week(2) - timedelta(days=1), "Jetty", "Utilities")
    beyond = an_outage(week(16), week(17))
    shown = drawn([a_crew_week(week(0))], outages=[inside, beyond])
    assert [lane.href for lane in shown.outages] == ["/sites/works/outages/4"]
    assert shown.outages[0].span.from_percent == pytest.approx(100 / 13, abs=0.01)
    assert shown.outages[0].span.width_percent == pytest.approx(100 / 13, abs=0.01)
    assert shown.outages[0].span.words == "2026-03-09 to 2026-03-15: Jetty, Utilities"
    running_in = an_outage(week(-3), week(0))
    assert drawn([a_crew_week(week(0))], outages=[running_in]).outages[0].span.from_percent == 0.0


def test_horizons_are_dimensioned_to_where_they_end() -> None:
    first = drawn([a_crew_week(week(0))])
    assert [(span.name, span.weeks, span.last) for span in first.horizons] == [
        ("frozen", 2, True),
        ("planned", 8, True),
        ("forecast", 3, False),
    ]
    last = drawn([a_crew_week(week(13))], first_week=13)
    assert [(span.name, span.weeks, span.last) for span in last.horizons] == [("forecast", 7, True)]


def test_the_cell_to_look_at_first_is_the_earliest_with_late_checks() -> None:
    rows = [a_crew_week(week(0), late=0), a_crew_week(week(2)), a_crew_week(week(14))]
    assert first_cell(rows, a_plan(), 0) == (week(2), 1)
    assert first_cell(rows[:1], a_plan(), 0) == (week(0), 1)
    assert first_cell(rows, a_plan(), 13) == (week(14), 1)
    assert first_cell([], a_plan(), 0) is None


def test_the_half_year_holds_this_week_and_what_of_each_lies_in_it() -> None:
    crew = a_crew()
    off = [CrewAbsence(1, 1, week(1), week(2) - timedelta(days=1), "holiday")]
    weekend = CrewAbsence(2, 1, week(3) + timedelta(days=5), week(3) + timedelta(days=6), "free anyway")
    over = an_outage(week(-4), week(-3))
    shown = half_year([(crew, "/c")], [*off, weekend], [(an_outage(week(2), week(3)), "/o"), (over, "/p")], TODAY)
    assert shown.starts_on == MONDAY
    lane = shown.crews[0]
    assert len(lane.bars) == 25, "a bar for each week but the one off"
    assert [span.words for span in lane.shut] == ["2026-03-09 to 2026-03-15: holiday"], "a free weekend is no day off"
    assert lane.said.startswith("1 week of 40 h, 1 week of 0 h, 24 weeks of 40 h")
    assert [outage.href for outage in shown.outages] == ["/o"]
    assert sum(month.width_percent for month in shown.months) == pytest.approx(100.0, abs=0.05)
