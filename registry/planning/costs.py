"""What a check costs in a week, and what a whole plan costs, in crew minutes."""

import numpy as np

from registry.planning.problem import UNPLACED, Checks, Costs, Floats, Integers, Problem


def check_costs(problem: Problem, which: Integers, week: Integers) -> Floats:
    """Cost of each of the checks `which` in its week, without the visit [min]; UNPLACED: of leaving it out."""
    checks = problem.checks
    late, early, moved, unplaced = _parts(checks, which, week)
    return late + early + moved + unplaced


def plan_costs(problem: Problem, week: Integers, crew: Integers) -> Costs:
    """What a plan costs, by cause [min]: `week` and `crew` of every check, UNPLACED for one that is left out."""
    late, early, moved, unplaced = _parts(problem.checks, np.arange(len(week)), np.where(crew < 0, UNPLACED, week))
    placed = (week >= 0) & (crew >= 0)
    visited = np.unique(problem.checks.place[placed] * max(problem.weeks, 1) + week[placed])
    return Costs(
        late=float(late.sum()),
        early=float(early.sum()),
        visits=float(problem.visit_cost[visited // max(problem.weeks, 1)].sum()),
        moved=float(moved.sum()),
        unplaced=float(unplaced.sum()),
    )


def _parts(checks: Checks, which: Integers, week: Integers) -> tuple[Floats, Floats, Floats, Floats]:
    placed = week != UNPLACED
    after = np.where(placed, week - checks.due_week[which], 0)
    was = checks.was_week[which]
    return (
        checks.late_cost[which] * np.maximum(after, 0),
        checks.early_cost[which] * np.maximum(-after, 0),
        np.where(placed & (was != UNPLACED) & (was != week), checks.moved_cost[which], 0.0),
        np.where(placed, 0.0, checks.unplaced_cost[which]),
    )
