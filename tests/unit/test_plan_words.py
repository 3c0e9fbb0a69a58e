"""What limits a plan in words, what people moving a check are told, and a plan as a workbook."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from io import BytesIO

import openpyxl
import pytest

from registry.crews.model import Crew, Outage
from registry.planning import answers
from registry.planning.changes import MovableCheck, MoveEffect
from registry.planning.effects import Target, Visits, cost_change, move_effect
from registry.planning.limits import limits_in_words
from registry.planning.model import CrewWeek, MoveCount, Plan, PlannedCheck, PlanSummary, UnplacedCount
from registry.planning.reasons import Moved, ReasonUnknown, Unplaced, moved_named, unplaced_named
from registry.policy.document import default_policy
from registry.web.workbook import Sheet, workbook_bytes

MONDAY = date(2026, 11, 23)
POLICY = default_policy(1)
PLAN = Plan(
    plan_run_id=3, score_run_id=1, policy_version=1, starts_on=MONDAY, weeks=4, frozen_weeks=1, planned_weeks=2,
    late_minutes=600.0, early_minutes=60.0, visit_minutes=2340.0, moved_minutes=0.0, unplaced_minutes=3000.0,
    bound_minutes=5970.0, solving_seconds=1.0, made_by="me", recorded_at=datetime(2026, 11, 23, tzinfo=UTC),
)  # fmt: skip
CREW = Crew(
    1, "Crew A", ("flanged",), (60.0,) * 5 + (0.0, 0.0), time(7), None, None, 1, datetime(2026, 1, 1, tzinfo=UTC)
)
CHECK = MovableCheck(
    joint_id=1, occurrence=0, tag="J-1", family="flanged", area_id=1, scaffold=0,
    week_starting_on=MONDAY + timedelta(weeks=2), crew_id=1, could_be_placed=True, due_on=MONDAY + timedelta(weeks=1),
    latest_on=MONDAY + timedelta(weeks=3), minutes=10.0, late_cost_per_week=2.0, early_cost_per_week=0.5,
    requires_outage=False, needs_scaffold=False, consequence_class=3, defect_rate_per_year=0.02,
    delay_rate_per_year=1.0, detection_probability=0.9, interval_days=365.0,
    last_satisfactory_on=date(2025, 11, 24), on_route_on=None,
)  # fmt: skip


def crew_week(week: int, minutes: float, *, crew: str = "Crew A", worth: float = 0.0) -> CrewWeek:
    return CrewWeek(MONDAY + timedelta(weeks=week), 1, crew, 5, minutes, 300.0, 1, 0, 0, 0, worth)


def test_a_plan_without_limits_says_so() -> None:
    said = limits_in_words(PlanSummary(PLAN, (crew_week(0, 100.0),), (), ()))
    assert said == (
        "It costs 100 crew hours, and no plan of these checks and crews can cost less than 100: it is within 0.50% of"
        " the best there can be.",
        "Nothing else limits it: every check stands within its days, and no crew is full.",
    )


def test_what_limits_a_plan_is_said_with_where_and_what_would_help() -> None:
    told = PlanSummary(
        PLAN,
        (crew_week(0, 290.0, worth=120.0), crew_week(1, 330.0, worth=600.0), crew_week(2, 0.0, crew="Crew B")),
        (
            UnplacedCount(Unplaced.NEEDS_OUTAGE, "Jetty", "union", 1, 5.0),
            UnplacedCount(Unplaced.NO_ROOM, "Jetty", "union", 4, 40.0),
            UnplacedCount(Unplaced.NO_ROOM, None, "twin_ferrule", 3, 40.0),
            UnplacedCount(Unplaced.NO_ROOM, "Hall", "twin_ferrule", 2, 40.0),
        ),
        (MoveCount(Moved.DONE, 2),),
    )
    said, second = limits_in_words(told)[1:], MONDAY + timedelta(weeks=1)
    assert said == (
        "9 checks stand in no week: every crew that may check the family is full in the days from first to latest; most"
        " of them are twin ferrule (5), and in Jetty (4).",
        "1 check stands in no week: an outage is needed, and none falls on the area in the days from first to latest.",
        f"Crew A is full in 2 of its 2 weeks, first in that of {MONDAY}.",
        f"Crew A has more to do than time in 1 week, most in the week of {second}: 0.5 hours over.",
        f"One more week of Crew A in the week of {second} would save most: about"
        " 10 crew hours of cost, and at most that and the gap together.",
    )
    document = answers.summary_document(told)
    assert document["limits"] == limits_in_words(told)
    assert (document["checks"], document["unplaced"], document["moved"]) == (15, 10, 2)
    assert [week["horizon"] for week in document["weeks"]] == ["frozen", "planned", "forecast", "forecast"]
    assert document["one_more_crew_week"]["worth_minutes"] == 600.0


def test_reasons_are_known_by_name() -> None:
    assert moved_named("due_changed") is Moved.DUE_CHANGED
    assert unplaced_named("no_room") is Unplaced.NO_ROOM
    assert all(reason.words for reason in (*Moved, *Unplaced))
    for known in (moved_named, unplaced_named):
        with pytest.raises(ReasonUnknown, match="no reason 'boredom'"):
            known("boredom")


def effect_of(check: MovableCheck, to_week: date, *, crew: Crew = CREW, outages: tuple[Outage, ...] = ()) -> MoveEffect:
    target = Target(to_week, crew, 100.0, 300.0)
    change = cost_change(PLAN, [check], to_week, Visits(set(), {(1, 0)}), POLICY)
    return move_effect(PLAN, [check], "Crew A", target, change, outages, POLICY, MONDAY)


def test_a_move_costs_lateness_earliness_and_visits() -> None:
    effect = effect_of(CHECK, MONDAY + timedelta(weeks=3))
    # A week later than due by one more, and the visit that it leaves behind is saved.
    assert effect.cost_added_minutes == pytest.approx(2.0 - POLICY.planning.visit_minutes)
    sooner = effect_of(CHECK, MONDAY)
    assert sooner.cost_added_minutes == pytest.approx(0.5 - 2.0 - POLICY.planning.visit_minutes)
    assert effect.risk_added > 0 > sooner.risk_added
    assert (effect.late_before, effect.late_after, sooner.late_after) == (1, 1, 0)
    assert effect.planned_minutes_after == 110.0
    assert effect_of(CHECK, CHECK.week_starting_on or MONDAY).planned_minutes_after == 100.0


@pytest.mark.parametrize(
    ("changes", "to_week", "said"),
    [
        ({"family": "union"}, 3, "J-1: Crew A may not check union"),
        ({"requires_outage": True}, 3, "J-1: needs an outage, and there is none in the week of 2026-12-14"),
        ({"consequence_class": 5}, 0, "J-1: its permit takes 7 days"),
        ({"needs_scaffold": True}, 1, "J-1: its scaffold takes 14 days"),
        ({"latest_on": MONDAY}, 3, "J-1: its latest day is 2026-11-23 or soon after; it would have to be deferred"),
        ({"on_route_on": MONDAY}, 3, "J-1: is on a route for 2026-11-23; take it off the route first"),
        ({}, -1, "the week of 2026-11-16 is over"),
    ],
)
def test_a_move_that_cannot_be_says_why(changes: dict[str, object], to_week: int, said: str) -> None:
    effect = effect_of(replace(CHECK, **changes), MONDAY + timedelta(weeks=to_week))  # type: ignore[arg-type]  # any fields
    assert effect.refused == (said,)


def test_a_permit_asked_for_in_time_and_an_outage_allow_it() -> None:
    week = MONDAY + timedelta(weeks=3)
    assert effect_of(replace(CHECK, consequence_class=5, needs_scaffold=True), week).refused == ()
    overhaul = Outage(1, "Overhaul", week, week, (1,), 1)
    assert effect_of(replace(CHECK, requires_outage=True), week, outages=(overhaul,)).refused == ()


def test_a_plan_as_a_workbook() -> None:
    check = PlannedCheck(
        joint_id=1, occurrence=0, tag="=1+1", area=None, area_id=0, scaffold=0, family="union", week_starting_on=MONDAY,
        crew_id=1, crew="Crew A", due_on=MONDAY - timedelta(days=1), latest_on=MONDAY, minutes=7.5,
        requires_outage=False, pinned=True, done=False,
    )  # fmt: skip
    sheets = answers.sheets(PlanSummary(PLAN, (crew_week(0, 7.5),), (), ()), [check], [], [])
    book = openpyxl.load_workbook(BytesIO(workbook_bytes([Sheet(*parts) for parts in sheets])))
    assert book.sheetnames == ["Checks", "Crews by week", "In no week", "Moves", "Limits"]
    headings, row = [[cell.value for cell in cells] for cells in book["Checks"].iter_rows()]
    found = dict(zip(headings, row, strict=True))
    assert tuple(headings) == answers.CHECK_COLUMNS
    assert found["tag"] == "=1+1"
    assert book["Checks"].cell(2, headings.index("tag") + 1).data_type == "s"
    assert found["week_starting_on"] == datetime(2026, 11, 23)  # noqa: DTZ001 (a workbook knows no zones)
    assert [found[name] for name in ("area", "late", "pinned", "minutes", "round")] == [None, "yes", "yes", 7.5, 1]
