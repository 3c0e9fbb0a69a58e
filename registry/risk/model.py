"""Codes that stand in the stored score."""

from enum import IntFlag
from typing import Final


class Assumed(IntFlag):
    """Which inputs of a joint came from policy because nobody gave them: the bits of `assumed_inputs`."""

    SIZE = 1
    TEMPERATURE = 2
    VIBRATION = 4
    FREQUENCY = 8
    THERMAL_CYCLES = 16
    THERMAL_RANGE = 32
    ACCESS = 64
    OCCUPANCY = 128
    MAKE_UP = 256
    LAST_CHECK = 512
    SERVICE = 1024
    REFUSED_READING = 2048
    """A reading was there but stood outside the range of the vibration lines, so the next source was taken."""


ASSUMED_LABELS: Final = {
    Assumed.SIZE: "size",
    Assumed.TEMPERATURE: "temperature",
    Assumed.VIBRATION: "vibration",
    Assumed.FREQUENCY: "vibration frequency",
    Assumed.THERMAL_CYCLES: "thermal cycles a year",
    Assumed.THERMAL_RANGE: "thermal range",
    Assumed.ACCESS: "access",
    Assumed.OCCUPANCY: "occupancy of the area",
    Assumed.MAKE_UP: "make-up record",
    Assumed.LAST_CHECK: "date of the last check",
    Assumed.SERVICE: "service (no row in the policy)",
    Assumed.REFUSED_READING: "a vibration reading outside the range of the lines",
}


def assumed_labels(bits: int) -> tuple[str, ...]:
    """Return in words which inputs were assumed, for the bits of one joint.

    >>> assumed_labels(3)
    ('size', 'temperature')
    """
    return tuple(label for flag, label in ASSUMED_LABELS.items() if bits & flag)
