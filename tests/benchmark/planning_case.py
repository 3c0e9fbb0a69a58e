"""A plan of the size of a large plant, from a seed: overdue work, clustered due dates, skills, scaffolds, outages."""

import numpy as np

from registry.planning.problem import UNPLACED, Checks, Flags, Floats, Integers, Problem

_CLASS_SHARE = (0.22, 0.30, 0.26, 0.16, 0.06)
_CLASS_WEIGHT = np.array([1.0, 3.0, 10.0, 30.0, 100.0])
_TOLERABLE = np.array([0.02, 0.008, 0.004, 0.002, 0.001])
_CAP_WEEKS = np.array([104.0, 104.0, 78.0, 52.0, 26.0])
_FLOOR_WEEKS = 6.0
_MINUTES_PER_WEIGHTED_LEAK = 600.0
_DETECTION = 0.9
_WEEKS_PER_YEAR = 52.18
# Families that a crew sees apart, the share of the joints that each has, and which crews check them.
_NEED_SHARE = (0.55, 0.25, 0.12, 0.08)
_ABLE = np.array(
    [
        [True, True, True, False],
        [True, True, False, False],
        [True, False, True, False],
        [True, True, False, True],
        [False, True, True, False],
        [True, False, False, True],
    ]
)
_VISIT_MINUTES = 30.0
_SCAFFOLD_MINUTES = 480.0
_SCAFFOLD_SHARE = 0.08
_OUTAGE_SHARE = 0.03
_LOAD = 0.9


