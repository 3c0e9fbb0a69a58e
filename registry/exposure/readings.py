"""What was measured on joints, lines and places of the plant, as columns for whole-plant work."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LineReadings:
    """Vibration readings on lines, each at its place: the newest of each place and frequency."""

    line_id: Integers
    east_m: Floats
    north_m: Floats
    velocity_mm_s: Floats
    frequency_hz: Floats

    @classmethod
    def none(cls) -> Self:
        """Return no readings."""
        return cls(_NO_NUMBERS, _NOTHING, _NOTHING, _NOTHING, _NOTHING)


@dataclass(frozen=True, slots=True)
class VibrationZones:
    """Vibration sources of the plot plan: the velocity 1 m from each, how it falls with distance, how far it is
    felt."""

    east_m: Floats
    north_m: Floats
    velocity_mm_s: Floats
    frequency_hz: Floats
    radius_m: Floats
    decay: Floats

    @classmethod
    def none(cls) -> Self:
        """Return no zones."""
        return cls(_NOTHING, _NOTHING, _NOTHING, _NOTHING, _NOTHING, _NOTHING)


@dataclass(frozen=True, slots=True)
class ThermalHistory:
    """The counted temperature cycles of one joint or one line (the other id is 0) over a span of years."""

    joint_id: int
    line_id: int
    span_years: float
    range_degc: Sequence[float] | Floats
    count: Sequence[float] | Floats


_NOTHING: Floats = np.empty(0)
_NO_NUMBERS: Integers = np.empty(0, np.int64)
