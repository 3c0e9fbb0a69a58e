"""What moving checks by hand would do: to the plan's cost, to the risk, and why it cannot be."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from registry.crews.calendar import outage_weeks
from registry.crews.model import Crew, Outage
from registry.intervals.model import DAYS_PER_YEAR
from registry.planning.benefit import leaks_of_delay
from registry.planning.changes import MovableCheck, MoveEffect
from registry.planning.model import Plan
from registry.planning.windows import DAYS_OF_A_WEEK
from registry.policy.model import Policy

Place = tuple[int, int]
"""Where one visit of a week serves all: an area and 0, or 0 and a scaffold."""


@dataclass(frozen=True, slots=True)
class Target:
    """The week and crew that checks are to be moved to, and what stands there."""

    week_starting_on: date
    crew: Crew
    planned_minutes: float
    capacity_minutes: float


@dataclass(frozen=True, slots=True)
class Visits:
    """Which places are visited in a week without the checks that are moved."""

    left_behind: Collection[Place]
    at_target: Collection[Place]


@dataclass(frozen=True, slots=True)
class CostChange:
    """What a plan costs more (below 0: less), in crew minutes, by cause."""

    late: float
    early: float
    visits: float
    unplaced: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.late + self.early + self.visits + self.unplaced


def place_of(check: MovableCheck) -> Place:
    """Where the check is done."""
    return (0, check.scaffold) if check.scaffold else (check.area_id, 0)


def cost_change(
    plan: Plan, checks: Sequence[MovableCheck], to_week: date, visits: Visits, policy: Policy
) -> CostChange:
    """What moving checks, all of one week or of none, to a week does to the cost of a plan, as the solver counts it."""
    from_week = checks[0].week_starting_on
    late, early, unplaced = 0.0, 0.0, 0.0
    for check in checks:
        due_week = max((check.due_on - plan.starts_on).days // DAYS_OF_A_WEEK, 0)
        for week, sign in ((to_week, 1), (from_week, -1)):
            if week is None:
                if not check.could_be_placed:
                    continue  # it cost nothing, for no plan could place it
                weeks = max(plan.weeks - due_week, 0) + policy.planning.unplaced_weeks
                nowhere = check.late_cost_per_week * weeks + policy.planning.unplaced_times_minutes * check.minutes
                unplaced += sign * (nowhere + _visit_minutes(place_of(check), policy))
            else:
                weeks = (week - plan.starts_on).days // DAYS_OF_A_WEEK - due_week
                late += sign * check.late_cost_per_week * max(weeks, 0)
                early += sign * check.early_cost_per_week * max(-weeks, 0)
    places = {place_of(check) for check in checks}
    gone_to = sum(_visit_minutes(place, policy) for place in places if place not in visits.at_target)
    left = sum(_visit_minutes(place, policy) for place in places if place not in visits.left_behind)
    return CostChange(late, early, gone_to - (0.0 if from_week is None else left), unplaced)


def move_effect(
    plan: Plan,
    checks: Sequence[MovableCheck],
    from_crew: str | None,
    target: Target,
    change: CostChange,
    outages: Sequence[Outage],
    policy: Policy,
    today: date,
) -> MoveEffect:
    """What moving checks, all of one week and crew or all of no week, to a target would do."""
    to_week, from_week = target.week_starting_on, checks[0].week_starting_on
    minutes = sum(check.minutes for check in checks)
    stays = minutes if (from_week, checks[0].crew_id) == (to_week, target.crew.crew_id) else 0.0
    return MoveEffect(
        checks=len(checks),
        minutes=minutes,
        from_week=from_week,
        from_crew=from_crew,
        to_week=to_week,
        to_crew=target.crew.name,
        cost_added_minutes=change.total,
        risk_added=_risk_added(checks, from_week or plan.ends_on, to_week, policy),
        late_before=sum(1 for check in checks if from_week is not None and check.due_on < from_week),
        late_after=sum(1 for check in checks if check.due_on < to_week),
        planned_minutes_after=target.planned_minutes + minutes - stays,
        capacity_minutes=target.capacity_minutes,
        not_kept=sum(1 for check in checks if check.occurrence > 0),
        refused=tuple(_refusals(checks, target, outages, policy, today)),
    )


def _visit_minutes(place: Place, policy: Policy) -> float:
    return policy.planning.scaffold_minutes if place[1] else policy.planning.visit_minutes


def _risk_added(checks: Sequence[MovableCheck], from_week: date, to_week: date, policy: Policy) -> float:
    weights = [row.weight for row in policy.classes]
    # A later round counts from the round before it, as if that were done on its day.
    years = [
        (from_week - check.last_satisfactory_on).days / DAYS_PER_YEAR
        if check.occurrence == 0
        else (check.interval_days + (from_week - check.due_on).days) / DAYS_PER_YEAR
        for check in checks
    ]
    leaks = leaks_of_delay(
        [check.defect_rate_per_year for check in checks],
        [check.delay_rate_per_year for check in checks],
        [check.detection_probability for check in checks],
        years,
        (to_week - from_week).days / DAYS_PER_YEAR,
    )
    return float(np.dot(leaks, [weights[check.consequence_class - 1] for check in checks]))


def _refusals(
    checks: Sequence[MovableCheck], target: Target, outages: Sequence[Outage], policy: Policy, today: date
) -> list[str]:
    to_week, crew = target.week_starting_on, target.crew
    if to_week < today - timedelta(days=today.weekday()):
        return [f"the week of {to_week} is over"]
    found: list[str] = []
    unable = [check for check in checks if not crew.may_check(check.family)]
    if unable:
        families = ", ".join(sorted({check.family for check in unable}))
        found.append(f"{_of(unable, checks)}: {crew.name} may not check {families}")
    shut = {
        area: bool(outage_weeks(outages, area, to_week, 1)[0])
        for area in {check.area_id for check in checks if check.requires_outage}
    }
    waiting = [check for check in checks if check.requires_outage and not shut[check.area_id]]
    if waiting:
        found.append(f"{_of(waiting, checks)}: needs an outage, and there is none in the week of {to_week}")
    found += _lead_refusals(checks, to_week, policy, today)
    too_late = [check for check in checks if check.latest_on < to_week]
    if too_late:
        last = min(check.latest_on for check in too_late)
        found.append(f"{_of(too_late, checks)}: its latest day is {last} or soon after; it would have to be deferred")
    walked = [check for check in checks if check.on_route_on is not None]
    if walked:
        found.append(f"{_of(walked, checks)}: is on a route for {walked[0].on_route_on}; take it off the route first")
    return found


def _lead_refusals(checks: Sequence[MovableCheck], to_week: date, policy: Policy, today: date) -> list[str]:
    """What is drawn forward to before its permit or scaffold can be had."""
    weighing, found = policy.planning, list[str]()
    ends_on = to_week + timedelta(days=DAYS_OF_A_WEEK)
    sooner = [check for check in checks if check.week_starting_on is None or to_week < check.week_starting_on]
    for what, days, which in (
        ("permit", weighing.permit_lead_days, [c for c in sooner if c.consequence_class >= weighing.permit_from_class]),
        ("scaffold", weighing.scaffold_lead_days, [c for c in sooner if c.needs_scaffold]),
    ):
        if which and today + timedelta(days=days) >= ends_on:
            found.append(f"{_of(which, checks)}: its {what} takes {days:g} days")
    return found


def _of(some: Sequence[MovableCheck], checks: Sequence[MovableCheck]) -> str:
    return some[0].tag if len(checks) == 1 else f"{len(some):,} of {len(checks):,} checks, first {some[0].tag}"