def planning_case(
    checks: int, seed: int, *, areas: int = 60, scaffolds: int = 1_500, weeks: int = 104, load: float = _LOAD
) -> Problem:
    """About `checks` checks of `areas` areas and `scaffolds` scaffolds, with six crews loaded to `load` of their time.

    Joints have intervals of some weeks to two years, from their risk; each of their checks before the horizon's end is
    one check of the plan. Every joint of an area on one job has its first due date near those of its neighbours, one in
    fourteen is overdue, and each of the two outages covers half of the areas.
    """
    rng = np.random.default_rng(seed)
    joints = _joints(rng, max(checks * 52 // weeks, 1), areas)
    area, due, interval, rate, delay, weight, access = joints
    occurrences = np.maximum(np.ceil((weeks - due) / interval), 0.0).astype(np.int64)
    wanted = int(np.searchsorted(np.cumsum(occurrences), checks, side="left")) + 1
    repeat = np.repeat(np.arange(len(area))[:wanted], occurrences[:wanted])
    before = np.cumsum(occurrences[:wanted]) - occurrences[:wanted]
    number = np.arange(len(repeat)) - np.repeat(before, occurrences[:wanted])
    due_week = np.floor(due[repeat] + number * interval[repeat]).astype(np.int64)
    span = interval[repeat]
    minutes = _minutes(rng, len(area), access)[repeat]
    need = rng.choice(len(_NEED_SHARE), len(area), p=_NEED_SHARE)[repeat]
    scaffold = area * 0 + UNPLACED
    up = access == 3
    scaffold[up] = areas + rng.integers(0, max(scaffolds // areas, 1), len(area))[up] * areas + area[up]
    place = np.where(scaffold[repeat] >= 0, scaffold[repeat], area[repeat])
    late = (
        _MINUTES_PER_WEIGHTED_LEAK
        * weight[repeat]
        * _DETECTION
        * rate[repeat]
        * -np.expm1(-delay[repeat] * span / _WEEKS_PER_YEAR)
        / _WEEKS_PER_YEAR
    )
    overdue = due_week < 0
    first = np.maximum(due_week - np.minimum(0.25 * span, 8.0).astype(np.int64), 0)
    first = np.where(weight[repeat] >= 100.0, np.maximum(first, 1), first)
    first = np.where(place >= areas, np.maximum(first, 2), first)
    last = due_week + np.ceil(np.minimum(0.25 * span, 13.0)).astype(np.int64)
    last = np.minimum(np.where(overdue, np.maximum(last, 7), last), weeks - 1)
    due_week = np.maximum(due_week, 0)
    calendars, calendar = _outages(rng, area[repeat], areas, weeks, repeat, len(area))
    shut = calendar > 0
    first = np.where(shut, np.maximum(due_week - 52, 0), first)
    nowhere = np.full(len(repeat), UNPLACED)
    visit_cost = np.where(
        np.arange(areas + max(scaffolds // areas, 1) * areas) < areas, _VISIT_MINUTES, _SCAFFOLD_MINUTES
    )
    return Problem(
        Checks(
            due_week=due_week,
            first_week=first,
            last_week=last,
            calendar=calendar,
            place=place,
            need=need,
            minutes=minutes,
            late_cost=late,
            early_cost=minutes / span,
            unplaced_cost=late * (weeks - due_week + 13) + 10 * minutes + visit_cost[place],
            was_week=nowhere,
            was_crew=nowhere,
            moved_cost=np.zeros(len(repeat)),
            fixed_week=nowhere,
            fixed_crew=nowhere,
        ),
        _capacity(rng, need, minutes, weeks, load),
        _ABLE,
        calendars,
        visit_cost,
    )


def _joints(
    rng: np.random.Generator, joints: int, areas: int
) -> tuple[Integers, Floats, Floats, Floats, Floats, Floats, Integers]:
    share = rng.gamma(2.0, size=areas)
    area = rng.choice(areas, joints, p=share / share.sum())
    hazard = rng.choice(5, joints, p=_CLASS_SHARE)
    rate = 0.01 * np.exp(rng.normal(0.0, 0.6, joints))
    delay = 0.9 * np.exp(rng.normal(0.0, 0.2, joints))
    # Near the interval that the model gives for small rates: the leaks of T years without a check are λγT²/2.
    years = np.minimum(2.0 * _TOLERABLE[hazard] / (rate * delay), 8.0)
    interval = np.clip(years * _WEEKS_PER_YEAR, _FLOOR_WEEKS, _CAP_WEEKS[hazard])
    job = rng.uniform(0.0, 1.0, (areas, 40))[area, rng.integers(0, 40, joints)]
    due = np.mod(job + rng.normal(0.0, 0.02, joints), 1.0) * interval
    behind = rng.random(joints) < 1 / 14
    due = np.where(behind, -rng.exponential(8.0, joints), due)
    access = rng.choice(4, joints, p=(0.55, 0.25, 0.20 - _SCAFFOLD_SHARE, _SCAFFOLD_SHARE))
    return area, due, interval, rate, delay, _CLASS_WEIGHT[hazard], access


def _minutes(rng: np.random.Generator, joints: int, access: Integers) -> Floats:
    return rng.choice([10.0, 12.0, 20.0, 35.0], joints) + np.array([0.0, 3.0, 8.0, 6.0])[access]


def _outages(
    rng: np.random.Generator, area: Integers, areas: int, weeks: int, joint: Integers, joints: int
) -> tuple[Flags, Integers]:
    starts = (weeks * 3 // 10, weeks * 7 // 10)
    calendars = np.ones((4, weeks), dtype=np.bool_)
    for row, of in ((1, (0,)), (2, (1,)), (3, (0, 1))):
        calendars[row] = False
        for number in of:
            calendars[row, starts[number] : starts[number] + 4] = True
    by_area = rng.integers(1, 4, areas)
    needs_outage = (rng.random(joints) < _OUTAGE_SHARE)[joint]
    return calendars, np.where(needs_outage, by_area[area], 0)


def _capacity(rng: np.random.Generator, need: Integers, minutes: Floats, weeks: int, load: float) -> Floats:
    work = np.bincount(need, minutes, _ABLE.shape[1])
    share = (work / _ABLE.sum(axis=0) * _ABLE).sum(axis=1)
    capacity = np.repeat(share[:, None] / load / weeks, weeks, axis=1)
    away = rng.random(capacity.shape)
    return np.round(capacity * np.where(away < 0.04, 0.4, np.where(away < 0.06, 0.0, 1.03)))
