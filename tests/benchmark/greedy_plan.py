"""The plan of somebody who goes by due date alone: what the planner is held against."""

import numpy as np

from registry.planning.problem import UNPLACED, Integers, Problem


def greedy_plan(problem: Problem) -> tuple[Integers, Integers]:
    """Week and crew of every check, earliest due first and riskiest first among equals.

    Each goes into the week it falls due; if no able crew has time then, into the nearest week before it, and else into
    the nearest one after it, within its own weeks. Among able crews it goes to the one with most time left. It sees
    hours, windows, calendars and skills as the planner does, but no visits.
    """
    checks = problem.checks
    week, crew = checks.fixed_week.copy(), checks.fixed_crew.copy()
    left = problem.capacity_minutes.copy()
    fixed = np.flatnonzero(week != UNPLACED)
    np.subtract.at(left, (crew[fixed], week[fixed]), checks.minutes[fixed])
    able = [np.flatnonzero(problem.able[:, need]) for need in range(problem.able.shape[1])]
    for i in np.lexsort((-checks.late_cost, checks.due_week)).tolist():
        if week[i] != UNPLACED:
            continue
        first, last = max(int(checks.first_week[i]), 0), min(int(checks.last_week[i]), problem.weeks - 1)
        due = min(max(int(checks.due_week[i]), first), last)
        who, minutes, opened = able[checks.need[i]], checks.minutes[i], problem.calendars[checks.calendar[i]]
        for at in (*range(due, first - 1, -1), *range(due + 1, last + 1)):
            if not opened[at] or not len(who):
                continue
            best = who[left[who, at].argmax()]
            if left[best, at] >= minutes:
                left[best, at] -= minutes
                week[i], crew[i] = at, best
                break
    return week, crew
