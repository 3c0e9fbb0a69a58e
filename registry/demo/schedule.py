"""When the joints of Saltmarsh Point were checked: by a rule at first, by the model's intervals in the last years."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from registry.demo.layout import FloatArray, IntArray

WARM_UP_DAYS = 730.0
RECORD_DAYS = 5 * 365.25
RULE_CHANGED_DAYS = 2 * 365.25
"""So long before the as-of date the plant went over from its old rule to the model's intervals."""

OLD_RULE_DAYS = np.array([0.0, 900.0, 730.0, 420.0, 365.0, 240.0])
"""By consequence class, 1 to 5."""
OLD_RULE_BY_AREA = np.array([0.8, 0.7, 1.0, 1.25, 1.5, 1.0, 1.4, 1.2])
"""Some units looked more often than their rule asked for, some less."""

LATE_BY_AREA = np.array([0.055, 0.13, 0.10, 0.08, 0.05, 0.045, 0.05, 0.10])
"""Share of the joints whose check is overdue today."""
NEVER_CHECKED = 0.005
_SHORTEST_DAYS = 50.0
"""Nobody went more often than this in the past, whatever the model would have asked for."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """Checks in order of joint and time; `day` counts from the as-of date and is negative."""

    joint: IntArray
    day: FloatArray


def check_schedule(
    interval_days: FloatArray,
    consequence_class: npt.NDArray[np.integer],
    area: IntArray,
    generator: np.random.Generator,
) -> Schedule:
    """When each joint was checked, back to the beginning of the warm-up.

    Parameters
    ----------
    interval_days : ndarray, shape (n,)
        What the model asks for [day].
    consequence_class : ndarray of int, shape (n,)
        1 to 5.
    area : ndarray of int, shape (n,)
        Index of the area.
    generator : source of the randomness.

    Returns
    -------
    Schedule
        The visits, uneven as crews are: most a little before their day, some late, a few joints never.

    References
    ----------
    Own method: a renewal walked backward from today, so that the share overdue today is the one wanted.
    """
    count = len(interval_days)
    late = generator.random(count) < LATE_BY_AREA[area]
    share = np.where(late, generator.uniform(1.02, 1.6, count), generator.uniform(0.0, 0.985, count))
    day = -share * interval_days
    # Nobody's last check is older than what the old rule would have let pass, twice over.
    oldest = OLD_RULE_DAYS[consequence_class] * OLD_RULE_BY_AREA[area]
    day = np.where(late, day, np.maximum(day, -oldest * generator.uniform(0.1, 1.0, count)))
    day = np.maximum(day, -RECORD_DAYS + generator.uniform(30.0, 300.0, count))
    joint = np.arange(count)[generator.random(count) >= NEVER_CHECKED]
    day = day[joint]
    joints: list[IntArray] = []
    days: list[FloatArray] = []
    while len(joint):
        joints.append(joint)
        days.append(day)
        new_rule = np.maximum(interval_days[joint], _SHORTEST_DAYS) * generator.uniform(0.75, 1.05, len(joint))
        old_rule = oldest[joint] * generator.lognormal(0.0, 0.18, len(joint))
        slipped = np.where(generator.random(len(joint)) < 0.07, generator.uniform(1.2, 1.7, len(joint)), 1.0)
        step = np.where(day > -RULE_CHANGED_DAYS, np.minimum(new_rule, old_rule * 1.5), old_rule) * slipped
        day = day - step
        kept = day > -(RECORD_DAYS + WARM_UP_DAYS)
        joint, day = joint[kept], day[kept]
    every, when = np.concatenate(joints), np.concatenate(days)
    # A crew works by day: between 07:00 and 15:30.
    when = np.minimum(np.floor(when) + generator.uniform(7 / 24, 15.5 / 24, len(when)), -0.3)
    order = np.lexsort((when, every))
    return Schedule(every[order], when[order])
