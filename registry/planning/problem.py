"""What a plan is to decide, and what it decided: plain columns, one row a check."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

UNPLACED = -1
"""Week and crew of a check that is not placed, and of one that stands nowhere yet."""


@dataclass(frozen=True)
class Checks:
    """The checks to place, n of them; weeks count from the first of the horizon, costs are in crew minutes.

    `due_week` may be negative (overdue) or beyond the horizon. A check may stand in a week from `first_week` to
    `last_week`, both within, in which `calendar` (a row of `Problem.calendars`) is open; `last_week` before
    `first_week` means nowhere. `place` is where one visit of a week serves all its checks: an area, or one scaffold in
    it. `need` is what a crew must be able to do. `late_cost` and `early_cost` are for each week after or before the
    week of the due date, `unplaced_cost` is for leaving it out. `was_week` and `was_crew` is where it stood in the plan
    before (UNPLACED: nowhere), `moved_cost` the cost of taking it out of that week. `fixed_week` and `fixed_crew` are
    decided already (UNPLACED: free); a fixed check is placed there whatever the rest says.
    """

    due_week: Integers
    first_week: Integers
    last_week: Integers
    calendar: Integers
    place: Integers
    need: Integers
    minutes: Floats
    late_cost: Floats
    early_cost: Floats
    unplaced_cost: Floats
    was_week: Integers
    was_crew: Integers
    moved_cost: Floats
    fixed_week: Integers
    fixed_crew: Integers

    def __len__(self) -> int:
        return len(self.due_week)


@dataclass(frozen=True)
class Problem:
    """Checks, and the crews' weeks to place them in.

    `capacity_minutes` (crews, weeks) is time at the joints; `able` (crews, needs) says which crew can do what;
    `calendars` (k, weeks) says which weeks are open, row 0 all of them; `visit_cost` (places,) is what it costs, in
    crew minutes, to go to a place in a week at all.
    """

    checks: Checks
    capacity_minutes: Floats
    able: Flags
    calendars: Flags
    visit_cost: Floats

    @property
    def weeks(self) -> int:
        """Length of the horizon."""
        return self.capacity_minutes.shape[1]

    @property
    def crews(self) -> int:
        """How many crews there are."""
        return self.capacity_minutes.shape[0]


@dataclass(frozen=True)
class Costs:
    """What a plan costs, in crew minutes, by cause."""

    late: float
    early: float
    visits: float
    moved: float
    unplaced: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.late + self.early + self.visits + self.moved + self.unplaced


@dataclass(frozen=True)
class Answer:
    """Week and crew of every check (UNPLACED: none), what that costs, and what no plan can cost less than.

    `worth` (crews, weeks) is what one minute more of a crew in a week would save at most, in minutes of cost: the price
    of its hours in the bound.
    """

    week: Integers
    crew: Integers
    costs: Costs
    bound: float
    worth: Floats

    @property
    def gap(self) -> float:
        """How much dearer than the bound the plan is, as a share of the bound."""
        return (self.costs.total - self.bound) / self.bound if self.bound > 0 else float(self.costs.total > 0)
