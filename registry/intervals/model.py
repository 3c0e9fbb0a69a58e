"""What the whole-plant score takes and gives: columns, one entry a joint.

'Not given' is NaN for a number, NaT for a date and 0 for an id or a code.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from registry.errors import Invalid
from registry.exposure.readings import LineReadings, ThermalHistory, VibrationZones

LIMITS: Final = ("risk", "floor", "cap", "override")
"""What set the interval; `interval_limit` is the position here."""

DUE_REASONS: Final = ("interval", "settling", "retightening", "leak_nearby", "no_record", "recall")
"""What set the due date; `due_reason` is the position here."""

DAYS_PER_YEAR: Final = 365.25

Floats = NDArray[np.float64]
Whole = NDArray[np.int32]
Small = NDArray[np.int16]
Flags = NDArray[np.bool_]
Dates = NDArray[np.datetime64]


class FamilyUnknown(Invalid):
    """The policy has no row for a family that joints are of"""

    slug = "family-unknown"


@dataclass(frozen=True, slots=True)
class JointColumns:
    """The joints as registered, with the newest facts of each."""

    joint_id: Whole
    east_m: Floats
    north_m: Floats
    elevation_m: Floats
    area_id: Whole
    line_id: Whole
    family_id: Small
    service_id: Small
    size_mm: Floats
    pressure_barg: Floats
    temperature_degc: Floats
    made_up_on: Dates
    vibration_mm_s: Floats
    vibration_hz: Floats
    thermal_cycles_per_year: Floats
    thermal_range_degc: Floats
    access: Small
    last_vibration_mm_s: Floats
    last_vibration_hz: Floats
    last_make_up_on: Dates
    last_make_up_accepted: Flags
    last_make_up_witnessed: Flags
    last_satisfactory_on: Dates
    """Newest satisfactory check."""
    override_days: Floats
    recall_due_on: Dates
    """By when an open recall calls for a check."""

    def __len__(self) -> int:
        return len(self.joint_id)

    def rows(self, chosen: slice | NDArray[np.intp] | Flags) -> Self:
        """Return these joints only."""
        return type(self)(*(getattr(self, column.name)[chosen] for column in fields(self)))


@dataclass(frozen=True, slots=True)
class NearbyLeaks:
    """Leaks of the recent past; the place is the leaking joint's."""

    joint_id: Whole
    line_id: Whole
    east_m: Floats
    north_m: Floats
    observed_on: Dates

    @classmethod
    def none(cls) -> Self:
        """Return no leaks."""
        return cls(_NO_NUMBERS, _NO_NUMBERS, _NOTHING, _NOTHING, _NO_DATES)


@dataclass(frozen=True, slots=True)
class ScoreInputs:
    """Everything of a site that its scores depend on, but for the policy and the date."""

    joints: JointColumns
    family_codes: Mapping[int, str]
    service_names: Mapping[int, str]
    area_occupancy: Mapping[int, str]
    line_readings: LineReadings = field(default_factory=LineReadings.none)
    zones: VibrationZones = field(default_factory=VibrationZones.none)
    thermal_histories: Sequence[ThermalHistory] = ()
    nearby_leaks: NearbyLeaks = field(default_factory=lambda: NearbyLeaks.none())


@dataclass(frozen=True, slots=True)
class Scores:
    """One array per column of the table `score`, in the order of the joints given."""

    joint_id: Whole
    base_rate_per_year: Floats
    vibration_factor: Floats
    thermal_factor: Floats
    make_up_factor: Floats
    plant_factor: Floats
    defect_rate_per_year: Floats
    delay_rate_per_year: Floats
    detection_probability: Floats
    release_kg_s: Floats
    consequence_class: Small
    tolerable_leaks_per_year: Floats
    interval_days: Floats
    interval_limit: Small
    beyond_checking: Flags
    vibration_action: Flags
    assumed_inputs: Small
    last_satisfactory_on: Dates
    due_on: Dates
    due_reason: Small
    leak_rate_now_per_year: Floats
    likelihood_class: Small
    risk_now: Floats
    risk_rank: Whole
    check_minutes: Floats

    def __len__(self) -> int:
        return len(self.joint_id)


_NOTHING: Floats = np.empty(0)
_NO_NUMBERS: Whole = np.empty(0, np.int32)
_NO_DATES: Dates = np.empty(0, "datetime64[D]")
