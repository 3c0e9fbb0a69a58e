"""Make a plan, and read it back."""

from collections.abc import Callable
from datetime import date

from registry.db import Connection
from registry.planning import store
from registry.planning.changes import Bundle, PlanMove
from registry.planning.model import (
    NotPlanned,
    Plan,
    PlannedCheck,
    PlanRequest,
    PlanSummary,
    UnplacedCheck,
)
from registry.planning.reasons import Moved, Unplaced

Progress = Callable[[float, str], None]
"""Told the share that is done, from 0 to 1, and in words what is being done; may raise to stop."""


def make_plan(
    connection: Connection, wanted: PlanRequest, today: date, made_by: str, *, progress: Progress | None = None
) -> PlanSummary:
    """Give every check that falls due before the horizon ends a week and a crew, or the reason why it has none.

    Raises PlanUnfit, NotScored, CrewsMissing, or PlanBusy where another plan is being made.
    """
    raise NotImplementedError


def current_plan(connection: Connection) -> Plan:
    """The newest plan. Raises NotPlanned."""
    plan = store.read_current_plan(connection)
    if plan is None:
        raise NotPlanned("this site has no plan yet: run `jointwright plan`")
    return plan


def summary(connection: Connection, plan: Plan) -> PlanSummary:
    """A plan in numbers, crew by crew and week by week."""
    raise NotImplementedError


def checks_of_week(
    connection: Connection,
    week_starting_on: date,
    crew_id: int | None = None,
    *,
    area_id: int | None = None,
    scaffold: int | None = None,
    after: tuple[date, int, int] | None = None,
    limit: int | None = 200,
) -> list[PlannedCheck]:
    """A page of the checks of one week of the newest plan, earliest due first: of all crews, or of one, or a bundle's.

    `after` is due date, joint and occurrence of the last one of the page before. Raises NotPlanned or WeekUnknown.
    """
    raise NotImplementedError


def list_bundles(connection: Connection, plan: Plan, week_starting_on: date | None = None) -> list[Bundle]:
    """What can be moved as one piece: of one week, or of the whole plan; overdue first."""
    raise NotImplementedError


def list_moves(
    connection: Connection,
    plan: Plan,
    *,
    reason: Moved | None = None,
    after: int | None = None,
    limit: int | None = 200,
) -> list[PlanMove]:
    """A page of what stands elsewhere than in the plan before, and of what people moved since."""
    raise NotImplementedError


def list_unplaced(
    connection: Connection,
    plan: Plan,
    *,
    reason: Unplaced | None = None,
    after: tuple[date, int, int] | None = None,
    limit: int | None = 200,
) -> list[UnplacedCheck]:
    """A page of the checks that stand in no week, earliest due first."""
    raise NotImplementedError
