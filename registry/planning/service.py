"""Make a plan, and read it back."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from time import perf_counter
from typing import Any

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.crews.calendar import capacity_minutes
from registry.crews.model import Crew
from registry.crews.service import list_absences, list_crews, list_outages
from registry.db import Connection
from registry.errors import Issue
from registry.intervals.service import current_run
from registry.planning import store
from registry.planning.changes import Bundle, PlanMove
from registry.planning.comparison import NO_CREW, NO_WEEK, moves
from registry.planning.drafting import Draft, Horizon, Standing, drafted, unplaced_reasons
from registry.planning.model import (
    LONGEST_HORIZON_WEEKS,
    CrewsMissing,
    NewPlan,
    NotPlanned,
    Plan,
    PlanBusy,
    PlannedCheck,
    PlanRequest,
    PlanSummary,
    PlanUnfit,
    UnplacedCheck,
    WeekUnknown,
)
from registry.planning.problem import UNPLACED, Answer, Floats, Integers
from registry.planning.reasons import Moved, Unplaced
from registry.planning.windows import DAYS_OF_A_WEEK
from registry.policy.model import PlanningPolicy
from registry.policy.service import current_policy

Progress = Callable[[float, str], None]
"""Told the share that is done, from 0 to 1, and in words what is being done; may raise to stop."""

# Of the whole, as it goes with a plant of 100,000 joints.
_READ, _SOLVED = 0.1, 0.85


def make_plan(
    connection: Connection, wanted: PlanRequest, today: date, made_by: str, *, progress: Progress | None = None
) -> PlanSummary:
    """Give every check that falls due before the horizon ends a week and a crew, or the reason why it has none.

    What stands in the frozen weeks of the plan before stays as it is, and so does what a person put somewhere or what
    is on a route of today or later. What differs from the plan before is kept as moves, each with its reason.
    Raises PlanUnfit, NotScored, CrewsMissing, or PlanBusy where somebody makes or changes the plan just now.
    """
    # Here, not above: its compiler takes a second that nobody who only reads a plan has to wait for.
    from registry.planning.solver import solved

    tell = progress or _say_nothing
    policy = current_policy(connection)
    horizon = horizon_of(wanted, policy.planning, today)
    take_planning_lock(connection)
    run = current_run(connection)
    crews = list_crews(connection)
    if not crews:
        raise CrewsMissing("a plan needs a crew with hours: add one with `jointwright crew add`")
    tell(0.0, "reading joints, crews and the plan before")
    store.drop_spent_pins(connection, today - timedelta(days=today.weekday()))
    standing = _standing(connection, today)
    before_on = horizon.starts_on + timedelta(weeks=horizon.weeks)
    joints = store.read_joint_columns(connection, run.score_run_id, before_on, _perhaps_held(standing, horizon))
    hours = capacity_minutes(crews, list_absences(connection), horizon.starts_on, horizon.weeks, today=horizon.today)
    outages = list_outages(connection)
    draft = drafted(joints, store.list_family_codes(connection), crews, hours, outages, standing, policy, horizon)
    tell(_READ, f"placing {len(draft.problem.checks):,} checks")
    began = perf_counter()
    answer = solved(draft.problem, progress=_within(tell))
    seconds = perf_counter() - began
    reasons = unplaced_reasons(draft, answer.week)
    # What no plan can place would make any plan look good: it is told by its reasons, and costs nothing.
    hopeless = float(draft.problem.checks.unplaced_cost[(reasons > 0) & (reasons != Unplaced.NO_ROOM)].sum())
    tell(_SOLVED, "writing the plan")
    plan = store.add_plan(
        connection,
        NewPlan(
            score_run_id=run.score_run_id,
            policy_version=policy.version,
            starts_on=horizon.starts_on,
            weeks=horizon.weeks,
            frozen_weeks=horizon.frozen_weeks,
            planned_weeks=horizon.planned_weeks,
            late_minutes=answer.costs.late,
            early_minutes=answer.costs.early,
            visit_minutes=answer.costs.visits,
            moved_minutes=answer.costs.moved,
            unplaced_minutes=max(answer.costs.unplaced - hopeless, 0.0),
            bound_minutes=max(answer.bound - hopeless, 0.0),
            solving_seconds=seconds,
            made_by=" ".join(made_by.split()) or "nobody named",
        ),
    )
    _write(connection, plan, draft, answer, reasons, crews, standing, horizon)
    tell(1.0, "done")
    return summary(connection, plan)


def horizon_of(wanted: PlanRequest, policy: PlanningPolicy, today: date) -> Horizon:
    """The weeks that a plan is asked for, the policy's where it is not said. Raises PlanUnfit with every fault."""
    weeks = wanted.weeks
    most = max(weeks - 1, 0)
    frozen = min(policy.frozen_weeks, most) if wanted.frozen_weeks is None else wanted.frozen_weeks
    planned = max(min(policy.planned_weeks, weeks), frozen) if wanted.planned_weeks is None else wanted.planned_weeks
    this_week = today - timedelta(days=today.weekday())
    faults = [
        Issue(None, column, str(value), reason)
        for column, value, reason, faulty in (
            ("starts_on", wanted.starts_on, "is no Monday", wanted.starts_on.isoweekday() != 1),
            (
                "starts_on",
                wanted.starts_on,
                f"lies before this week, {this_week}",
                wanted.starts_on < this_week,
            ),
            ("weeks", weeks, f"is not from 1 to {LONGEST_HORIZON_WEEKS}", not 1 <= weeks <= LONGEST_HORIZON_WEEKS),
            ("frozen_weeks", frozen, f"is not from 0 to {most}: one week must be free", not 0 <= frozen <= most),
            (
                "planned_weeks",
                planned,
                f"is not from the frozen weeks ({frozen}) to {weeks}",
                not frozen <= planned <= weeks,
            ),
        )
        if faulty
    ]
    if faults:
        raise PlanUnfit("the plan was refused", faults)
    return Horizon(wanted.starts_on, weeks, frozen, planned, today)


