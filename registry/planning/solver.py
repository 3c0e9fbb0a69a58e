"""The plan: week and crew of every check at nearly the least cost, and what no plan can cost less than."""

from collections.abc import Callable

import numpy as np

from registry.planning.bound import Bound, proven_bound
from registry.planning.costs import plan_costs
from registry.planning.crewing import shared_among_crews
from registry.planning.filling import filled_weeks
from registry.planning.keeping import WORTH_CHANGING_SHARE, kept
from registry.planning.mending import Placing, mended
from registry.planning.prices import ceilings, need_prices
from registry.planning.problem import UNPLACED, Answer, Floats, Problem
from registry.planning.waiting import Waiting, waiting

_ATTEMPTS = 3
_WASTE = 0.5
_CLOSE_ENOUGH = 0.0005

Progress = Callable[[float, str], None]


def solved(problem: Problem, *, progress: Progress | None = None) -> Answer:
    """Lay the checks of a problem into weeks, and prove how far from the best that can be.

    Prices of the crews' time are moved until the cheapest plan at them nearly keeps to it, which bounds the cost of any
    plan from below; the visits of that plan are filled within the hours, its weeks are shared among the crews, and
    single checks are moved as long as that saves something. Where there was a plan before, that one, mended, stands
    unless the new one is cheaper by `WORTH_CHANGING_SHARE`. The same problem has the same answer; time is not looked
    at. `progress` is told the share that is done and what is being done, and may raise to stop.
    """
    tell = progress or _untold
    checks = problem.checks
    tell(0.0, "laying out the checks")
    free = waiting(problem)
    week, crew = checks.fixed_week.astype(np.int64), checks.fixed_crew.astype(np.int64)
    worth = np.zeros(problem.capacity_minutes.shape)
    if not len(free):
        return Answer(week, crew, plan_costs(problem, week, crew), free.settled_cost, worth)
    bound = proven_bound(free, lambda share: tell(0.05 + 0.65 * share, "pricing the crews' time"))
    ceiling = ceilings(free)
    placing = _placed(free, bound, ceiling, lambda share: tell(0.7 + 0.25 * share, "filling the weeks"))
    week[free.which], crew[free.which] = placing.week, placing.crew
    costs = plan_costs(problem, week, crew)
    if np.any(free.was_week != UNPLACED):
        tell(0.97, "holding it against the plan before")
        before = kept(free, checks.was_crew[free.which])
        was_week, was_crew = week.copy(), crew.copy()
        was_week[free.which], was_crew[free.which] = before.week, before.crew
        as_before = plan_costs(problem, was_week, was_crew)
        if as_before.total <= costs.total * (1.0 + WORTH_CHANGING_SHARE):
            week, crew, costs = was_week, was_crew, as_before
    tell(1.0, "done")
    return Answer(week, crew, costs, bound.value, _worth(free, bound.prices, ceiling))


def _placed(free: Waiting, bound: Bound, ceiling: Floats, tell: Callable[[float], None]) -> Placing:
    """The best of some fillings: whole checks do not fill a week to the last minute, so the next counts on less."""
    capacity = free.capacity
    best: Placing | None = None
    for attempt in range(_ATTEMPTS):
        tell(attempt / _ATTEMPTS)
        chosen = filled_weeks(free, bound.visited, bound.prices, ceiling, capacity)
        crew, left = shared_among_crews(free, chosen)
        placing = mended(free, chosen, crew, left)
        if best is None or placing.cost(free) < best.cost(free):
            best = placing
        homeless = (chosen != UNPLACED) & (crew == UNPLACED)
        if not homeless.any() or free.settled_cost + best.cost(free) <= bound.value * (1.0 + _CLOSE_ENOUGH):
            break
        short = np.zeros(free.weeks, dtype=np.bool_)
        short[chosen[homeless]] = True
        capacity = np.where(short, np.minimum(capacity, free.capacity - left * _WASTE), capacity)
    assert best is not None
    return best


def _untold(share: float, what: str) -> None:
    """Nobody wants to know."""


def _worth(free: Waiting, prices: Floats, ceiling: Floats) -> Floats:
    """The prices, and for a crew that has no time in a week what the dearest work that it could do is priced at."""
    by_need = need_prices(free, prices, ceiling)
    dearest = np.where(free.able[:, :, None], by_need[None], 0.0).max(axis=1, initial=0.0)
    return np.where(free.capacity > 0, prices, dearest)
