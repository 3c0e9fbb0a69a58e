"""What limits a plan, said in words."""

from collections.abc import Iterable, Iterator, Sequence

from registry.planning.model import CrewWeek, PlanSummary, UnplacedCount
from registry.planning.reasons import Unplaced

FULL_SHARE = 0.95
"""A crew's week is called full from this share of its time on."""

_MINUTES_OF_AN_HOUR = 60.0
_WORTH_SAYING_HOURS = 0.5
_ORDER = (
    Unplaced.NO_ROOM,
    Unplaced.NEEDS_OUTAGE,
    Unplaced.NO_CREW,
    Unplaced.TOO_LONG,
    Unplaced.NO_LEAD,
    Unplaced.PINNED_BEYOND,
)


def limits_in_words(told: PlanSummary) -> tuple[str, ...]:
    """What keeps the plan from being better: a sentence each, what a planner can do something about first.

    How near the plan is to the best there is; what stands in no week, and where most of that is; which crews are full,
    and what one more week of theirs would save; who is over their time.
    """
    sentences = [_gap(told)]
    for reason in _ORDER:
        rows = [row for row in told.unplaced if row.reason == reason]
        if rows:
            sentences.append(_left_out(reason, rows))
    sentences += _crews(told)
    if len(sentences) == 1:
        sentences.append("Nothing else limits it: every check stands within its days, and no crew is full.")
    return tuple(sentences)


def most_worth(told: PlanSummary) -> CrewWeek | None:
    """The crew and week in which one more week of the crew would save most; None where that saves nothing."""
    best = max(told.crew_weeks, key=lambda row: row.worth_minutes, default=None)
    return best if best is not None and best.worth_minutes > 0 else None


def _gap(told: PlanSummary) -> str:
    plan = told.plan
    cost, bound = plan.cost_minutes / _MINUTES_OF_AN_HOUR, plan.bound_minutes / _MINUTES_OF_AN_HOUR
    if cost <= 0:
        return "It costs nothing: no check is late, early, moved or left out."
    if bound <= 0:
        return f"It costs {cost:,.0f} crew hours; how near that is to the least there is, is not known."
    return (
        f"It costs {cost:,.0f} crew hours, and no plan of these checks and crews can cost less than {bound:,.0f}:"
        f" it is within {max(plan.gap, 0.0):.2%} of the best there can be."
    )


def _left_out(reason: Unplaced, rows: Sequence[UnplacedCount]) -> str:
    checks = sum(row.checks for row in rows)
    verb = "stands" if checks == 1 else "stand"
    text = f"{_checks(checks)} {verb} in no week: {reason.words}"
    if checks > 1:
        family, of_family = _most((row.family, row.checks) for row in rows)
        area, in_area = _most((row.area or "no area", row.checks) for row in rows)
        text += f"; most of them are {family.replace('_', ' ')} ({of_family:,}), and in {area} ({in_area:,})"
    return text + "."


def _most(rows: Iterable[tuple[str, int]]) -> tuple[str, int]:
    counts: dict[str, int] = {}
    for name, checks in rows:
        counts[name] = counts.get(name, 0) + checks
    return max(counts.items(), key=lambda item: (item[1], item[0]))


def _crews(told: PlanSummary) -> Iterator[str]:
    names = sorted({row.crew for row in told.crew_weeks})
    for name in names:
        rows = [row for row in told.crew_weeks if row.crew == name and row.capacity_minutes > 0]
        full = [row for row in rows if row.minutes >= FULL_SHARE * row.capacity_minutes]
        if full:
            first = full[0].week_starting_on
            yield f"{name} is full in {len(full)} of its {_weeks(len(rows))}, first in that of {first}."
        over = [row for row in told.crew_weeks if row.crew == name and row.over_minutes > _WORTH_SAYING_HOURS]
        if over:
            most = max(over, key=lambda row: row.over_minutes)
            yield (
                f"{name} has more to do than time in {_weeks(len(over))}, most in the week of {most.week_starting_on}:"
                f" {most.over_minutes / _MINUTES_OF_AN_HOUR:,.1f} hours over."
            )
    best = most_worth(told)
    if best is not None and best.worth_minutes >= _WORTH_SAYING_HOURS * _MINUTES_OF_AN_HOUR:
        yield (
            f"One more week of {best.crew} in the week of {best.week_starting_on} would save most: about"
            f" {best.worth_minutes / _MINUTES_OF_AN_HOUR:,.0f} crew hours of cost, and at most that and the gap"
            " together."
        )


def _checks(count: int) -> str:
    return "1 check" if count == 1 else f"{count:,} checks"


def _weeks(count: int) -> str:
    return "1 week" if count == 1 else f"{count} weeks"
