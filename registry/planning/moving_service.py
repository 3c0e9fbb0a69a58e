"""Checks moved by hand: what that would cost, the move itself, and letting go of what a person put somewhere."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from registry.crews.calendar import capacity_minutes
from registry.crews.service import list_absences, list_outages, read_crew
from registry.db import Connection
from registry.errors import Issue
from registry.joints.service import joint_of_tag
from registry.planning import change_store as store
from registry.planning.changes import (
    BundleKey,
    BundleUnknown,
    CrewFull,
    MovableCheck,
    MoveEffect,
    MoveRefused,
    MoveUnfit,
)
from registry.planning.effects import CostChange, Target, Visits, cost_change, move_effect
from registry.planning.model import Plan, PlanOvertaken
from registry.planning.service import current_plan, refuse_unknown_week, take_planning_lock
from registry.policy.service import policy_of

_SLACK_MINUTES = 1e-6


@dataclass(frozen=True, slots=True)
class _Move:
    plan: Plan
    checks: list[MovableCheck]
    change: CostChange
    effect: MoveEffect


def preview_move(connection: Connection, bundle: BundleKey, to_week: date, to_crew_id: int, today: date) -> MoveEffect:
    """What moving some checks of the newest plan to a week and crew would do; writes nothing.

    Where it cannot be, `refused` of the answer says why; that the crew's week would be over its time is no refusal.
    Raises PlanOvertaken where the bundle is of an older plan, NotPlanned, BundleUnknown, WeekUnknown or CrewUnknown.
    """
    return _weighed(connection, bundle, to_week, to_crew_id, today).effect


def move_bundle(
    connection: Connection,
    bundle: BundleKey,
    to_week: date,
    to_crew_id: int,
    reason: str,
    moved_by: str,
    today: date,
    *,
    over_time: bool = False,
) -> MoveEffect:
    """Move some checks of the newest plan to a week and crew, and keep them there in later plans.

    All of them or none; to where they stand already keeps them there. `over_time` allows what puts the crew's week
    over its time. Raises what `preview_move` raises, MoveUnfit without reason or name, MoveRefused, CrewFull, or
    PlanBusy while somebody makes or changes the plan.
    """
    note, name = " ".join(reason.split()), " ".join(moved_by.split())
    faults = [
        Issue(None, column, None, said)
        for column, value, said in (("reason", note, "say why"), ("moved_by", name, "say who moves it"))
        if not value
    ]
    if faults:
        raise MoveUnfit("the move was refused", faults)
    take_planning_lock(connection)
    move = _weighed(connection, bundle, to_week, to_crew_id, today)
    effect = move.effect
    if effect.refused:
        raise MoveRefused("; ".join(effect.refused))
    if effect.over_minutes > _SLACK_MINUTES and not over_time:
        raise CrewFull(
            f"{effect.to_crew} would have {effect.planned_minutes_after / 60:.1f} hours to do in the week of {to_week}"
            f" and has {effect.capacity_minutes / 60:.1f}: say that it may be over its time, or take another week"
        )
    store.move_checks(connection, move.plan.plan_run_id, move.checks, to_week, to_crew_id, note, name)
    change = move.change
    store.add_costs(
        connection,
        move.plan.plan_run_id,
        late=change.late,
        early=change.early,
        visits=change.visits,
        unplaced=change.unplaced,
    )
    return effect


def bundle_of_tag(connection: Connection, tag: str) -> BundleKey:
    """The next check of one joint in the newest plan, wherever it stands. Raises JointUnknown, NotPlanned or
    BundleUnknown."""
    joint = joint_of_tag(connection, tag)
    plan = current_plan(connection)
    found = store.read_next_check(connection, plan.plan_run_id, joint.joint_id)
    if found is None:
        raise BundleUnknown(f"the plan to {plan.ends_on} has no check of '{joint.tag}'")
    return BundleKey(plan.plan_run_id, found[0], found[1], joint_ids=(joint.joint_id,))


def let_go(connection: Connection, joint_ids: Sequence[int]) -> int:
    """Leave the next checks of joints to the next plan again, and return how many a person had put somewhere.

    Raises PlanBusy while somebody makes or changes the plan.
    """
    take_planning_lock(connection)
    return store.remove_pins(connection, joint_ids)


def _weighed(connection: Connection, bundle: BundleKey, to_week: date, to_crew_id: int, today: date) -> _Move:
    plan = current_plan(connection)
    if plan.plan_run_id != bundle.plan_run_id:
        raise PlanOvertaken(
            f"plan {bundle.plan_run_id} is not the newest any more, that is plan {plan.plan_run_id}: look at it first"
        )
    refuse_unknown_week(plan, to_week)
    crew = read_crew(connection, to_crew_id)
    if bundle.week_starting_on is None and bundle.joint_ids is None:
        raise BundleUnknown("say which of the checks that stand in no week are meant")
    checks = store.list_movable(connection, bundle, plan.recorded_at, today)
    if not checks:
        raise BundleUnknown("the plan has no such checks there, or they are all done")
    from_crew = None if bundle.crew_id is None else read_crew(connection, bundle.crew_id).name
    planned, counted_on = store.read_crew_week(connection, plan.plan_run_id, to_crew_id, to_week)
    if counted_on is None:  # a crew that came after the plan was made
        counted_on = float(capacity_minutes([crew], list_absences(connection), to_week, 1, today=today)[0, 0])
    policy = policy_of(connection, plan.policy_version)
    week = bundle.week_starting_on
    visits = Visits(
        set() if week is None else store.list_places(connection, plan.plan_run_id, week, checks),
        store.list_places(connection, plan.plan_run_id, to_week, checks),
    )
    change = cost_change(plan, checks, to_week, visits, policy)
    target = Target(to_week, crew, planned, counted_on)
    outages = list_outages(connection)
    return _Move(plan, checks, change, move_effect(plan, checks, from_crew, target, change, outages, policy, today))
