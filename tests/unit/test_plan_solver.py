"""The planner against the best plan that there is, its bound, what may never be broken, and cases at the edge."""

from dataclasses import replace

import numpy as np
import pytest

from registry.planning.costs import plan_costs
from registry.planning.faults import faults
from registry.planning.problem import UNPLACED, Answer, Problem
from registry.planning.solver import solved
from tests.benchmark.planning_case import planning_case
from tests.unit.plan_cases import least_cost, small_case

SEEDS = range(24)


@pytest.fixture(scope="module")
def small() -> list[tuple[Problem, Answer, float]]:
    return [(case, solved(case), least_cost(case)) for case in map(small_case, SEEDS)]


@pytest.fixture(scope="module")
def medium() -> tuple[Problem, Answer]:
    case = planning_case(4_000, 3, areas=12, scaffolds=24, weeks=26)
    return case, solved(case)


def test_no_plan_of_a_small_case_costs_less_than_the_bound(small: list[tuple[Problem, Answer, float]]) -> None:
    assert all(answer.bound <= least + 1e-6 for _, answer, least in small)


def test_small_cases_are_nearly_always_solved_to_the_best_plan(small: list[tuple[Problem, Answer, float]]) -> None:
    above = [answer.costs.total / max(least, 1e-9) - 1 for _, answer, least in small if least > 0]
    assert min(above) > -1e-9
    assert np.mean(np.array(above) < 1e-9) >= 0.9
    assert max(above) < 0.15


def test_small_plans_break_nothing(small: list[tuple[Problem, Answer, float]]) -> None:
    assert [faults(case, answer.week, answer.crew) for case, answer, _ in small] == [[]] * len(small)


def test_the_costs_told_are_those_of_the_plan(small: list[tuple[Problem, Answer, float]]) -> None:
    for case, answer, _ in small:
        assert plan_costs(case, answer.week, answer.crew) == answer.costs


def test_more_time_lets_no_bound_rise_above_what_less_time_allows(
    small: list[tuple[Problem, Answer, float]],
) -> None:
    for case, _, least in small[:6]:
        more = solved(replace(case, capacity_minutes=case.capacity_minutes * 1.5))
        assert more.bound <= least + 1e-6


def test_a_medium_plan_is_within_half_a_percent_of_its_bound(medium: tuple[Problem, Answer]) -> None:
    case, answer = medium
    assert faults(case, answer.week, answer.crew) == []
    assert 0 <= answer.gap <= 0.005


def test_the_same_problem_has_the_same_plan(medium: tuple[Problem, Answer]) -> None:
    case, answer = medium
    again = solved(case)
    assert np.array_equal(again.week, answer.week)
    assert np.array_equal(again.crew, answer.crew)
    assert again.bound == answer.bound


def test_what_is_fixed_stays_even_beyond_the_hours_and_keeps_the_others_out() -> None:
    case = planning_case(400, 5, areas=3, scaffolds=3, weeks=8)
    count = len(case.checks)
    fixed = np.arange(count) < 60
    nowhere = np.full(count, UNPLACED)
    case = replace(
        case,
        checks=replace(case.checks, fixed_week=np.where(fixed, 2, nowhere), fixed_crew=np.where(fixed, 1, nowhere)),
    )
    answer = solved(case)
    assert np.sum(case.checks.minutes[fixed]) > case.capacity_minutes[1, 2]
    assert np.all(answer.week[fixed] == 2)
    assert np.all(answer.crew[fixed] == 1)
    assert not np.any((answer.week == 2) & (answer.crew == 1) & ~fixed)
    assert faults(case, answer.week, answer.crew) == []


@pytest.mark.parametrize("what", ["no time", "no skill", "no open week", "too long"])
def test_what_can_stand_nowhere_is_left_out_at_its_cost(what: str) -> None:
    case = small_case(2)
    case = {
        "no time": lambda: replace(case, capacity_minutes=case.capacity_minutes * 0),
        "no skill": lambda: replace(case, able=case.able & False),
        "no open week": lambda: replace(case, calendars=case.calendars & False),
        "too long": lambda: replace(case, checks=replace(case.checks, minutes=case.checks.minutes + 100.0)),
    }[what]()
    case = replace(case, checks=replace(case.checks, fixed_week=case.checks.fixed_week * 0 + UNPLACED))
    answer = solved(case)
    assert np.all(answer.week == UNPLACED)
    assert answer.bound == pytest.approx(case.checks.unplaced_cost.sum())
    assert answer.gap == pytest.approx(0.0)


def test_nothing_to_plan_and_nobody_to_do_it_are_plans_too() -> None:
    assert solved(small_case(0, checks=0)).costs.total == 0.0
    case = small_case(2)
    case = replace(case, checks=replace(case.checks, fixed_week=np.full(len(case.checks), UNPLACED)))
    alone = replace(case, capacity_minutes=np.zeros((0, case.weeks)), able=np.zeros((0, 2), dtype=np.bool_))
    assert np.all(solved(alone).week == UNPLACED)


def test_a_fixed_check_without_a_crew_is_refused() -> None:
    case = small_case(2)
    fixed = np.zeros(len(case.checks), dtype=np.int64)
    with pytest.raises(ValueError, match="fixed in a week or with a crew that is not there"):
        solved(replace(case, checks=replace(case.checks, fixed_week=fixed, fixed_crew=fixed + UNPLACED)))


def test_faults_are_found(medium: tuple[Problem, Answer]) -> None:
    case, answer = medium
    week, crew = answer.week.copy(), answer.crew.copy()
    some = int(np.flatnonzero(week != UNPLACED)[0])
    crew[some] = UNPLACED
    assert "a week without a crew" in faults(case, week, crew)[0]
    crew[some], week[some] = 0, case.weeks
    assert any("no such week" in what for what in faults(case, week, crew))
    everybody = np.where(week != UNPLACED, 0, UNPLACED)
    found = " ".join(faults(case, answer.week, everybody))
    assert "cannot do it" in found
    assert "min of work" in found


def test_stopping_is_left_to_whoever_listens() -> None:
    def stop(share: float, what: str) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solved(small_case(0), progress=stop)
