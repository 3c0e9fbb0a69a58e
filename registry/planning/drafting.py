"""From joints, crews, outages and what stands already to the problem that the solver is given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.crews.calendar import outage_weeks
from registry.crews.model import Crew, Outage
from registry.intervals.model import DAYS_PER_YEAR
from registry.planning.benefit import leaks_taken_away_per_year
from registry.planning.model import Plan
from registry.planning.problem import UNPLACED, Checks, Flags, Floats, Integers, Problem
from registry.planning.reasons import Unplaced
from registry.planning.windows import DAYS_OF_A_WEEK, Windows, rounds, windows
from registry.policy.model import ACCESS, Policy

_SCAFFOLD = ACCESS.index("scaffold") + 1
_WEEKS_PER_YEAR = DAYS_PER_YEAR / DAYS_OF_A_WEEK
_MOST_ROUNDS = 1 << 15


@dataclass(frozen=True)
class Horizon:
    """The weeks of a plan, and the day on which it is made."""

    starts_on: date
    weeks: int
    frozen_weeks: int
    planned_weeks: int
    today: date

    @property
    def start_day(self) -> int:
        """The first day on which anything can be done, counted from the first of the plan."""
        return max((self.today - self.starts_on).days, 0)

    def day(self, dates: npt.NDArray[np.datetime64]) -> Integers:
        """Dates as days counted from the first of the plan."""
        return (dates.astype("datetime64[D]") - np.datetime64(self.starts_on)).astype(np.int64)

    def dates(self, days: Integers) -> npt.NDArray[np.datetime64]:
        """Days counted from the first of the plan as dates."""
        return np.datetime64(self.starts_on) + days.astype("timedelta64[D]")


@dataclass(frozen=True)
class Standing:
    """What stands already when a plan is made.

    `before` are the checks of `plan`, the one before (no rows: there is none): joint_id, occurrence, week_starting_on
    (day 1 of year 1: none), crew_id, due_on, latest_on, minutes, done. Pins and routes are of next checks, with the day
    and the crew (0: not known), in order of joint; so are the deferrals that count, with their last day.
    """

    plan: Plan | None
    before: Columns
    pins: Columns
    routes: Columns
    deferrals: Columns


@dataclass(frozen=True)
class Draft:
    """The problem, and of each of its checks what the solver need not know.

    `held` says what fixes it (0: nothing), `open_week` is the first week that is not frozen.
    """

    problem: Problem
    joint_row: Integers
    joint_id: Integers
    occurrence: Integers
    due_day: Integers
    windows: Windows
    area_id: Integers
    scaffold: Integers
    held: Integers
    pinned_beyond: Flags
    deferred: Flags
    open_week: int


FROZEN, PINNED, ON_ROUTE = 1, 2, 3


def check_key(joint_id: Integers, occurrence: Integers) -> Integers:
    """One number for a joint's check, in the order of joint and occurrence; -1 is one that was done."""
    return joint_id.astype(np.int64) * (2 * _MOST_ROUNDS) + occurrence.astype(np.int64)


def found_at(sorted_keys: Integers, keys: Integers) -> Integers:
    """Where each key stands among sorted ones; -1 where it does not.

    >>> found_at(np.array([2, 5]), np.array([5, 3, 2, 9])).tolist()
    [1, -1, 0, -1]
    """
    if not len(sorted_keys):
        return np.full(len(keys), -1, dtype=np.int64)
    at = np.minimum(np.searchsorted(sorted_keys, keys), len(sorted_keys) - 1)
    return np.where(sorted_keys[at] == keys, at, -1).astype(np.int64)


