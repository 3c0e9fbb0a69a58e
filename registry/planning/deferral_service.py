"""Checks allowed to be later than the policy does: what that adds to the risk, by whom and until when."""

from datetime import date

from registry.db import Connection
from registry.errors import Issue
from registry.intervals.decisions import JointNotScored
from registry.intervals.model import DAYS_PER_YEAR
from registry.intervals.service import current_run
from registry.joints.service import joint_of_tag
from registry.planning import change_store as store
from registry.planning.benefit import leaks_of_delay
from registry.planning.changes import Deferral, DeferralEffect, DeferralRequest, DeferralUnfit
from registry.planning.store import read_current_plan
from registry.policy.service import policy_of


def preview_deferral(connection: Connection, tag: str, until_on: date, today: date) -> DeferralEffect:
    """What deferring the next check of a joint would add to its risk; writes nothing.

    The risk is that of a check on the last day rather than on the due date, or than today where that has passed.
    Raises JointUnknown, NotScored, JointNotScored, or DeferralUnfit where it ends before then.
    """
    joint = joint_of_tag(connection, tag)
    run = current_run(connection)
    scored = store.read_deferrable(connection, joint.joint_id)
    if scored is None:
        raise JointNotScored(f"'{joint.tag}' came after the run of {run.as_of}: run `jointwright score`")
    begins_on = max(scored.due_on, today)
    if until_on <= begins_on:
        what = "its due date" if begins_on == scored.due_on else "today"
        fault = Issue(None, "until_on", str(until_on), f"is not after {what}, {begins_on}")
        raise DeferralUnfit("the deferral was refused", [fault])
    leaks = leaks_of_delay(
        scored.defect_rate_per_year,
        scored.delay_rate_per_year,
        scored.detection_probability,
        (begins_on - scored.last_satisfactory_on).days / DAYS_PER_YEAR,
        (until_on - begins_on).days / DAYS_PER_YEAR,
    )
    weight = policy_of(connection, run.policy_version).classes[scored.consequence_class - 1].weight
    plan = read_current_plan(connection)
    planned = None if plan is None else store.read_next_check(connection, plan.plan_run_id, joint.joint_id)
    return DeferralEffect(
        joint_id=joint.joint_id,
        tag=joint.tag,
        due_on=scored.due_on,
        until_on=until_on,
        latest_on=None if planned is None else planned[2],
        planned_week=None if planned is None else planned[0],
        consequence_class=scored.consequence_class,
        risk_added=float(leaks) * weight,
    )


def defer(connection: Connection, wanted: DeferralRequest, today: date) -> Deferral:
    """Record that a joint's next check may be as late as a day; the due date stays, and the next plan goes by it.

    Raises what `preview_deferral` raises, and DeferralUnfit without reason or name.
    """
    wanted = DeferralRequest(
        wanted.tag, wanted.until_on, " ".join(wanted.reason.split()), " ".join(wanted.decided_by.split())
    )
    faults = [
        Issue(None, column, None, said)
        for column, value, said in (
            ("reason", wanted.reason, "say why"),
            ("decided_by", wanted.decided_by, "say who decided"),
        )
        if not value
    ]
    if faults:
        raise DeferralUnfit("the deferral was refused", faults)
    effect = preview_deferral(connection, wanted.tag, wanted.until_on, today)
    number = store.add_deferral(connection, effect.joint_id, effect.due_on, wanted, effect.risk_added)
    deferrals = store.list_deferrals(connection, today, joint_id=effect.joint_id, past_too=True)
    return next(deferral for deferral in deferrals if deferral.deferral_id == number)


def list_deferrals(
    connection: Connection, today: date, *, tag: str | None = None, past_too: bool = False
) -> list[Deferral]:
    """Deferrals in force, or all that there ever were; newest first, of one joint or of all. Raises JointUnknown."""
    joint_id = None if tag is None else joint_of_tag(connection, tag).joint_id
    return store.list_deferrals(connection, today, joint_id=joint_id, past_too=past_too)
