"""Which vibration a joint is taken to have: its own reading, its line's, a zone's on the plot plan, or the policy's."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from registry.exposure.on_line import nearest_on_line
from registry.exposure.readings import LineReadings, VibrationZones
from registry.exposure.vibration import concern_velocity, usable, velocity_at_distance

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SOURCES: Final = ("reading", "joint_list", "line", "zone", "assumed")
"""Where a joint's vibration comes from, in order of precedence; `source` is the position here."""

READING, JOINT_LIST, LINE, ZONE, ASSUMED = range(5)


@dataclass(frozen=True, slots=True)
class VibrationExposure:
    """The vibration that each joint is taken to have, and where it comes from."""

    velocity_mm_s: Floats
    frequency_hz: Floats
    source: NDArray[np.int8]
    distance_m: Floats
    """From the line reading or the source of the zone; NaN otherwise."""
    frequency_assumed: Flags
    refused: Flags
    """A source of higher precedence was there but stood outside the range of the lines."""


def vibration_exposure(
    east_m: Floats,
    north_m: Floats,
    line_id: NDArray[np.integer],
    own: Sequence[tuple[Floats, Floats]],
    line_readings: LineReadings,
    zones: VibrationZones,
    line_distance_m: float,
    assumed_mm_s: float,
    assumed_hz: float,
) -> VibrationExposure:
    """Vibration of each joint by precedence: own readings in the order given, line, zone, assumed.

    (v, f) = the first that is given and usable of: own readings; line reading with least d <= line distance; zone with
    greatest v(d) / v_concern(f); (assumed v, assumed f)

    Parameters
    ----------
    east_m, north_m : ndarray, shape (n,) [m]
    line_id : ndarray of int, shape (n,) [-]
        0 where the joint is on no line.
    own : sequence of (velocity [mm/s RMS], frequency [Hz]), each ndarray of shape (n,)
        At most two: the newest reading, then the joint list's. NaN where not given.
    line_readings : LineReadings [mm/s RMS, Hz, m]
        The nearest on the joint's line counts; at one place the one that stands highest against the 'concern' line.
    zones : VibrationZones [mm/s RMS, Hz, m]
        Of several zones the one that stands highest against the 'concern' line.
    line_distance_m : float [m]
    assumed_mm_s : float [mm/s RMS]
    assumed_hz : float [Hz]
        Also the frequency of every reading that has none.

    Returns
    -------
    VibrationExposure, arrays of shape (n,)

    References
    ----------
    Own method: what is measured nearest to the joint is believed first; the choice never looks at how high a velocity
    is against another source, so that more vibration never means less.

    Examples
    --------
    >>> nothing = np.array([np.nan])
    >>> place = np.array([0.0])
    >>> found = vibration_exposure(place, place, np.array([7]), [(nothing, nothing)],
    ...     LineReadings(np.array([7]), place + 3, place, place + 5.5, place + 50), VibrationZones.none(),
    ...     15.0, 2.0, 25.0)
    >>> float(found.velocity_mm_s[0]), SOURCES[found.source[0]], float(found.distance_m[0])
    (5.5, 'line', 3.0)
    """
    count = len(east_m)
    found = VibrationExposure(
        velocity_mm_s=np.full(count, assumed_mm_s),
        frequency_hz=np.full(count, assumed_hz),
        source=np.full(count, ASSUMED, np.int8),
        distance_m=np.full(count, np.nan),
        frequency_assumed=np.ones(count, np.bool_),
        refused=np.zeros(count, np.bool_),
    )
    for source, (velocity, frequency) in enumerate(own):
        _take_own(found, source, velocity, frequency, assumed_hz)
    _take_lines(found, east_m, north_m, line_id, line_readings, line_distance_m, assumed_hz)
    _take_zones(found, east_m, north_m, zones, assumed_hz)
    return found


def _take_own(found: VibrationExposure, source: int, velocity: Floats, frequency: Floats, assumed_hz: float) -> None:
    no_frequency = np.isnan(frequency)
    frequency = np.where(no_frequency, assumed_hz, frequency)
    open_still = (found.source == ASSUMED) & ~np.isnan(velocity)
    good = usable(velocity, frequency)
    found.refused[open_still & ~good] = True
    taken = open_still & good
    found.velocity_mm_s[taken] = velocity[taken]
    found.frequency_hz[taken] = frequency[taken]
    found.frequency_assumed[taken] = no_frequency[taken]
    found.source[taken] = source


def _take_lines(
    found: VibrationExposure,
    east_m: Floats,
    north_m: Floats,
    line_id: NDArray[np.integer],
    readings: LineReadings,
    within_m: float,
    assumed_hz: float,
) -> None:
    if not len(readings.line_id):
        return
    no_frequency = np.isnan(readings.frequency_hz)
    frequency = np.where(no_frequency, assumed_hz, readings.frequency_hz)
    good = usable(readings.velocity_mm_s, frequency)
    # The highest first: of readings at one place the first is taken.
    height = np.where(good, readings.velocity_mm_s, 0.0) / np.where(good, concern_velocity(frequency), 1.0)
    order = np.lexsort((-readings.velocity_mm_s, -height))
    for wanted in (good, ~good):
        rows = order[wanted[order]]
        joints = np.flatnonzero(found.source == ASSUMED)
        if not len(rows) or not len(joints):
            continue
        place, distance = nearest_on_line(
            line_id[joints], east_m[joints], north_m[joints],
            readings.line_id[rows], readings.east_m[rows], readings.north_m[rows], within_m,
        )  # fmt: skip
        met = place >= 0
        joints, rows, distance = joints[met], rows[place[met]], distance[met]
        if wanted is good:
            found.velocity_mm_s[joints] = readings.velocity_mm_s[rows]
            found.frequency_hz[joints] = frequency[rows]
            found.frequency_assumed[joints] = no_frequency[rows]
            found.distance_m[joints] = distance
            found.source[joints] = LINE
        else:
            found.refused[joints] = True


def _take_zones(
    found: VibrationExposure, east_m: Floats, north_m: Floats, zones: VibrationZones, assumed_hz: float
) -> None:
    joints = np.flatnonzero(found.source == ASSUMED)
    joints = joints[np.argsort(east_m[joints], kind="stable")]
    east, north = east_m[joints], north_m[joints]
    no_frequency = np.isnan(zones.frequency_hz)
    frequency = np.where(no_frequency, assumed_hz, zones.frequency_hz)
    good = usable(zones.velocity_mm_s, frequency)
    concern = np.where(good, concern_velocity(frequency), 1.0)
    highest = np.full(len(joints), -1.0)
    for at, radius in enumerate(zones.radius_m):
        begin, end = np.searchsorted(east, [zones.east_m[at] - radius, zones.east_m[at] + radius + 1e-6])
        square = (east[begin:end] - zones.east_m[at]) ** 2 + (north[begin:end] - zones.north_m[at]) ** 2
        near = begin + np.flatnonzero(square <= radius * radius)
        if not len(near):
            continue
        if not good[at]:
            found.refused[joints[near]] = True
            continue
        distance = np.sqrt(square[near - begin])
        velocity = velocity_at_distance(zones.velocity_mm_s[at], distance, math.inf, zones.decay[at])
        height = velocity / concern[at]
        higher = height > highest[near]
        highest[near[higher]] = height[higher]
        rows = joints[near[higher]]
        found.velocity_mm_s[rows] = velocity[higher]
        found.frequency_hz[rows] = frequency[at]
        found.frequency_assumed[rows] = no_frequency[at]
        found.distance_m[rows] = distance[higher]
        found.source[rows] = ZONE
