"""What a plan and its changes come to, in words: the same on the board, in the dialog and on pages without script."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from dashboards.rendering import count, digits
from registry.planning.changes import DeferralEffect, MoveEffect
from registry.planning.model import Plan

_LEAST_MINUTES: Final = 0.05
_LEAST_RISK: Final = 1e-7
_HOURS_FROM_MINUTES: Final = 60.0


@dataclass(frozen=True, slots=True)
class EffectWords:
    """A move in words: what moves where, what that does, and what speaks against it."""

    what: str
    effects: tuple[str, ...]
    refused: tuple[str, ...]
    over: str | None
    """By how much the crew's week would be over its hours; None where it is not."""


def effect_words(effect: MoveEffect) -> EffectWords:
    """What a move would do, or did."""
    over = f"{hours_words(effect.over_minutes)} more than it has" if effect.over_minutes > _LEAST_MINUTES else None
    hours = (
        f"Hours: {effect.to_crew} then has {effect.planned_minutes_after / 60.0:,.1f} h of checks"
        f" in {effect.capacity_minutes / 60.0:,.1f} h" + (f", {over}." if over else ".")
    )
    effects = [
        f"Risk: {_risk_change(effect.risk_added)}.",
        f"Cost: {_cost_change(effect.cost_added_minutes)}.",
        hours,
        f"Late: {effect.late_before:,} now, {effect.late_after:,} then.",
    ]
    if effect.not_kept:
        later = "1 is a later round" if effect.not_kept == 1 else f"{effect.not_kept:,} are later rounds"
        effects.append(f"{later}, which the next plan may move again.")
    return EffectWords(
        what=f"{checks_words(effect.checks)}, {hours_words(effect.minutes)}: {_way(effect)}.",
        effects=tuple(effects),
        refused=effect.refused,
        over=over,
    )


def deferral_words(effect: DeferralEffect) -> tuple[str, ...]:
    """What deferring a check would do."""
    waits = f"until {effect.until_on}, {(effect.until_on - effect.due_on).days:,} days after it was due"
    latest = f"Until now its latest day in the plan is {effect.latest_on}." if effect.latest_on else None
    planned = f"The plan has it in the week of {effect.planned_week}." if effect.planned_week else None
    lines = (
        f"{effect.tag} is due {effect.due_on}, in consequence class {effect.consequence_class}.",
        latest,
        planned,
        f"Risk: {_risk_change(effect.risk_added)}, if it waits {waits}.",
    )
    return tuple(line for line in lines if line is not None)


def gap_words(plan: Plan) -> str:
    """How far a plan is above what no plan can cost less than.

    >>> gap_share(0.00123), gap_share(0.0), gap_share(0.2)
    ('0.12 %', '0 %', '20 %')
    """
    if plan.bound_minutes <= 0:
        return "nothing to pay for" if plan.cost_minutes <= 0 else "no bound was found"
    return gap_share(plan.gap)


def gap_share(gap: float) -> str:
    """A gap in percent, to two digits."""
    return f"{digits(max(100.0 * gap, 0.0), 2)} %"


def hours_words(minutes: float) -> str:
    """Crew time: minutes while that reads easily, else hours.

    >>> hours_words(34.26), hours_words(600.0)
    ('34 min', '10 h')
    """
    return f"{minutes:,.0f} min" if abs(minutes) < _HOURS_FROM_MINUTES else f"{digits(minutes / 60.0)} h"


def checks_words(number: int) -> str:
    """So many checks.

    >>> checks_words(1), checks_words(1200)
    ('1 check', '1,200 checks')
    """
    return "1 check" if number == 1 else f"{count(number)} checks"


def place_of_bundle(area: str | None, scaffold: int) -> str:
    """Where a bundle is: its area, and the number that its scaffold has in the plan."""
    where = area or "in no area"
    return f"{where}, scaffold {scaffold}" if scaffold else where


def week_words(week: date | None, crew: str | None) -> str:
    """Where a check stands."""
    return "no week" if week is None else f"{week}, {crew}"


def _way(effect: MoveEffect) -> str:
    there = f"{effect.to_crew}, week of {effect.to_week}"
    if (effect.from_week, effect.from_crew) == (effect.to_week, effect.to_crew):
        return f"kept with {there}"
    from_where = "no week" if effect.from_week is None else f"{effect.from_crew}, week of {effect.from_week}"
    return f"from {from_where}, to {there}"


def _risk_change(risk: float) -> str:
    if abs(risk) < _LEAST_RISK:
        return "unchanged"
    return f"{digits(abs(risk), 2)} {'more' if risk > 0 else 'fewer'} expected leaks, weighted by class"


def _cost_change(minutes: float) -> str:
    if abs(minutes) < _LEAST_MINUTES:
        return "unchanged"
    amount = f"{digits(abs(minutes), 2)} min" if abs(minutes) < _HOURS_FROM_MINUTES else hours_words(abs(minutes))
    return f"{amount} of crew time {'more' if minutes > 0 else 'less'}"
