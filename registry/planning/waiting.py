"""The checks that are still to be placed, laid out for the loops over them, and what the fixed ones leave them."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from registry.planning.costs import check_costs
from registry.planning.problem import UNPLACED, Checks, Flags, Floats, Integers, Problem


class FreeChecks(NamedTuple):
    """The columns of the free checks, one row a check, as the compiled loops take them."""

    first_week: Integers
    last_week: Integers
    calendar: Integers
    place: Integers
    need: Integers
    due_week: Integers
    was_week: Integers
    minutes: Floats
    late_cost: Floats
    early_cost: Floats
    moved_cost: Floats
    unplaced_cost: Floats


@dataclass(frozen=True)
class Waiting:
    """Free checks that may stand somewhere, in order of place; those of place p are `begins[p]` to `begins[p + 1]`.

    `which` is its number in the problem, `calendar` is a row of `open_weeks`, in which at least one able crew has time
    for it. `capacity` is what the fixed checks leave, `visit_cost` (places, weeks) is 0 where they are visited
    anyway. `settled_cost` is that of the fixed checks, of their visits, and of the checks that may stand nowhere.
    """

    which: Integers
    begins: Integers
    first_week: Integers
    last_week: Integers
    calendar: Integers
    place: Integers
    need: Integers
    due_week: Integers
    was_week: Integers
    minutes: Floats
    late_cost: Floats
    early_cost: Floats
    moved_cost: Floats
    unplaced_cost: Floats
    open_weeks: Flags
    able: Flags
    capacity: Floats
    visit_cost: Floats
    settled_cost: float

    def __len__(self) -> int:
        return len(self.which)

    @cached_property
    def columns(self) -> FreeChecks:
        """The checks alone."""
        return FreeChecks(*(getattr(self, name) for name in FreeChecks._fields))

    @property
    def weeks(self) -> int:
        """Length of the horizon."""
        return self.capacity.shape[1]

    @property
    def places(self) -> int:
        """How many places there are."""
        return len(self.visit_cost)

    @property
    def needs(self) -> int:
        """How many needs there are."""
        return self.able.shape[1]

    def costs(self, checks: Integers, week: Integers) -> Floats:
        """Cost of each of `checks` in a week, without the visit [min]; UNPLACED: of leaving it out."""
        after = week - self.due_week[checks]
        placed = np.where(after > 0, self.late_cost[checks] * after, -self.early_cost[checks] * after)
        placed = placed + np.where(week != self.was_week[checks], self.moved_cost[checks], 0.0)
        return np.where(week == UNPLACED, self.unplaced_cost[checks], placed)

    def pairs(self, checks: Integers, visited: Flags | None = None) -> tuple[Integers, Integers]:
        """Every week in which each of `checks` may stand, and in which its place is visited, if that is given.

        Returns positions in `checks`, in order, and weeks.
        """
        first = self.first_week[checks]
        width = self.last_week[checks] - first + 1
        at = np.repeat(np.arange(len(checks)), width)
        week = np.arange(len(at)) - np.repeat(np.cumsum(width) - width - first, width)
        kept = self.open_weeks[self.calendar[checks[at]], week]
        if visited is not None:
            kept &= visited[self.place[checks[at]], week]
        return at[kept], week[kept]


def waiting(problem: Problem) -> Waiting:
    """Lay out the free checks of a problem."""
    checks = problem.checks
    weeks, crews = problem.weeks, problem.crews
    fixed = np.flatnonzero(checks.fixed_week != UNPLACED)
    week, crew = checks.fixed_week[fixed], checks.fixed_crew[fixed]
    if np.any((week < 0) | (week >= weeks) | (crew < 0) | (crew >= crews)):
        raise ValueError("a check is fixed in a week or with a crew that is not there")
    used = np.zeros((crews, weeks))
    np.add.at(used, (crew, week), checks.minutes[fixed])
    capacity = np.maximum(problem.capacity_minutes - used, 0.0)
    visit_cost = np.repeat(problem.visit_cost[:, None].astype(np.float64), weeks, axis=1)
    visited = np.zeros(visit_cost.shape, dtype=np.bool_)
    visited[checks.place[fixed], week] = True
    settled = float(check_costs(problem, fixed, week).sum() + visit_cost[visited].sum())
    visit_cost[visited] = 0.0

    free = np.flatnonzero(checks.fixed_week == UNPLACED)
    first = np.maximum(checks.first_week[free], 0)
    last = np.minimum(checks.last_week[free], weeks - 1)
    open_weeks, calendar = _open_weeks(problem, capacity, free)
    opened = np.concatenate((np.zeros((len(open_weeks), 1), dtype=np.int64), np.cumsum(open_weeks, axis=1)), axis=1)
    last = np.maximum(last, first - 1)
    somewhere = (first < weeks) & (last >= first)
    end = np.minimum(last + 1, weeks)
    somewhere &= opened[calendar, end] > opened[calendar, np.minimum(first, end)]
    settled += float(checks.unplaced_cost[free[~somewhere]].sum())
    free, first, last, calendar = free[somewhere], first[somewhere], last[somewhere], calendar[somewhere]

    order = np.argsort(checks.place[free], kind="stable")
    free = free[order]
    was = checks.was_week[free]
    return Waiting(
        which=free,
        begins=np.searchsorted(checks.place[free], np.arange(len(problem.visit_cost) + 1)),
        first_week=first[order],
        last_week=last[order],
        calendar=calendar[order],
        place=_whole(checks.place[free]),
        need=_whole(checks.need[free]),
        due_week=_whole(checks.due_week[free]),
        was_week=_whole(was),
        minutes=_real(checks.minutes[free]),
        late_cost=_real(checks.late_cost[free]),
        early_cost=_real(checks.early_cost[free]),
        moved_cost=np.where(was == UNPLACED, 0.0, checks.moved_cost[free]),
        unplaced_cost=_real(checks.unplaced_cost[free]),
        open_weeks=open_weeks,
        able=np.ascontiguousarray(problem.able, dtype=np.bool_),
        capacity=capacity,
        visit_cost=visit_cost,
        settled_cost=settled,
    )


def _open_weeks(problem: Problem, capacity: Floats, free: Integers) -> tuple[Flags, Integers]:
    """Calendars in which no week is open that has no able crew with time for a check; and which one each check has."""
    checks: Checks = problem.checks
    if not len(free) or not problem.crews or not problem.weeks:
        return np.zeros((1, problem.weeks), dtype=np.bool_), np.zeros(len(free), dtype=np.int64)
    most = np.where(problem.able[:, :, None], capacity[:, None, :], 0.0).max(axis=0)
    # Checks that fit into the same of their need's weeks are alike: how long they are counts in steps of those weeks.
    step = np.empty(len(free), dtype=np.int64)
    levels = [np.unique(row) for row in most]
    for need, row in enumerate(levels):
        of_need = checks.need[free] == need
        step[of_need] = np.searchsorted(row, checks.minutes[free][of_need], side="left")
    steps = problem.weeks + 1
    keys = (checks.calendar[free] * len(levels) + checks.need[free]) * steps + step
    kinds, calendar = np.unique(keys, return_inverse=True)
    rows = np.zeros((len(kinds), problem.weeks), dtype=np.bool_)
    for number, kind in enumerate(kinds.tolist()):
        (of, need), at = divmod(kind // steps, len(levels)), kind % steps
        if at < len(levels[need]) and levels[need][-1] > 0:
            least = max(levels[need][at], np.nextafter(0.0, 1.0))
            rows[number] = problem.calendars[of] & (most[need] >= least)
    return rows, calendar.reshape(-1)


def _whole(values: Integers) -> Integers:
    return np.ascontiguousarray(values, dtype=np.int64)


def _real(values: Floats) -> Floats:
    return np.ascontiguousarray(values, dtype=np.float64)
