"""Seven years in the life of the joints, of which the last five are on record: the model's own process, run forward.

Defects start as a Poisson process, become leaks after an exponential delay, and are found before that by a check
with probability p. A leak is noticed in operation or at the next check, and its repair is a new make-up, from which
the joint begins afresh. Times are days from the as-of date and negative.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from registry.demo.layout import FloatArray, IntArray
from registry.demo.schedule import RECORD_DAYS, WARM_UP_DAYS, Schedule

DAYS_PER_YEAR = 365.25
TIGHT, RETIGHTENED, WEEPING, LEAKING, NOT_REACHED = range(5)
WEEP, DRIP, SPRAY = range(3)
NO_RECORD, NOT_ACCEPTED, ACCEPTED, WITNESSED = range(4)
"""States of a joint's make-up, as the policy's table has them."""

Flags = npt.NDArray[np.bool_]
_NONE: IntArray = np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Process:
    """What drives the history of each joint; rates a year, `make_up_factor` by make-up state."""

    rate_without_make_up: FloatArray
    delay_rate: FloatArray
    detection_probability: FloatArray
    make_up_factor: FloatArray
    make_up_state: IntArray
    consequence_class: npt.NDArray[np.integer]


@dataclass(frozen=True, slots=True)
class Checks:
    """Checks on record, in order of time."""

    joint: IntArray
    day: FloatArray
    result: IntArray


@dataclass(frozen=True, slots=True)
class Leaks:
    """Leaks on record, in order of time; NaN for what has not happened yet."""

    joint: IntArray
    day: FloatArray
    severity: IntArray
    found_by_check: Flags
    first_attempt_day: FloatArray
    repaired_day: FloatArray


@dataclass(frozen=True, slots=True)
class Remakes:
    """Make-ups that repaired a leak, in order of time; `state` is what they left behind."""

    joint: IntArray
    day: FloatArray
    state: IntArray


@dataclass(frozen=True, slots=True)
class History:
    """What was recorded."""

    checks: Checks
    leaks: Leaks
    remakes: Remakes


@dataclass(frozen=True, slots=True)
class _Defects:
    """Candidate defects, before the state of the make-up has thinned them out, in order of joint and start."""

    joint: IntArray
    start: FloatArray
    mark: FloatArray
    found_at: FloatArray  # the check that finds it before it leaks; inf where none does
    found_check: IntArray
    leak_seen: FloatArray  # inf where it never leaks, or nobody has seen it
    leak_check: IntArray  # the check that sees the leak; -1 where operation does
    severity: IntArray
    repaired: FloatArray


def simulated_history(process: Process, schedule: Schedule, generator: np.random.Generator) -> History:
    """Run the process, joint by joint in parallel, and return what came on record.

    References
    ----------
    The delay-time process of A. H. Christer and W. M. Waller, J. Opl Res. Soc. 35 (1984) 401-406 (from memory), with
    each present defect found independently with probability p. Own method: thinning by the state of the make-up, and a
    repair as a fresh start.
    """
    defects = _candidates(process, schedule, generator)
    found, leaked, repaired, remakes = _lived_through(process, defects, generator)
    leaked = leaked & ~_seen_while_open(defects, leaked, repaired)
    result = np.full(len(schedule.joint), TIGHT)
    result[defects.found_check[found]] = RETIGHTENED
    seen_at_check = leaked & (defects.leak_check >= 0)
    result[defects.leak_check[seen_at_check]] = np.where(defects.severity[seen_at_check] == WEEP, WEEPING, LEAKING)
    # Between the sighting of a leak and its repair nobody checks that joint.
    idle = _within(schedule, defects.joint[leaked], defects.leak_seen[leaked], repaired[leaked])
    checks = _recorded_checks(schedule, result, idle, generator)
    leaks = _recorded_leaks(defects, leaked, repaired, generator)
    return History(checks, leaks, remakes)


def _candidates(process: Process, schedule: Schedule, generator: np.random.Generator) -> _Defects:
    years = (RECORD_DAYS + WARM_UP_DAYS) / DAYS_PER_YEAR
    most = process.make_up_factor.max()
    number = generator.poisson(process.rate_without_make_up * most * years)
    joint = np.repeat(np.arange(len(number)), number)
    start = generator.uniform(-(RECORD_DAYS + WARM_UP_DAYS), 0.0, len(joint))
    order = np.lexsort((start, joint))
    start = start[order]
    leaks_at = start + generator.exponential(1.0, len(joint)) / process.delay_rate[joint] * DAYS_PER_YEAR
    first = _first_check_after(schedule, joint, start)
    tries = generator.geometric(process.detection_probability[joint])
    found_check = first + tries - 1
    found_at = _time_of(schedule, found_check, joint)
    found_at = np.where(found_at < leaks_at, found_at, np.inf)
    severity = generator.choice(3, len(joint), p=[0.70, 0.23, 0.07])
    noticed = leaks_at + generator.exponential(np.array([40.0, 9.0, 0.6])[severity])
    next_check = _first_check_after(schedule, joint, leaks_at)
    at_check = _time_of(schedule, next_check, joint)
    by_check = at_check < noticed
    seen = np.where(np.isfinite(found_at), np.inf, np.minimum(noticed, at_check))
    seen = np.where(seen < -0.05, seen, np.inf)
    # A spray is seen to at once; a weep in a harmless service waits for an occasion.
    patience = np.array(
        [
            [0.0, 0.0, 0.0],
            [160.0, 45.0, 2.0],
            [120.0, 32.0, 1.5],
            [70.0, 18.0, 1.0],
            [42.0, 10.0, 0.8],
            [26.0, 6.0, 0.5],
        ]
    )
    wait = patience[process.consequence_class[joint], severity] * generator.lognormal(0.0, 0.7, len(joint))
    return _Defects(
        joint=joint,
        start=start,
        mark=generator.random(len(joint)) * most,
        found_at=found_at,
        found_check=found_check,
        leak_seen=seen,
        leak_check=np.where(by_check & np.isfinite(seen), next_check, -1),
        severity=severity,
        repaired=seen + wait + 0.1,
    )


def _lived_through(
    process: Process, defects: _Defects, generator: np.random.Generator
) -> tuple[Flags, Flags, FloatArray, Remakes]:
    """Which candidates a check found, which leaked and were seen, when those were repaired, and the new make-ups."""
    count = len(process.make_up_state)
    factor = process.make_up_factor[process.make_up_state].copy()
    since = np.full(count, -np.inf)
    repaired = defects.repaired.copy()
    found = np.zeros(len(defects.joint), dtype=bool)
    leaked = np.zeros(len(defects.joint), dtype=bool)
    open_ = np.arange(len(defects.joint))
    joints, days, states = [_NONE], [np.empty(0)], [_NONE]
    # A round takes every joint to its next repair; few joints have more than one.
    while len(open_):
        joint = defects.joint[open_]
        happens = (defects.mark[open_] < factor[joint]) & (defects.start[open_] > since[joint])
        repair = np.full(count, np.inf)
        np.minimum.at(repair, joint, np.where(happens, repaired[open_], np.inf))
        before = defects.start[open_] < repair[joint]
        mine = open_[happens & before]
        at = repair[defects.joint[mine]]
        # The new make-up takes away what was still there: neither found later, nor seen to leak later.
        found[mine] = defects.found_at[mine] < at
        leaked[mine] = defects.leak_seen[mine] < at
        repaired[mine] = np.minimum(repaired[mine], at)
        made = np.flatnonzero(np.isfinite(repair))
        state = generator.choice([NOT_ACCEPTED, ACCEPTED, WITNESSED], len(made), p=[0.03, 0.37, 0.60])
        joints.append(made)
        days.append(repair[made])
        states.append(state)
        factor[made] = process.make_up_factor[state]
        since[made] = repair[made]
        open_ = open_[~before]
    joint, day, state = np.concatenate(joints), np.concatenate(days), np.concatenate(states)
    past = np.flatnonzero(day < 0.0)
    past = past[np.argsort(day[past], kind="stable")]
    return found, leaked, repaired, Remakes(joint[past], day[past], state[past])


def _seen_while_open(defects: _Defects, leaked: Flags, repaired: FloatArray) -> Flags:
    """Leaks that were seen on a joint while another was open there: to who looks at it, they are one leak."""
    rows = np.flatnonzero(leaked)
    rows = rows[np.lexsort((repaired[rows], defects.leak_seen[rows], defects.joint[rows]))]
    again = np.zeros(len(leaked), dtype=bool)
    same = defects.joint[rows[1:]] == defects.joint[rows[:-1]]
    again[rows[1:][same & (defects.leak_seen[rows[1:]] <= repaired[rows[:-1]])]] = True
    return again


def _recorded_checks(schedule: Schedule, result: IntArray, idle: Flags, generator: np.random.Generator) -> Checks:
    kept = (schedule.day >= -RECORD_DAYS) & ~idle
    missed = kept & (generator.random(len(kept)) < 0.012)
    joint = np.concatenate([schedule.joint[kept], schedule.joint[missed]])
    day = np.concatenate([schedule.day[kept], schedule.day[missed] - generator.integers(1, 8, int(missed.sum()))])
    outcome = np.concatenate([result[kept], np.full(int(missed.sum()), NOT_REACHED)])
    order = np.lexsort((joint, day))
    return Checks(joint[order], day[order], outcome[order])


def _recorded_leaks(defects: _Defects, leaked: Flags, repaired: FloatArray, generator: np.random.Generator) -> Leaks:
    rows = np.flatnonzero(leaked & (defects.leak_seen >= -RECORD_DAYS))
    rows = rows[np.lexsort((defects.joint[rows], defects.leak_seen[rows]))]
    seen, done = defects.leak_seen[rows], repaired[rows]
    tried = seen + generator.uniform(0.1, 5.0, len(rows))
    tried = np.where((generator.random(len(rows)) < 0.45) & (tried < done - 0.2) & (tried < -0.1), tried, np.nan)
    return Leaks(
        joint=defects.joint[rows],
        day=seen,
        severity=defects.severity[rows],
        found_by_check=defects.leak_check[rows] >= 0,
        first_attempt_day=tried,
        repaired_day=np.where(done < -0.05, done, np.nan),
    )


def _key(joint: IntArray, day: FloatArray) -> FloatArray:
    # One number that sorts by joint, then by day; days lie within ± 100,000.
    return joint * 200_000.0 + np.clip(day, -99_999.0, 99_999.0)


def _first_check_after(schedule: Schedule, joint: IntArray, day: FloatArray) -> IntArray:
    return np.searchsorted(_key(schedule.joint, schedule.day), _key(joint, day), side="right")


def _time_of(schedule: Schedule, check: IntArray, joint: IntArray) -> FloatArray:
    """Day of a check by its position, inf where the position belongs to another joint (no such check took place)."""
    if not len(schedule.joint):
        return np.full(len(check), np.inf)
    within = np.minimum(check, len(schedule.joint) - 1)
    its_own = (check < len(schedule.joint)) & (schedule.joint[within] == joint)
    return np.where(its_own, schedule.day[within], np.inf)


def _within(schedule: Schedule, joint: IntArray, start: FloatArray, end: FloatArray) -> Flags:
    """Which checks of the schedule lie after `start` and not after `end` on that joint."""
    key = _key(schedule.joint, schedule.day)
    first = np.searchsorted(key, _key(joint, start), side="right")
    last = np.searchsorted(key, _key(joint, end), side="right")
    edges = np.zeros(len(key) + 1, dtype=np.int64)
    np.add.at(edges, first, 1)
    np.add.at(edges, np.maximum(last, first), -1)
    return np.cumsum(edges[:-1]) > 0
