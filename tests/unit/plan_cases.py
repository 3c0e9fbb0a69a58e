"""Small plans to solve, and the least that any plan of one costs, by trying all of them."""

import numpy as np

from registry.planning.costs import check_costs
from registry.planning.problem import UNPLACED, Checks, Integers, Problem


def small_case(seed: int, *, checks: int = 6, places: int = 2, weeks: int = 4, crews: int = 2) -> Problem:
    """A plan with whatever may come up: overdue and fixed checks, closed weeks, skills, short weeks, a plan before."""
    rng = np.random.default_rng(seed)
    first = rng.integers(0, weeks, checks)
    fixed = rng.random(checks) < 0.1
    was = np.where(rng.random(checks) < 0.3, rng.integers(0, weeks, checks), UNPLACED)
    late = rng.choice([0.5, 2.0, 20.0], checks)
    minutes = rng.choice([10.0, 15.5, 30.0, 90.0], checks, p=[0.4, 0.3, 0.2, 0.1])
    calendars = np.ones((2, weeks), dtype=np.bool_)
    calendars[1] = rng.random(weeks) < 0.5
    able = rng.random((crews, 2)) < 0.7
    return Problem(
        Checks(
            due_week=rng.integers(0, weeks + 2, checks),
            first_week=first,
            last_week=np.minimum(first + rng.integers(-1, weeks, checks), weeks - 1),
            calendar=np.where(rng.random(checks) < 0.2, 1, 0),
            place=rng.integers(0, places, checks),
            need=rng.integers(0, 2, checks),
            minutes=minutes,
            late_cost=late,
            early_cost=rng.uniform(0.1, 2.0, checks),
            unplaced_cost=late * (weeks + 3) + 10 * minutes,
            was_week=was,
            was_crew=np.where(was == UNPLACED, UNPLACED, rng.integers(0, crews, checks)),
            moved_cost=np.full(checks, 5.0),
            fixed_week=np.where(fixed, rng.integers(0, weeks, checks), UNPLACED),
            fixed_crew=np.where(fixed, rng.integers(0, crews, checks), UNPLACED),
        ),
        rng.choice([0.0, 20.0, 45.0, 80.0], (crews, weeks), p=[0.1, 0.3, 0.3, 0.3]),
        able,
        calendars,
        np.array([5.0, 40.0])[:places],
    )


def least_cost(problem: Problem) -> float:
    """The cost of the best plan there is: every way to place the checks one after the other, the hopeless ones cut."""
    checks, n = problem.checks, len(problem.checks)
    left = problem.capacity_minutes.copy()
    visited: dict[tuple[int, int], int] = {}
    settled = 0.0
    for i in np.flatnonzero(checks.fixed_week != UNPLACED).tolist():
        week = int(checks.fixed_week[i])
        left[checks.fixed_crew[i], week] -= checks.minutes[i]
        visited[int(checks.place[i]), week] = 1
        settled += float(check_costs(problem, np.array([i]), np.array([week]))[0])
    settled += sum(float(problem.visit_cost[place]) for place, _ in visited)
    free = [i for i in range(n) if checks.fixed_week[i] == UNPLACED]
    options = [_options(problem, i) for i in free]
    rest = np.append(np.cumsum([min(cost for cost, _ in some) for some in options][::-1])[::-1], 0.0)
    best = float("inf")

    def tried(at: int, cost: float) -> None:
        nonlocal best
        if cost + rest[at] >= best:
            return
        if at == len(free):
            best = cost
            return
        i = free[at]
        place, need, minutes = int(checks.place[i]), int(checks.need[i]), float(checks.minutes[i])
        for own, week in options[at]:
            if week == UNPLACED:
                tried(at + 1, cost + own)
                continue
            key = (place, week)
            opens = 0.0 if visited.get(key) else float(problem.visit_cost[place])
            for crew in np.flatnonzero(problem.able[:, need] & (left[:, week] >= minutes)).tolist():
                left[crew, week] -= minutes
                visited[key] = visited.get(key, 0) + 1
                tried(at + 1, cost + own + opens)
                visited[key] -= 1
                left[crew, week] += minutes

    tried(0, settled)
    return best


def _options(problem: Problem, check: int) -> list[tuple[float, int]]:
    checks = problem.checks
    weeks: Integers = np.arange(max(checks.first_week[check], 0), min(checks.last_week[check], problem.weeks - 1) + 1)
    weeks = np.append(weeks[problem.calendars[checks.calendar[check], weeks]], UNPLACED)
    costs = check_costs(problem, np.full(len(weeks), check), weeks)
    return sorted(zip(costs.tolist(), weeks.tolist(), strict=True))