def drafted(
    joints: Columns,
    families: Mapping[int, str],
    crews: Sequence[Crew],
    capacity_minutes: Floats,
    outages: Sequence[Outage],
    standing: Standing,
    policy: Policy,
    horizon: Horizon,
) -> Draft:
    """The checks of a plan with all that bears on where they may stand and what that costs.

    `joints` are columns in order of joint: see `read_joint_columns` in queries.sql. An overdue check costs from the
    first week on, for no plan can change how late it is already. A check that has its week keeps the permit and the
    scaffold that were asked for it.
    """
    weighing, weeks = policy.planning, horizon.weeks
    found = rounds(horizon.day(joints["due_on"]), joints["interval_days"], horizon.start_day, DAYS_OF_A_WEEK * weeks)
    row, occurrence = found.row, found.occurrence
    joint_id = joints["joint_id"][row].astype(np.int64)
    interval = joints["interval_days"][row]
    due_week = np.maximum(found.day // DAYS_OF_A_WEEK, 0)

    crew_number = np.array([crew.crew_id for crew in crews], dtype=np.int64)
    was_week, was_crew = _was(standing, horizon, crew_number, joint_id, occurrence)
    open_week = _open_week(standing, horizon)
    place_area, scaffold, access = _places(joints, policy)
    lead_week = _lead_week(joints, access, policy, horizon)[row]
    asked_for = (was_week >= open_week) & (was_week < lead_week)
    lead_week = np.where(asked_for, was_week, lead_week)
    deferred_day = _by_joint(joints["joint_id"], standing.deferrals, horizon.day(standing.deferrals["until_on"]))
    span = windows(
        found,
        joints["interval_days"],
        joints["requires_outage"],
        deferred_day,
        lead_week,
        weighing,
        start_day=horizon.start_day,
        open_week=open_week,
        weeks=weeks,
    )

    needs, able = _needs(joints["family_id"], families, crews)
    held, fixed_week, fixed_crew, beyond = _fixed(
        standing, horizon, crew_number, joint_id, occurrence, was_week, was_crew, able[:, needs[row]], open_week
    )
    calendars, calendar = _calendars(joints, outages, horizon)

    # What an overdue check takes away grows with the time since the last one; of the others it is that of the interval.
    since = (horizon.start_day - horizon.day(joints["last_satisfactory_on"])[row]) / DAYS_PER_YEAR
    overdue = (occurrence == 0) & (found.day < horizon.start_day)
    late_years = np.where(overdue, np.maximum(interval / DAYS_PER_YEAR, since), interval / DAYS_PER_YEAR)
    weight = np.array([row.weight for row in policy.classes])[joints["consequence_class"][row] - 1]
    taken_away = leaks_taken_away_per_year(
        joints["defect_rate_per_year"][row],
        joints["delay_rate_per_year"][row],
        joints["detection_probability"][row],
        late_years,
    )
    late_cost = weighing.minutes_per_weighted_leak * weight * taken_away / _WEEKS_PER_YEAR
    minutes = joints["check_minutes"][row]
    early_cost = minutes * DAYS_OF_A_WEEK / np.maximum(interval, DAYS_OF_A_WEEK)
    place, visit_cost = _numbered_places(place_area[row], scaffold[row], policy)
    # Nowhere is dearer than any week, the last one too, and even where a visit or a scaffold is for this check alone.
    unplaced_cost = (
        late_cost * (np.maximum(weeks - due_week, 0) + weighing.unplaced_weeks)
        + weighing.unplaced_times_minutes * minutes
        + visit_cost[place]
    )
    first_week = np.where(beyond, weeks, span.first_week)
    last_week = np.where(beyond, weeks - 1, span.last_week)
    in_planned = (was_week >= horizon.frozen_weeks) & (was_week < horizon.planned_weeks)

    # Joints that were read because something might hold them, and nothing does.
    kept = (found.day < DAYS_OF_A_WEEK * weeks) | (held > 0)
    checks = Checks(
        due_week=due_week[kept],
        first_week=first_week[kept],
        last_week=last_week[kept],
        calendar=calendar[row][kept],
        place=place[kept],
        need=needs[row][kept],
        minutes=minutes[kept],
        late_cost=late_cost[kept],
        early_cost=early_cost[kept],
        unplaced_cost=unplaced_cost[kept],
        was_week=was_week[kept],
        was_crew=was_crew[kept],
        moved_cost=np.where(in_planned, weighing.moved_minutes, 0.0)[kept],
        fixed_week=fixed_week[kept],
        fixed_crew=fixed_crew[kept],
    )
    return Draft(
        problem=Problem(checks, capacity_minutes, able, calendars, visit_cost),
        joint_row=row[kept],
        joint_id=joint_id[kept],
        occurrence=occurrence[kept],
        due_day=found.day[kept],
        windows=Windows(first_week[kept], last_week[kept], span.latest_day[kept], lead_week[kept]),
        area_id=place_area[row][kept],
        scaffold=scaffold[row][kept],
        held=held[kept],
        pinned_beyond=beyond[kept],
        deferred=((occurrence == 0) & (deferred_day[row] >= 0))[kept],
        open_week=open_week,
    )


def unplaced_reasons(draft: Draft, placed_week: Integers) -> Integers:
    """Why each check stands in no week, 0 for those that stand in one."""
    problem, checks = draft.problem, draft.problem.checks
    reason = np.zeros(len(checks), dtype=np.int64)
    left = np.flatnonzero(placed_week == UNPLACED)
    keys = np.stack((checks.calendar, checks.need, checks.first_week, checks.last_week), axis=1)[left]
    cases, of_case = np.unique(keys, axis=0, return_inverse=True)
    longest = np.zeros(len(cases))
    verdict = np.zeros(len(cases), dtype=np.int64)
    for at, (calendar, need, first, last) in enumerate(cases.tolist()):
        open_weeks = problem.calendars[calendar, first : last + 1]
        hours = problem.capacity_minutes[problem.able[:, need], first : last + 1][:, open_weeks]
        longest[at] = np.max(hours, initial=0.0)
        if last < first:
            verdict[at] = Unplaced.NO_LEAD
        elif not open_weeks.any():
            verdict[at] = Unplaced.NEEDS_OUTAGE
        elif longest[at] <= 0:
            verdict[at] = Unplaced.NO_CREW
        else:
            verdict[at] = Unplaced.NO_ROOM
    of_case = of_case.reshape(-1)
    why = verdict[of_case]
    too_long = (why == Unplaced.NO_ROOM) & (checks.minutes[left] > longest[of_case])
    why = np.where(too_long, int(Unplaced.TOO_LONG), why)
    reason[left] = np.where(draft.pinned_beyond[left], int(Unplaced.PINNED_BEYOND), why)
    return reason


def _was(
    standing: Standing, horizon: Horizon, crew_number: Integers, joint_id: Integers, occurrence: Integers
) -> tuple[Integers, Integers]:
    """Week and crew of each check in the plan before, as far as that week and crew are there still."""
    before = standing.before
    # What was done is no more, and its joint's next round is now the first.
    keys = check_key(before["joint_id"], before["occurrence"] - before["done"])
    at = found_at(keys, check_key(joint_id, occurrence))
    if not len(keys):
        nowhere = np.full(len(joint_id), UNPLACED, dtype=np.int64)
        return nowhere, nowhere.copy()
    week = horizon.day(before["week_starting_on"]) // DAYS_OF_A_WEEK
    crew = _crew_at(crew_number, before["crew_id"])
    there = (at >= 0) & (week[at] >= 0) & (week[at] < horizon.weeks) & (crew[at] >= 0)
    return np.where(there, week[at], UNPLACED), np.where(there, crew[at], UNPLACED)


def _open_week(standing: Standing, horizon: Horizon) -> int:
    """The first week into which anything new may go: frozen is only what the plan before had decided."""
    if standing.plan is None or standing.plan.starts_on > horizon.starts_on:
        return 0
    decided = (standing.plan.ends_on - horizon.starts_on).days // DAYS_OF_A_WEEK
    return min(max(decided, 0), horizon.frozen_weeks)


def _fixed(
    standing: Standing,
    horizon: Horizon,
    crew_number: Integers,
    joint_id: Integers,
    occurrence: Integers,
    was_week: Integers,
    was_crew: Integers,
    able: Flags,
    open_week: int,
) -> tuple[Integers, Integers, Integers, Flags]:
    """What holds each check, and where; and which are held beyond the end. A route holds more than a person's pin, and
    that more than the frozen weeks."""
    frozen = (was_week >= 0) & (was_week < open_week)
    held = np.where(frozen, FROZEN, 0)
    week, crew = np.where(frozen, was_week, UNPLACED), np.where(frozen, was_crew, UNPLACED)
    beyond = np.zeros(len(joint_id), dtype=np.bool_)
    for how, columns, days in (
        (PINNED, standing.pins, standing.pins["week_starting_on"]),
        (ON_ROUTE, standing.routes, standing.routes["walk_on"]),
    ):
        at = np.where(occurrence == 0, found_at(columns["joint_id"], joint_id), -1)
        if not len(columns["joint_id"]):
            continue
        there = horizon.day(days)[at] // DAYS_OF_A_WEEK
        whose = _crew_at(crew_number, columns["crew_id"])[at]
        # A crew that is not on the list: whoever had it, or else the first who may.
        whose = np.where(whose >= 0, whose, crew)
        whose = np.where(whose >= 0, whose, was_crew)
        whose = np.where(whose >= 0, whose, np.where(able.any(axis=0), able.argmax(axis=0), UNPLACED))
        holds = (at >= 0) & (there >= 0) & (there < horizon.weeks) & (whose >= 0)
        held, week, crew = np.where(holds, how, held), np.where(holds, there, week), np.where(holds, whose, crew)
        if how == PINNED:
            beyond = (at >= 0) & (there >= horizon.weeks)
    beyond &= held == 0
    return held, week, crew, beyond


def _crew_at(crew_number: Integers, crew_id: Integers) -> Integers:
    order = np.argsort(crew_number)
    at = found_at(crew_number[order], crew_id.astype(np.int64))
    return np.where(at >= 0, order[at], UNPLACED) if len(order) else np.full(len(crew_id), UNPLACED)


def _by_joint(joint_id: Integers, columns: Columns, values: Integers) -> Integers:
    """A value of some joints for each joint, -1 for the others."""
    at = found_at(columns["joint_id"], joint_id)
    return np.where(at >= 0, values[at], -1) if len(values) else np.full(len(joint_id), -1, dtype=np.int64)


def _places(joints: Columns, policy: Policy) -> tuple[Integers, Integers, Integers]:
    """Area, number of the scaffold (0: none) and access of each joint."""
    area = joints["area_id"].astype(np.int64)
    assumed = ACCESS.index(policy.assumed.access) + 1
    access = np.where(joints["access"] == 0, assumed, joints["access"]).astype(np.int64)
    up = np.flatnonzero(access == _SCAFFOLD)
    reach, band = policy.planning.scaffold_reach_m, policy.planning.scaffold_band_m
    squares = np.floor(joints["location"][up] / reach).astype(np.int64)
    bands = np.floor(np.nan_to_num(joints["elevation_m"][up]) / band).astype(np.int64)
    scaffold = np.zeros(len(area), dtype=np.int64)
    if len(up):
        keys = np.column_stack((area[up], squares, bands))
        scaffold[up] = np.unique(keys, axis=0, return_inverse=True)[1].reshape(-1) + 1
    return area, scaffold, access


def _numbered_places(area: Integers, scaffold: Integers, policy: Policy) -> tuple[Integers, Floats]:
    """The place of each check and what a visit costs: the areas first, then the scaffolds."""
    areas, at = np.unique(area, return_inverse=True)
    scaffolds = int(scaffold.max(initial=0))
    place = np.where(scaffold > 0, len(areas) + scaffold - 1, at.reshape(-1))
    visit = policy.planning.visit_minutes
    cost = np.concatenate((np.full(len(areas), visit), np.full(scaffolds, policy.planning.scaffold_minutes)))
    return place.astype(np.int64), cost


def _lead_week(joints: Columns, access: Integers, policy: Policy, horizon: Horizon) -> Integers:
    """The week in which permit and scaffold of each joint can be had."""
    lead = np.zeros(len(access))
    weighing = policy.planning
    lead = np.where(joints["consequence_class"] >= weighing.permit_from_class, weighing.permit_lead_days, lead)
    lead = np.where(access == _SCAFFOLD, np.maximum(lead, weighing.scaffold_lead_days), lead)
    today = (horizon.today - horizon.starts_on).days
    return np.maximum(np.floor((today + lead) / DAYS_OF_A_WEEK).astype(np.int64), 0)


def _needs(family_id: Integers, families: Mapping[int, str], crews: Sequence[Crew]) -> tuple[Integers, Flags]:
    """The need of each joint, and which crew can do which; families that the same crews may check are one need."""
    ids, at = np.unique(family_id, return_inverse=True)
    may = np.array([[crew.may_check(families[number]) for number in ids.tolist()] for crew in crews], dtype=np.bool_)
    may = may.reshape(len(crews), len(ids))
    able, of_family = np.unique(may, axis=1, return_inverse=True)
    return of_family.reshape(-1)[at.reshape(-1)].astype(np.int64), able


def _calendars(joints: Columns, outages: Sequence[Outage], horizon: Horizon) -> tuple[Flags, Integers]:
    """Which weeks are open: all of them (row 0), and for what needs an outage those of its area."""
    needs = joints["requires_outage"]
    areas, at = np.unique(joints["area_id"][needs], return_inverse=True)
    rows = [np.ones(horizon.weeks, dtype=np.bool_)]
    rows += [outage_weeks(outages, area, horizon.starts_on, horizon.weeks) for area in areas.tolist()]
    calendar = np.zeros(len(needs), dtype=np.int64)
    calendar[needs] = at.reshape(-1) + 1
    return np.stack(rows), calendar
