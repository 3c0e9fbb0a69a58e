"""What stands elsewhere than in the plan before, and why: every difference, one row each."""

import numpy as np
import numpy.typing as npt

from registry.columns import Columns
from registry.planning.drafting import ON_ROUTE, PINNED, Draft, Horizon, Standing, check_key, found_at
from registry.planning.problem import UNPLACED, Floats, Integers
from registry.planning.reasons import Moved
from registry.planning.windows import DAYS_OF_A_WEEK

NO_WEEK = np.datetime64("0001-01-01", "D")
NO_CREW = 0
_SAME_MINUTES = 1e-6


def moves(
    draft: Draft,
    week: Integers,
    crew_id: Integers,
    standing: Standing,
    horizon: Horizon,
    hours_before: Floats,
) -> Columns:
    """Every check that the plan before had elsewhere, or had not, or that this one has not; as `waiting_move` takes it.

    `week` and `crew_id` of each check of the draft are as decided (UNPLACED, NO_CREW: none). `hours_before` (crews,
    weeks) is what the plan before counted on in the weeks of this one, NaN where it did not reach. Of the reasons that
    hold the first is given: what happened to the check itself goes before what happened to the crews, and that before
    everything else.
    """
    before = standing.before
    old_occurrence = before["occurrence"].astype(np.int64) - before["done"]
    old_key = check_key(before["joint_id"], old_occurrence)
    new_key = check_key(draft.joint_id, draft.occurrence)
    to_week = np.where(week == UNPLACED, NO_WEEK, horizon.dates(DAYS_OF_A_WEEK * week))
    at = found_at(old_key, new_key)
    both = np.flatnonzero(at >= 0)
    old = at[both]
    elsewhere = (before["week_starting_on"][old] != to_week[both]) | (before["crew_id"][old] != crew_id[both])
    both, old = both[elsewhere], old[elsewhere]
    added = np.flatnonzero(at < 0)
    gone = np.flatnonzero(found_at(new_key, old_key) < 0)
    reason = _reasons(draft, both, old, week, standing, horizon, hours_before)
    was_done = old_occurrence[gone] < 0
    return {
        "joint_id": np.concatenate((draft.joint_id[both], draft.joint_id[added], before["joint_id"][gone])),
        "occurrence": np.concatenate((draft.occurrence[both], draft.occurrence[added], old_occurrence[gone])),
        "from_week": _joined(before["week_starting_on"][old], NO_WEEK, before["week_starting_on"][gone], len(added)),
        "from_crew_id": _joined(before["crew_id"][old], NO_CREW, before["crew_id"][gone], len(added)),
        "to_week": np.concatenate((to_week[both], to_week[added], np.full(len(gone), NO_WEEK))),
        "to_crew_id": np.concatenate((crew_id[both], crew_id[added], np.full(len(gone), NO_CREW))),
        "reason": np.concatenate(
            (
                reason,
                np.full(len(added), int(Moved.NEW)),
                np.where(was_done, int(Moved.DONE), int(Moved.NO_LONGER_DUE)),
            )
        ),
    }


def _reasons(
    draft: Draft,
    rows: Integers,
    old: Integers,
    week: Integers,
    standing: Standing,
    horizon: Horizon,
    hours_before: Floats,
) -> Integers:
    problem, before = draft.problem, standing.before
    checks, hours = problem.checks, problem.capacity_minutes
    old_day = horizon.day(before["week_starting_on"][old])
    had_week = before["week_starting_on"][old] > NO_WEEK
    old_week = np.where(had_week, old_day // DAYS_OF_A_WEEK, UNPLACED)
    was_week, was_crew = checks.was_week[rows], checks.was_crew[rows]
    stood = was_week >= 0
    at_week, at_crew = np.maximum(was_week, 0), np.maximum(was_crew, 0)
    first, last = checks.first_week[rows], checks.last_week[rows]
    latest_day = draft.windows.latest_day[rows]
    to_week = week[rows]
    fell = stood & _differs(hours[at_crew, at_week], hours_before[at_crew, at_week])
    any_crew = np.arange(problem.crews)[:, None]
    grew = (to_week >= 0) & _differs(
        hours[any_crew, np.maximum(to_week, 0)], hours_before[any_crew, np.maximum(to_week, 0)]
    ).any(axis=0)
    conditions: list[tuple[npt.NDArray[np.bool_], Moved]] = [
        (draft.held[rows] == ON_ROUTE, Moved.ON_ROUTE),
        ((draft.held[rows] == PINNED) | draft.pinned_beyond[rows], Moved.BY_HAND),
        (had_week & (old_day < 0), Moved.MISSED),
        (draft.deferred[rows] & (latest_day != horizon.day(before["latest_on"][old])), Moved.DEFERRED),
        (draft.due_day[rows] != horizon.day(before["due_on"][old]), Moved.DUE_CHANGED),
        (stood & ~problem.calendars[checks.calendar[rows], at_week], Moved.OUTAGE_CHANGED),
        (had_week & (old_week < horizon.weeks) & ~stood, Moved.CREW_CHANGED),
        (stood & ~problem.able[at_crew, checks.need[rows]], Moved.CREW_CHANGED),
        (had_week & ((old_week < first) | (old_week > last)), Moved.WINDOW_CHANGED),
        (fell | grew, Moved.HOURS_CHANGED),
        (np.abs(checks.minutes[rows] - before["minutes"][old]) > _SAME_MINUTES, Moved.MINUTES_CHANGED),
    ]
    return np.select(
        [condition for condition, _ in conditions],
        [np.int64(reason) for _, reason in conditions],
        default=np.int64(Moved.FOR_OTHERS),
    )


def _differs(now: Floats, before: Floats) -> npt.NDArray[np.bool_]:
    """Where hours changed; a week that the plan before did not reach has not changed."""
    return ~np.isnan(before) & (np.abs(now - before) > _SAME_MINUTES)


def _joined(
    first: npt.NDArray[np.generic], nothing: np.generic | int, last: npt.NDArray[np.generic], between: int
) -> npt.NDArray[np.generic]:
    return np.concatenate((first, np.full(between, nothing, dtype=first.dtype), last))