def take_planning_lock(connection: Connection) -> None:
    """Be the only one who makes or changes the plan until the transaction ends. Raises PlanBusy."""
    if not store.try_planning_lock(connection):
        raise PlanBusy("somebody makes or changes the plan just now: try again when that is done")


def current_plan(connection: Connection) -> Plan:
    """The newest plan. Raises NotPlanned."""
    plan = store.read_current_plan(connection)
    if plan is None:
        raise NotPlanned("this site has no plan yet: run `jointwright plan`")
    return plan


def summary(connection: Connection, plan: Plan) -> PlanSummary:
    """A plan in numbers, crew by crew and week by week."""
    return PlanSummary(
        plan,
        tuple(store.list_crew_weeks(connection, plan)),
        tuple(store.count_unplaced(connection, plan.plan_run_id)),
        tuple(store.count_moves(connection, plan.plan_run_id)),
    )


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
    plan = current_plan(connection)
    refuse_unknown_week(plan, week_starting_on)
    return store.list_checks_of_week(
        connection,
        plan,
        week_starting_on,
        crew_id=crew_id,
        area_id=area_id,
        scaffold=scaffold,
        after=after,
        limit=limit,
    )


def whole_plan(connection: Connection, plan: Plan) -> Iterator[PlannedCheck]:
    """Every check of a plan that has a week, week by week."""
    for week in range(plan.weeks):
        yield from store.list_checks_of_week(connection, plan, plan.starts_on + timedelta(weeks=week), limit=None)


def list_bundles(connection: Connection, plan: Plan, week_starting_on: date | None = None) -> list[Bundle]:
    """What can be moved as one piece: of one week, or of the whole plan; by week and crew, earliest due first.

    Raises WeekUnknown.
    """
    if week_starting_on is not None:
        refuse_unknown_week(plan, week_starting_on)
    return store.list_bundles(connection, plan, week_starting_on)


def list_moves(
    connection: Connection,
    plan: Plan,
    *,
    reason: Moved | None = None,
    after: int | None = None,
    limit: int | None = 200,
) -> list[PlanMove]:
    """A page of what stands elsewhere than in the plan before, and of what people moved since."""
    return store.list_moves(connection, plan.plan_run_id, reason=reason, after=after, limit=limit)


def list_unplaced(
    connection: Connection,
    plan: Plan,
    *,
    reason: Unplaced | None = None,
    after: tuple[date, int, int] | None = None,
    limit: int | None = 200,
) -> list[UnplacedCheck]:
    """A page of the checks that stand in no week, earliest due first."""
    return store.list_unplaced(connection, plan.plan_run_id, reason=reason, after=after, limit=limit)


def refuse_unknown_week(plan: Plan, week_starting_on: date) -> None:
    """Raises WeekUnknown where no week of a plan begins on a day."""
    if not plan.has_week(week_starting_on):
        raise WeekUnknown(
            f"the plan has no week that begins on {week_starting_on}: it has {plan.weeks} from {plan.starts_on}"
        )


