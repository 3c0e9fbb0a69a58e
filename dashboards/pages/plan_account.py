"""A plan accounted for in numbers and words: cost by cause, what limits it, what more time would buy, what moved."""

from collections import defaultdict
from collections.abc import Sequence
from urllib.parse import urlencode

from dashboards.pages.frame import PageRequest
from dashboards.plan_contexts import CostPart, PlanAccount, ReasonCount
from dashboards.plan_words import gap_words
from registry.planning.limits import limits_in_words
from registry.planning.model import MoveCount, Plan, PlanSummary, UnplacedCount
from registry.planning.reasons import Unplaced

MOST_WORTH = 3
_LEAST_WORTH_MINUTES = 0.5

_CAUSES = (
    ("late", "late_minutes", "leaks that a check on its day would have taken away, in what they are worth"),
    ("early", "early_minutes", "checks before their day come round again sooner, for ever"),
    ("visits", "visit_minutes", "going to an area in a week at all, and putting scaffolds up"),
    ("moved", "moved_minutes", "checks taken out of the planned week that people count on"),
    ("not placed", "unplaced_minutes", "checks in no week that might have one, as if late until after the end"),
)


def account_of(page: PageRequest, told: PlanSummary) -> PlanAccount:
    """The account of a plan."""
    worth = sorted(told.crew_weeks, key=lambda row: (-row.worth_minutes, row.week_starting_on, row.crew))
    return PlanAccount(
        told=told,
        gap=gap_words(told.plan),
        limits=limits_in_words(told),
        costs=_costs(told.plan),
        worth=[row for row in worth[:MOST_WORTH] if row.worth_minutes >= _LEAST_WORTH_MINUTES],
        moves=move_counts(page, told.moves),
        unplaced=unplaced_counts(page, told.unplaced),
    )


def move_counts(page: PageRequest, counts: Sequence[MoveCount]) -> list[ReasonCount]:
    """What moved, by reason, each with the address of its list."""
    return [
        ReasonCount(
            words=row.reason.words,
            checks=row.checks,
            hours=None,
            href=f"{page.root}/weeks/moves?{urlencode({'reason': row.reason.name.lower()})}",
        )
        for row in counts
    ]


def unplaced_counts(page: PageRequest, counts: Sequence[UnplacedCount]) -> list[ReasonCount]:
    """What was not placed, by reason, each with the address of its list."""
    checks: dict[Unplaced, int] = defaultdict(int)
    minutes: dict[Unplaced, float] = defaultdict(float)
    for row in counts:
        checks[row.reason] += row.checks
        minutes[row.reason] += row.minutes
    return [
        ReasonCount(
            words=reason.words,
            checks=checks[reason],
            hours=minutes[reason] / 60.0,
            href=f"{page.root}/weeks/unplaced?{urlencode({'reason': reason.name.lower()})}",
        )
        for reason in sorted(checks, key=lambda reason: -checks[reason])
    ]


def _costs(plan: Plan) -> list[CostPart]:
    whole = plan.cost_minutes or 1.0
    return [
        CostPart(name, meaning, getattr(plan, field) / 60.0, 100.0 * getattr(plan, field) / whole)
        for name, field, meaning in _CAUSES
    ]
