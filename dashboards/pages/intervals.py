"""The policy in force, and what it makes of the joints."""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from fastapi import APIRouter, Response

from dashboards.contexts import IntervalsPage, MatrixCell
from dashboards.pages.frame import InPage, joint_row, steps_to_scores
from dashboards.pages.plan import plan_grid
from dashboards.rendering import digits, render
from dashboards.words import LIMIT_WORDS
from registry.intervals.model import LIMITS
from registry.overview import store
from registry.overview.model import ScoreGroup
from registry.overview.risk_bands import matrix_bands
from registry.overview.service import EVERY_JOINT
from registry.policy.model import Policy
from registry.policy.service import policy_of
from registry.risk.model import assumed_labels

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

LISTED = 50


@ROUTER.get("/intervals")
def get_intervals(page: InPage) -> Response:
    """Matrix, what set the intervals, what was assumed, what checking cannot hold, and the policy's tables."""
    version = page.sheet.policy_version
    if version is None:
        steps = steps_to_scores(page.sheet, page.root)
        return render(IntervalsPage(page.frame("Intervals", "intervals"), None, (), (), (), (), 0, 0, 0, (), steps))
    policy = policy_of(page.connection, version)
    groups = store.count_score_groups(page.connection)
    beyond = store.list_riskiest(page.connection, EVERY_JOINT, page.today, LISTED, only_beyond=True)
    grid = plan_grid(page)
    limits: Counter[int] = Counter()
    assumed: Counter[str] = Counter()
    for group in groups:
        limits[group.interval_limit] += group.joints
        for label in assumed_labels(group.assumed_inputs):
            assumed[label] += group.joints
    return render(
        IntervalsPage(
            frame=page.frame("Intervals", "intervals"),
            policy=policy,
            matrix=_matrix(policy, groups),
            likelihood_words=_likelihood_words(policy.likelihood.edges_per_year),
            limits=[(LIMIT_WORDS[name], limits[code]) for code, name in enumerate(LIMITS)],
            assumed=assumed.most_common(),
            joints=sum(group.joints for group in groups),
            beyond=sum(group.joints for group in groups if group.beyond_checking),
            vibration_action=sum(group.joints for group in groups if group.vibration_action),
            beyond_rows=[joint_row(page, joint, grid) for joint in beyond],
        )
    )


def _matrix(policy: Policy, groups: Sequence[ScoreGroup]) -> list[list[MatrixCell]]:
    """Joints by likelihood (rows, the highest on top) and consequence (columns)."""
    counts: Counter[tuple[int, int]] = Counter()
    for group in groups:
        counts[group.likelihood_class, group.consequence_class] += group.joints
    bands = matrix_bands(policy.likelihood.edges_per_year, tuple(row.weight for row in policy.classes))
    return [
        [
            MatrixCell(counts[likelihood, consequence], int(bands[likelihood - 1, consequence - 1]))
            for consequence in range(1, bands.shape[1] + 1)
        ]
        for likelihood in range(bands.shape[0], 0, -1)
    ]


def _likelihood_words(edges: tuple[float, ...]) -> list[str]:
    """What each likelihood class means, the highest first.

    >>> _likelihood_words((0.001, 0.1))
    ['0.1 and more', '0.001 to 0.1', 'less than 0.001']
    """
    texts = [digits(edge, 2) for edge in edges]
    between = [f"{low} to {high}" for low, high in pairwise(texts)]
    return [f"{texts[-1]} and more", *reversed(between), f"less than {texts[0]}"]