def _standing(connection: Connection, today: date) -> Standing:
    plan = store.read_current_plan(connection)
    # An empty selection of the same columns, where there is no plan before.
    before = store.read_check_columns(connection, plan)
    routes = [(joint, day, crew or NO_CREW) for joint, day, crew in store.list_route_joints(connection, today)]
    return Standing(
        plan,
        before,
        _columns(("joint_id", "week_starting_on", "crew_id"), store.list_pins(connection)),
        _columns(("joint_id", "walk_on", "crew_id"), routes),
        _columns(("joint_id", "until_on"), sorted(store.list_deferred_until(connection, today))),
    )


def _columns(names: tuple[str, ...], rows: Iterable[tuple[Any, ...]]) -> Columns:
    rows = list(rows)
    return {
        name: np.array([row[at] for row in rows], dtype="datetime64[D]" if name.endswith("_on") else np.int64)
        for at, name in enumerate(names)
    }


def _perhaps_held(standing: Standing, horizon: Horizon) -> list[int]:
    """The joints of which something may stay where it is, however late they fall due."""
    before = standing.before
    day = horizon.day(before["week_starting_on"])
    frozen = (day >= 0) & (day < DAYS_OF_A_WEEK * horizon.frozen_weeks)
    parts = (before["joint_id"][frozen], standing.pins["joint_id"], standing.routes["joint_id"])
    return np.unique(np.concatenate(parts)).tolist()


def _write(
    connection: Connection,
    plan: Plan,
    draft: Draft,
    answer: Answer,
    reasons: Integers,
    crews: list[Crew],
    standing: Standing,
    horizon: Horizon,
) -> None:
    checks = draft.problem.checks
    numbers = np.array([crew.crew_id for crew in crews], dtype=np.int64)
    placed = answer.week != UNPLACED
    crew_id = np.where(placed, numbers[np.maximum(answer.crew, 0)], NO_CREW)
    store.add_planned_checks(
        connection,
        plan.plan_run_id,
        {
            "joint_id": draft.joint_id,
            "occurrence": draft.occurrence,
            "week_starting_on": np.where(placed, horizon.dates(DAYS_OF_A_WEEK * answer.week), NO_WEEK),
            "crew_id": crew_id,
            "due_on": horizon.dates(draft.due_day),
            "latest_on": horizon.dates(draft.windows.latest_day),
            "minutes": checks.minutes,
            "area_id": draft.area_id,
            "scaffold": draft.scaffold,
            "late_cost_per_week": checks.late_cost,
            "early_cost_per_week": checks.early_cost,
            "unplaced_reason": reasons,
        },
    )
    hours, mondays = (
        draft.problem.capacity_minutes,
        [horizon.starts_on + timedelta(weeks=week) for week in range(horizon.weeks)],
    )
    # At most, for the price of its hours falls with every hour that is added; and never more than there is to save.
    worth = answer.worth * np.array([crew.minutes_per_week for crew in crews])[:, None]
    worth = np.minimum(worth, max(plan.cost_minutes, 0.0))
    worth[:, : draft.open_week] = 0.0  # nothing new may go there
    store.add_capacity(
        connection,
        plan.plan_run_id,
        np.repeat(numbers, horizon.weeks).tolist(),
        mondays * len(crews),
        hours.ravel().tolist(),
        worth.ravel().tolist(),
    )
    if standing.plan is not None:
        before = _hours_before(connection, standing.plan, crews, horizon)
        store.add_plan_moves(
            connection, plan.plan_run_id, moves(draft, answer.week, crew_id, standing, horizon, before)
        )
    store.drop_older_plans(connection, plan.plan_run_id)


def _hours_before(connection: Connection, plan: Plan, crews: list[Crew], horizon: Horizon) -> Floats:
    """What the plan before counted on in the weeks of this one, crew by week; NaN where it did not reach."""
    known = store.list_capacity(connection, plan.plan_run_id)
    hours: npt.NDArray[np.float64] = np.full((len(crews), horizon.weeks), np.nan)
    for week in range(horizon.weeks):
        monday = horizon.starts_on + timedelta(weeks=week)
        if plan.has_week(monday):
            hours[:, week] = [known.get((crew.crew_id, monday), 0.0) for crew in crews]
    return hours


def _within(tell: Progress) -> Progress:
    """Progress of the solving as a part of the whole."""

    def told(share: float, what: str) -> None:
        tell(_READ + (_SOLVED - _READ) * share, what)

    return told


def _say_nothing(_: float, __: str) -> None:
    return
