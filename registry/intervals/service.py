"""Score the whole plant, keep single joints' scores up with what is recorded, list what is due.

Scoring holds the score lock alone; whoever records a check, a make-up or a leak shares it. Without that, a result
recorded after the run has read its inputs and before it is swapped in would move the due date in the old scores only,
and the swap would throw the move away. Who records waits for a running score; who reads does not.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from registry.db import Connection
from registry.errors import Issue
from registry.exposure.fluid import fluid_issues
from registry.intervals import store
from registry.intervals.decisions import (
    LONGEST_OVERRIDE_DAYS,
    DueFilter,
    DueJoint,
    JointNotScored,
    NotScored,
    Override,
    OverrideRequest,
    OverrideUnfit,
    ScoreRun,
    ScoreSummary,
)
from registry.intervals.explanation import Why, explanation
from registry.intervals.model import ScoreInputs, Scores
from registry.intervals.preview import DraftPreview, draft_preview
from registry.intervals.scores import scores
from registry.joints.service import joint_of_tag
from registry.policy.model import Policy, PolicyInvalid
from registry.policy.service import current_policy, draft_policy, policy_of, publish_draft
from registry.policy.versions import PolicyVersion

Progress = Callable[[str], None]

COUNT_ONE_BY_ONE = 3
"""Up to so many joints are ranked by counting in the database, more by sorting the whole run here."""

# A leak keeps its neighbours called in until they are checked, or for a year beyond the days that the policy gives
# them.
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
    # A joint that came after the run gets its score with the next one.
    joint_ids = [] if run is None else store.list_scored(connection, run.score_run_id, joint_ids)
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


def why(connection: Connection, tag: str) -> Why:
    """The account of one joint, computed anew by the policy and as of the day of the current run.

    It agrees with the stored score unless what is known of the joint changed since (`agrees`). Raises JointUnknown,
    NotScored or JointNotScored.
    """
    joint = joint_of_tag(connection, tag)
    run = current_run(connection)
    stored = store.read_score(connection, run.score_run_id, joint.joint_id)
    if stored is None:
        raise JointNotScored(f"'{joint.tag}' came after the run of {run.as_of}: run `jointwright score`")
    policy = policy_of(connection, run.policy_version)
    inputs = read_inputs(connection, policy, run.as_of, [joint.joint_id])
    return explanation(joint.tag, inputs, policy, run.as_of, stored.risk_rank)


def agrees(connection: Connection, account: Why) -> bool:
    """Whether the stored score says what an account says; if not, joint list, plan or readings came in since the
    run."""
    stored = store.read_score(
        connection, current_run(connection).score_run_id, joint_of_tag(connection, account.tag).joint_id
    )
    return stored is not None and (
        account.due_on == stored.due_on
        and account.consequence_class == stored.consequence_class
        and math.isclose(account.interval_days, stored.interval_days, rel_tol=1e-9)
        and math.isclose(account.defect_rate_per_year, stored.defect_rate_per_year, rel_tol=1e-9)
        and math.isclose(account.leak_rate_now_per_year, stored.leak_rate_now_per_year, rel_tol=1e-9, abs_tol=1e-15)
    )


def preview_draft(connection: Connection, as_of: date) -> DraftPreview:
    """What the policy draft would change on a day; writes nothing. Raises DraftUnknown, or PolicyInvalid."""
    draft = _workable(draft_policy(connection))
    published = current_policy(connection)
    inputs = read_inputs(connection, published, as_of)
    with_draft = inputs
    if draft.leak_nearby.days != published.leak_nearby.days:
        with_draft = read_inputs(connection, draft, as_of)
    preview = draft_preview(
        scores(inputs, published, as_of),
        scores(with_draft, draft, as_of),
        inputs.joints.family_id,
        inputs.family_codes,
        published.version,
        as_of,
    )
    listed = (*preview.most_changed, *preview.newly_beyond_checking)
    tags = store.list_tags_of(connection, [joint.joint_id for joint in listed])
    return replace(
        preview,
        most_changed=tuple(replace(joint, tag=tags[joint.joint_id]) for joint in preview.most_changed),
        newly_beyond_checking=tuple(
            replace(joint, tag=tags[joint.joint_id]) for joint in preview.newly_beyond_checking
        ),
    )


def publish_policy(
    connection: Connection, by: str, note: str, as_of: date, *, revision: int | None = None
) -> tuple[PolicyVersion, ScoreSummary]:
    """Make the draft the next version in somebody's name, and score the plant by it as of a day.

    Raises what `registry.policy.service.publish_draft` raises, and PolicyInvalid where a service cannot be worked out.
    """
    store.take_score_lock(connection)
    _workable(draft_policy(connection))
    published = publish_draft(connection, by, note, revision)
    return published, score_plant(connection, as_of)


def overrides_in_force(connection: Connection, on: date) -> list[Override]:
    """The decisions that stand on a day."""
    return store.list_overrides(connection, in_force_on=on)


def _workable(policy: Policy) -> Policy:
    issues = fluid_issues(policy)
    if issues:
        raise PolicyInvalid("the draft has services that cannot be worked out", issues)
    return policy


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
    """The same scores with the rank of each joint whose risk changed counted anew among all joints of the run."""
    stored = store.read_ranks(connection, run.score_run_id, scored.joint_id.tolist())
    at = np.searchsorted(stored["joint_id"], scored.joint_id)
    rank = stored["risk_rank"][at].copy()
    changed = np.flatnonzero(stored["risk_now"][at] != scored.risk_now)
    joint_id, risk = scored.joint_id[changed], scored.risk_now[changed]
    if len(changed) <= COUNT_ONE_BY_ONE:
        behind = np.array(
            [
                store.count_less_risky(connection, run.score_run_id, number, value, joint_id.tolist())
                for number, value in zip(joint_id.tolist(), risk.tolist(), strict=True)
            ],
            dtype=np.int64,
        )
        worse_among = np.argsort(np.lexsort((joint_id, -risk)))
        rank[changed] = run.joints - len(changed) - behind + 1 + worse_among
    else:
        columns = store.read_risk_columns(connection, run.score_run_id)
        others = ~np.isin(columns["joint_id"], joint_id)
        everyone = np.concatenate((joint_id, columns["joint_id"][others]))
        order = np.lexsort((everyone, -np.concatenate((risk, columns["risk_now"][others]))))
        place = np.empty(len(everyone), dtype=np.int32)
        place[order] = np.arange(1, len(everyone) + 1)
        rank[changed] = place[: len(changed)]
    return replace(scored, risk_rank=rank)


def _say_nothing(_: str) -> None:
    return
