"""Checks that events ask for: a settling check after a repair, a look at the neighbours of a leak."""

import numpy as np

from registry.demo.history import History
from registry.demo.joints import Joints
from registry.demo.layout import FloatArray, IntArray
from registry.demo.schedule import Schedule
from registry.exposure.on_line import pairs_on_lines

NEIGHBOUR_M = 10.0
_ANSWERED = 0.94
_SETTLED = 0.9


def answered(schedule: Schedule, first: History, joints: Joints, generator: np.random.Generator) -> Schedule:
    """The schedule with the checks that a first run of the history asks for.

    Run again on it with the same randomness, the same defects come up, and some are found by these checks.
    """
    near, asked_on = _neighbours(first, joints)
    looked = generator.random(len(near)) < _ANSWERED
    near_day = asked_on + generator.uniform(1.0, 12.0, len(near))
    settling_day = first.remakes.day + generator.uniform(8.0, 26.0, len(first.remakes.day))
    settled = generator.random(len(settling_day)) < _SETTLED
    joint = np.concatenate([near[looked], first.remakes.joint[settled]])
    day = np.floor(np.concatenate([near_day[looked], settling_day[settled]]))
    # Two reasons on one day are one visit.
    joint, day = np.unique(np.column_stack([joint, day]), axis=0).T
    joint, day = joint.astype(np.int64), day + generator.uniform(7 / 24, 15.5 / 24, len(day))
    past = day < -0.3
    every, when = np.concatenate([schedule.joint, joint[past]]), np.concatenate([schedule.day, day[past]])
    order = np.lexsort((when, every))
    return Schedule(every[order], when[order])


def _neighbours(first: History, joints: Joints) -> tuple[IntArray, FloatArray]:
    """Joints near a leak on its line, and the day of the leak."""
    leaks = first.leaks
    found: list[IntArray] = [np.empty(0, dtype=np.int64)]
    day: list[FloatArray] = [np.empty(0)]
    for pairs in pairs_on_lines(joints.line + 1, joints.line[leaks.joint] + 1):
        leaking = leaks.joint[pairs.place]
        distance = np.hypot(
            joints.east_m[pairs.joint] - joints.east_m[leaking], joints.north_m[pairs.joint] - joints.north_m[leaking]
        )
        near = (distance <= NEIGHBOUR_M) & (pairs.joint != leaking)
        found.append(pairs.joint[near].astype(np.int64))
        day.append(leaks.day[pairs.place[near]])
    return np.concatenate(found), np.concatenate(day)
