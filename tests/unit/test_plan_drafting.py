"""What a plan is made of: rounds, windows, costs, places, who may do what, what stands already; and why none fits."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from registry.columns import Columns
from registry.crews.model import Crew, Outage
from registry.planning.benefit import leaks_of_delay, leaks_taken_away_per_year
from registry.planning.comparison import moves
from registry.planning.drafting import FROZEN, ON_ROUTE, PINNED, Draft, Horizon, Standing, drafted, unplaced_reasons
from registry.planning.model import Plan
from registry.planning.problem import UNPLACED
from registry.planning.reasons import Moved, Unplaced
from registry.planning.windows import rounds
from registry.policy.document import default_policy

MONDAY = date(2026, 11, 23)
TODAY = date(2026, 11, 25)
POLICY = default_policy(1)
FAMILIES = {1: "flanged", 2: "twin_ferrule", 3: "union"}
SINCE = datetime(2026, 1, 1, tzinfo=UTC)
HOURS = (60.0,) * 5 + (0.0, 0.0)
CREWS = (
    Crew(11, "All", (), HOURS, time(7), None, None, 1, SINCE),
    Crew(7, "Tubes", ("twin_ferrule", "union"), HOURS, time(7), None, None, 1, SINCE),
)
WEEKS = 20


def joints(*rows: dict[str, Any]) -> Columns:
    """Joints as the scores give them; each row says what is not ordinary."""
    ordinary: dict[str, Any] = {
        "location": (5.0, 5.0), "elevation_m": 1.0, "area_id": 1, "family_id": 1, "consequence_class": 3,
        "defect_rate_per_year": 0.02, "delay_rate_per_year": 1.0, "detection_probability": 0.9, "interval_days": 364.0,
        "last_satisfactory_on": TODAY - timedelta(days=300), "due_on": MONDAY + timedelta(weeks=9),
        "check_minutes": 10.0, "access": 1, "requires_outage": False,
    }  # fmt: skip
    whole = [{"joint_id": at, **ordinary, **row} for at, row in enumerate(rows, start=1)]
    columns = {name: np.array([row[name] for row in whole]) for name in whole[0]}
    return {
        name: values.astype("datetime64[D]") if name.endswith("_on") else values for name, values in columns.items()
    }


def nothing_stands() -> Standing:
    whole = np.zeros(0, dtype=np.int64)
    days: npt.NDArray[Any] = np.zeros(0, dtype="datetime64[D]")
    before = {
        "joint_id": whole, "occurrence": whole, "week_starting_on": days, "crew_id": whole, "due_on": days,
        "latest_on": days, "minutes": np.zeros(0), "done": np.zeros(0, dtype=np.bool_),
    }  # fmt: skip
    return Standing(
        None,
        before,
        {"joint_id": whole, "week_starting_on": days, "crew_id": whole},
        {"joint_id": whole, "walk_on": days, "crew_id": whole},
        {"joint_id": whole, "until_on": days},
    )


def stands(*rows: tuple[int, int, date | None, int]) -> Standing:
    """A plan before of the same weeks, with checks: joint, occurrence, week, crew."""
    bare = nothing_stands()
    plan = Plan(
        score_run_id=1, policy_version=1, starts_on=MONDAY, weeks=WEEKS, frozen_weeks=2, planned_weeks=13,
        late_minutes=0, early_minutes=0, visit_minutes=0, moved_minutes=0, unplaced_minutes=0, bound_minutes=0,
        solving_seconds=0, made_by="", plan_run_id=1, recorded_at=datetime(2026, 11, 20, tzinfo=UTC),
    )  # fmt: skip
    day = MONDAY + timedelta(weeks=9)
    before = {
        "joint_id": np.array([row[0] for row in rows]),
        "occurrence": np.array([row[1] for row in rows]),
        "week_starting_on": np.array([row[2] or date(1, 1, 1) for row in rows], dtype="datetime64[D]"),
        "crew_id": np.array([row[3] for row in rows]),
        "due_on": np.array([day] * len(rows), dtype="datetime64[D]"),
        "latest_on": np.array([day + timedelta(weeks=13)] * len(rows), dtype="datetime64[D]"),
        "minutes": np.full(len(rows), 10.0),
        "done": np.zeros(len(rows), dtype=np.bool_),
    }
    return Standing(plan, before, bare.pins, bare.routes, bare.deferrals)


def draft_of(
    columns: Columns,
    *,
    standing: Standing | None = None,
    outages: tuple[Outage, ...] = (),
    crews: tuple[Crew, ...] = CREWS,
    hours: npt.NDArray[np.float64] | None = None,
    frozen: int = 2,
) -> Draft:
    horizon = Horizon(MONDAY, WEEKS, frozen, 13, TODAY)
    capacity = np.full((len(crews), WEEKS), 300.0) if hours is None else hours
    return drafted(columns, FAMILIES, crews, capacity, outages, standing or nothing_stands(), POLICY, horizon)


def test_what_follows_an_overdue_check_counts_from_the_day_on_which_it_can_be_done() -> None:
    found = rounds(np.array([-400, 5, 300]), np.array([70.0, 70.5, 70.0]), 2, 140)
    assert found.row.tolist() == [0, 0, 1, 1, 2]
    assert found.occurrence.tolist() == [0, 1, 0, 1, 0]
    assert found.day.tolist() == [-400, 72, 5, 75, 300]


def test_a_window_goes_from_a_share_of_the_interval_before_to_one_after() -> None:
    draft = draft_of(joints({}, {"interval_days": 70.0}, {"due_on": TODAY - timedelta(days=5), "interval_days": 28.0}))
    checks = draft.problem.checks
    year = np.flatnonzero(draft.joint_id == 1)[0]
    assert (checks.due_week[year], checks.first_week[year], checks.last_week[year]) == (9, 1, 19)
    assert draft.windows.latest_day[year] == 7 * 9 + 7 * 13
    ten_weeks = np.flatnonzero(draft.joint_id == 2)
    assert checks.first_week[ten_weeks].tolist() == [7, 17]
    assert checks.last_week[ten_weeks].tolist() == [12, 19]
    overdue = np.flatnonzero(draft.joint_id == 3)[0]
    assert (checks.due_week[overdue], checks.first_week[overdue]) == (0, 0)
    assert checks.last_week[overdue] == (TODAY - MONDAY).days // 7 + int(POLICY.planning.overdue_grace_weeks)


def test_no_round_comes_before_the_one_before_it_falls_due() -> None:
    draft = draft_of(joints({"interval_days": 14.0, "due_on": TODAY}))
    checks = draft.problem.checks
    assert np.all(checks.first_week[1:] > checks.due_week[:-1])
    assert np.all(checks.first_week <= checks.last_week)


def test_permits_and_scaffolds_take_their_time_and_one_that_is_asked_for_stands() -> None:
    rows = ({"consequence_class": 5}, {"access": 4}, {})
    soon = tuple({**row, "due_on": TODAY} for row in rows)
    assert draft_of(joints(*soon)).problem.checks.first_week.tolist() == [1, 2, 0]
    was = stands((2, 0, MONDAY + timedelta(weeks=1), 11))
    assert draft_of(joints(*soon), standing=was, frozen=0).problem.checks.first_week.tolist() == [1, 1, 0]


def test_scaffolds_are_shared_within_a_square_and_a_band_of_an_area() -> None:
    here = {"access": 4, "location": (1.0, 1.0)}
    draft = draft_of(
        joints(
            here,
            {**here, "location": (5.9, 5.9), "elevation_m": 3.9},
            {**here, "location": (6.1, 1.0)},
            {**here, "elevation_m": 4.1},
            {**here, "area_id": 2},
            {"area_id": 2},
            {**here, "elevation_m": float("nan")},
        )
    )
    first = {number: draft.scaffold[draft.joint_id == number][0] for number in range(1, 8)}
    assert first[1] == first[2] == first[7] > 0
    assert len({first[number] for number in (1, 3, 4, 5)}) == 4
    assert first[6] == 0
    place, cost = draft.problem.checks.place, draft.problem.visit_cost
    assert set(cost[place[draft.scaffold > 0]]) == {POLICY.planning.scaffold_minutes}
    assert set(cost[place[draft.scaffold == 0]]) == {POLICY.planning.visit_minutes}


def test_families_that_the_same_crews_may_check_are_one_need() -> None:
    draft = draft_of(joints({"family_id": 1}, {"family_id": 2}, {"family_id": 3}))
    flange, tube, union = (draft.problem.checks.need[draft.joint_id == number][0] for number in (1, 2, 3))
    assert tube == union != flange
    assert draft.problem.able[:, [flange, tube]].tolist() == [[True, True], [False, True]]


def test_a_check_that_needs_an_outage_has_the_weeks_of_its_area_alone() -> None:
    outages = (
        Outage(1, "one", MONDAY + timedelta(weeks=4, days=6), MONDAY + timedelta(weeks=5), (1,), 1),
        Outage(2, "other", MONDAY + timedelta(weeks=9), MONDAY + timedelta(weeks=9), (2,), 1),
    )
    draft = draft_of(joints({"requires_outage": True}, {"requires_outage": True, "area_id": 3}, {}), outages=outages)
    calendars, calendar = draft.problem.calendars, draft.problem.checks.calendar
    assert np.flatnonzero(calendars[calendar[0]]).tolist() == [4, 5]
    assert not calendars[calendar[1]].any()
    assert calendar[2] == 0
    assert calendars[0].all()
    # Far ahead of its due date too, where there may be no other.
    assert draft.problem.checks.first_week[0] == 0


def test_costs_follow_risk_time_and_interval() -> None:
    worse = {"consequence_class": 5}
    draft = draft_of(
        joints({}, worse, {"due_on": TODAY - timedelta(days=200), "last_satisfactory_on": date(2024, 1, 1)})
    )
    checks = draft.problem.checks
    weights = [row.weight for row in POLICY.classes]
    assert checks.late_cost[1] / checks.late_cost[0] == pytest.approx(weights[4] / weights[2])
    years = 364 / 365.25
    a_week = 0.9 * 0.02 * (1 - np.exp(-years)) * weights[2] / (365.25 / 7)
    assert checks.late_cost[0] == pytest.approx(POLICY.planning.minutes_per_weighted_leak * a_week)
    assert checks.early_cost[0] == pytest.approx(10.0 / 52.0)
    # What is long overdue takes more away than a check at its interval does.
    assert checks.late_cost[draft.joint_id == 3][0] > checks.late_cost[0]
    # Nowhere is dearer than the last week.
    dearest_week = checks.late_cost * (WEEKS - 1 - checks.due_week)
    assert np.all(checks.unplaced_cost > dearest_week + 9 * checks.minutes)


def test_what_stands_is_held_and_the_frozen_weeks_take_nothing_else() -> None:
    week = MONDAY + timedelta(weeks=1)
    standing = stands((1, 0, week, 7), (2, 0, MONDAY + timedelta(weeks=9), 7), (3, 0, week, 11), (4, 0, week, 11))
    later, beyond = MONDAY + timedelta(weeks=3), MONDAY + timedelta(weeks=WEEKS)
    pins = {
        "joint_id": np.array([3, 5]),
        "week_starting_on": np.array([later, beyond], dtype="datetime64[D]"),
        "crew_id": np.array([7, 7]),
    }
    routes = {
        "joint_id": np.array([4]),
        "walk_on": np.array([TODAY + timedelta(days=1)], dtype="datetime64[D]"),
        "crew_id": np.array([0]),
    }
    standing = Standing(standing.plan, standing.before, pins, routes, standing.deferrals)
    draft = draft_of(joints({}, {}, {}, {}, {}, {"due_on": TODAY}), standing=standing)
    checks = draft.problem.checks
    assert draft.held.tolist() == [FROZEN, 0, PINNED, ON_ROUTE, 0, 0]
    assert checks.fixed_week.tolist() == [1, UNPLACED, 3, 0, UNPLACED, UNPLACED]
    # A route's crew that nobody knows: whoever had the check.
    assert checks.fixed_crew.tolist() == [1, UNPLACED, 1, 0, UNPLACED, UNPLACED]
    assert checks.was_week.tolist() == [1, 9, 1, 1, UNPLACED, UNPLACED]
    assert checks.moved_cost.tolist() == [0, POLICY.planning.moved_minutes, 0, 0, 0, 0]
    free = checks.fixed_week == UNPLACED
    assert np.all(checks.first_week[free] >= 2)
    assert draft.pinned_beyond.tolist() == [False, False, False, False, True, False]
    # What falls due within the frozen weeks has its grace after them.
    assert checks.last_week[5] >= 2


def test_a_joint_that_nothing_holds_is_left_out_when_it_is_due_after_the_end() -> None:
    far = {"due_on": MONDAY + timedelta(weeks=WEEKS)}
    assert len(draft_of(joints({}, far)).problem.checks) == 1
    assert len(draft_of(joints({}, far), standing=stands((2, 0, MONDAY, 11))).problem.checks) == 2


def test_why_a_check_has_no_week() -> None:
    hours = np.full((2, WEEKS), 300.0)
    hours[0] = 0.0
    columns = joints(
        {"requires_outage": True},
        {},
        {"family_id": 2, "check_minutes": 301.0},
        {"family_id": 2},
        {"family_id": 2, "access": 4, "due_on": TODAY, "interval_days": 7.0},
    )
    draft = draft_of(columns, hours=hours)
    reasons = unplaced_reasons(draft, np.full(len(draft.joint_id), UNPLACED))
    first = [Unplaced(reasons[np.flatnonzero(draft.joint_id == number)[0]]) for number in range(1, 6)]
    assert first == [Unplaced.NEEDS_OUTAGE, Unplaced.NO_CREW, Unplaced.TOO_LONG, Unplaced.NO_ROOM, Unplaced.NO_LEAD]
    assert not unplaced_reasons(draft, np.zeros(len(draft.joint_id), dtype=np.int64)).any()


def test_every_difference_has_one_row_and_the_nearest_reason() -> None:
    after = MONDAY + timedelta(weeks=9)
    standing = stands((1, 0, after, 11), (2, 0, after, 11), (3, 0, after, 11), (4, 0, after, 99), (6, 0, after, 11))
    columns = joints({}, {"due_on": after + timedelta(days=8)}, {}, {}, {})
    draft = draft_of(columns, standing=standing)
    hours = np.full((2, WEEKS), 300.0)
    found = moves(
        draft, np.array([9, 10, 11, 9, UNPLACED]), np.array([11, 11, 11, 11, 0]), standing,
        Horizon(MONDAY, WEEKS, 2, 13, TODAY), hours,
    )  # fmt: skip
    reasons = {int(joint): Moved(reason) for joint, reason in zip(found["joint_id"], found["reason"], strict=True)}
    assert reasons == {
        2: Moved.DUE_CHANGED,
        3: Moved.FOR_OTHERS,
        4: Moved.CREW_CHANGED,
        5: Moved.NEW,
        6: Moved.NO_LONGER_DUE,
    }
    hours[0, 9] = 200.0
    again = moves(
        draft, np.array([9, 10, 11, 9, UNPLACED]), np.array([11, 11, 11, 11, 0]), standing,
        Horizon(MONDAY, WEEKS, 2, 13, TODAY), hours,
    )  # fmt: skip
    assert Moved.HOURS_CHANGED in [Moved(reason) for reason in again["reason"]]


def test_the_leaks_of_a_delay_are_what_the_delay_time_model_counts() -> None:
    # Leak rates with the check in time and without, summed over the delay in small steps.
    rate, delay, found, years, later = 0.03, 1.3, 0.85, 0.7, 0.4
    steps = (np.arange(200_000) + 0.5) / 200_000 * later
    without = rate * (1 - np.exp(-delay * (years + steps)))
    present = rate * (1 - np.exp(-delay * years)) / delay
    with_check = rate * (1 - np.exp(-delay * steps)) + (1 - found) * present * delay * np.exp(-delay * steps)
    summed = float(np.sum(without - with_check)) * later / len(steps)
    assert float(leaks_of_delay(rate, delay, found, years, later)) == pytest.approx(summed, rel=1e-8)
    # A delay and its way back cancel out, and a short one goes by the yearly rate.
    back = leaks_of_delay(rate, delay, found, years + later, -later)
    assert float(back) == pytest.approx(-summed, rel=1e-8)
    short = float(leaks_of_delay(rate, delay, found, years, 1e-6))
    assert short / 1e-6 == pytest.approx(float(leaks_taken_away_per_year(rate, delay, found, years)), rel=1e-5)
