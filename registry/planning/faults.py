"""Whether a plan keeps to its problem: looked at check by check, apart from how the plan was made."""

import numpy as np

from registry.planning.problem import UNPLACED, Integers, Problem

_ROUNDING_MINUTES = 1e-6


def faults(problem: Problem, week: Integers, crew: Integers) -> list[str]:
    """What a plan breaks, a sentence each; none: it may be worked as it stands.

    Fixed checks are held to their place alone. A crew's week must hold its checks, unless only fixed ones stand there.
    """
    checks = problem.checks
    fixed = checks.fixed_week != UNPLACED
    placed = week != UNPLACED
    found: list[str] = []

    def told(faulty: Integers, what: str) -> None:
        if len(faulty):
            found.append(f"{len(faulty)} checks, the first is {faulty[0]}: {what}")

    told(np.flatnonzero((crew != UNPLACED) != placed), "a week without a crew, or a crew without a week")
    told(np.flatnonzero(fixed & ((week != checks.fixed_week) | (crew != checks.fixed_crew))), "fixed, and elsewhere")
    beyond = placed & ((week < 0) | (week >= problem.weeks) | (crew < 0) | (crew >= problem.crews))
    told(np.flatnonzero(beyond), "no such week or crew")
    free = np.flatnonzero(placed & ~fixed & ~beyond)
    told(free[(week[free] < checks.first_week[free]) | (week[free] > checks.last_week[free])], "outside its weeks")
    told(free[~problem.calendars[checks.calendar[free], week[free]]], "in a week that is not open to it")
    told(free[~problem.able[crew[free], checks.need[free]]], "with a crew that cannot do it")

    there = placed & ~beyond
    used = np.zeros((problem.crews, problem.weeks))
    np.add.at(used, (crew[there], week[there]), checks.minutes[there])
    others = np.zeros((problem.crews, problem.weeks), dtype=np.bool_)
    others[crew[free], week[free]] = True
    for number, at in np.argwhere(others & (used > problem.capacity_minutes + _ROUNDING_MINUTES)).tolist():
        time, work = problem.capacity_minutes[number, at], used[number, at]
        found.append(f"crew {number} has {time:g} min in week {at}, and {work:g} min of work")
    return found
