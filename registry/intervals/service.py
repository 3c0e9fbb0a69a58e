"""Score the whole plant, keep single joints' scores up with what is recorded, list what is due.

Scoring holds the score lock alone; whoever records a check, a make-up or a leak shares it. Without that, a result
recorded after the run has read its inputs and before it is swapped in would move the due date in the old scores only,
and the swap would throw the move away. Who records waits for a running score, readers never do.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from registry.db import Connection
from registry.errors import Issue
from registry.intervals import store
from registry.intervals.decisions import (
    LONGEST_OVERRIDE_DAYS,
    DueFilter,
    DueJoint,
    NotScored,
    Override,
    OverrideRequest,
    OverrideUnfit,
    ScoreRun,
    ScoreSummary,
)
from registry.intervals.model import ScoreInputs, Scores
from registry.intervals.scores import scores
from registry.joints.service import joint_of_tag
from registry.policy.model import Policy
from registry.policy.service import current_policy, policy_of

Progress = Callable[[str], None]

COUNT_ONE_BY_ONE = 3
"""Up to so many joints are ranked by counting in the database, more by sorting the whole run here."""

# A leak keeps its neighbours called in until they are checked, or for a year beyond the days that the policy gives them.
UNANSWERED_LEAK_DAYS = 365


def score_plant(connection: Connection, as_of: date, *, progress: Progress | None = None) -> ScoreSummary:
    """Score every joint by the current policy as of a day, and put the run in the place of the one before.

    Raises PolicyUnknown, or FamilyUnknown where joints are of a family without rates.
    """
    tell = progress or _say_nothing
    store.take_score_lock(connection)
    return _new_run(connection, current_policy(connection), as_of, tell)


def reschedule_joints(connection: Connection, joint_ids: Sequence[int]) -> int:
    """Score some joints anew, by the policy and as of the day of the current run, and return how many were in it.

    What happened after that day counts, with the time since then as none. Their rank is counted anew; the ranks of
    other joints stand until the next run. The caller shares or holds the score lock since before it recorded what is
    new. Does nothing while the site is not scored.
    """
    store.share_score_lock(connection)
    run = store.read_current_run(connection)
    if run is None or not joint_ids:
        return 0
    # Read the facts under a lock of their own: of two who change one joint, the later must see what the earlier added.
    store.take_reschedule_lock(connection)
    policy = policy_of(connection, run.policy_version)
    inputs = read_inputs(connection, policy, run.as_of, joint_ids)
    scored = _ranked(connection, run, scores(inputs, policy, run.as_of))
    return store.update_scores(connection, store.read_site_id(connection), run, inputs.joints, scored)


def rescore(connection: Connection) -> ScoreSummary | None:
    """Score every joint anew by the policy and as of the day of the current run, after a bulk load; None while
    unscored."""
    store.take_score_lock(connection)
    run = store.read_current_run(connection)
    if run is None:
        return None
    return _new_run(connection, policy_of(connection, run.policy_version), run.as_of, _say_nothing)


def read_inputs(
    connection: Connection, policy: Policy, as_of: date, joint_ids: Sequence[int] | None = None
) -> ScoreInputs:
    """What the score takes under a policy: of the whole site, or of some joints and just what bears on them."""
    leaks_since_on = as_of - timedelta(days=math.ceil(policy.leak_nearby.days) + UNANSWERED_LEAK_DAYS)
    return store.read_inputs(connection, as_of, leaks_since_on, joint_ids)


def current_run(connection: Connection) -> ScoreRun:
    """The run that is shown. Raises NotScored."""
    run = store.read_current_run(connection)
    if run is None:
        raise NotScored("this site is not scored yet: run `jointwright score`")
    return run


def summary(connection: Connection, run: ScoreRun) -> ScoreSummary:
    """A published run in numbers of joints."""
    counts = store.summarise_run(connection, run)
    return ScoreSummary(run.score_run_id, run.policy_version, run.as_of, **counts)


def due_page(
    connection: Connection, chosen: DueFilter, *, after: tuple[date, float, int] | None = None, limit: int = 200
) -> list[DueJoint]:
    """A page of the joints by due date, riskiest first among equals. Raises NotScored."""
    return store.list_due(connection, current_run(connection).score_run_id, chosen, after=after, limit=limit)


def due_pages(connection: Connection, chosen: DueFilter, *, limit: int = 5000) -> Iterator[list[DueJoint]]:
    """Every page of the due list. Raises NotScored."""
    after = None
    while page := due_page(connection, chosen, after=after, limit=limit):
        yield page
        if len(page) < limit:
            return
        after = after_last(page)


def after_last(page: Sequence[DueJoint]) -> tuple[date, float, int]:
    """Where the page after this one begins."""
    return page[-1].due_on, page[-1].risk_now, page[-1].joint_id


def override_interval(connection: Connection, request: OverrideRequest) -> int:
    """Record an engineer's decision on a joint's interval, move its due date, and return the decision's number.

    The newest decision of a joint stands while it lasts; one that ends before today ends the one before. Raises
    OverrideUnfit or JointUnknown.
    """
    faults = [
        Issue(None, column, value, reason)
        for column, value, reason, faulty in (
            ("decided_by", request.decided_by, "say who decided", not request.decided_by.strip()),
            ("reason", request.reason, "say why", not request.reason.strip()),
            (
                "interval_days",
                str(request.interval_days),
                f"is not from 1 to {LONGEST_OVERRIDE_DAYS:,} days",
                not 1 <= request.interval_days <= LONGEST_OVERRIDE_DAYS,
            ),
        )
        if faulty
    ]
    if faults:
        raise OverrideUnfit("the override was refused", faults)
    store.share_score_lock(connection)
    joint = joint_of_tag(connection, request.tag)
    number = store.add_override(connection, joint.joint_id, request)
    reschedule_joints(connection, [joint.joint_id])
    return number


def overrides_in_force(connection: Connection, on: date) -> list[Override]:
    """The decisions that stand on a day."""
    return store.list_overrides(connection, in_force_on=on)


def _new_run(connection: Connection, policy: Policy, as_of: date, tell: Progress) -> ScoreSummary:
    tell("reading joints and readings")
    inputs = read_inputs(connection, policy, as_of)
    tell(f"scoring {len(inputs.joints):,} joints")
    scored = scores(inputs, policy, as_of)
    tell("writing the scores")
    run = store.open_run(connection, policy.version, as_of, len(inputs.joints))
    store.publish_scores(connection, store.read_site_id(connection), run, inputs.joints, scored)
    return summary(connection, run)


def _ranked(connection: Connection, run: ScoreRun, scored: Scores) -> Scores:
    """The same scores with their rank among all joints of the run."""
    changed = scored.joint_id.tolist()
    if len(changed) <= COUNT_ONE_BY_ONE:
        worse_elsewhere = [
            store.count_worse(connection, run.score_run_id, joint_id, risk, changed)
            for joint_id, risk in zip(changed, scored.risk_now.tolist(), strict=True)
        ]
        worse_among = np.argsort(np.lexsort((scored.joint_id, -scored.risk_now)))
        return replace(scored, risk_rank=(1 + np.array(worse_elsewhere) + worse_among).astype(np.int32))
    columns = store.read_risk_columns(connection, run.score_run_id)
    others = ~np.isin(columns["joint_id"], scored.joint_id)
    joint_id = np.concatenate((scored.joint_id, columns["joint_id"][others]))
    risk = np.concatenate((scored.risk_now, columns["risk_now"][others]))
    rank = np.empty(len(risk), dtype=np.int32)
    rank[np.lexsort((joint_id, -risk))] = np.arange(1, len(risk) + 1)
    return replace(scored, risk_rank=rank[: len(scored)])


def _say_nothing(_: str) -> None:
    return
