"""The published lines that velocity is held against, and the fall of velocity with distance from a machine."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LOWEST_HZ = 1.0
HIGHEST_HZ = 300.0


def concern_velocity(frequency_hz: ArrayLike) -> Floats:
    """Velocity of the 'concern' line of process pipework at a frequency.

    v = 10 ** ((log10 f + 0.48017) / 2.127612)

    Parameters
    ----------
    frequency_hz : array_like, shape (n,) [Hz]
        From 1 to 300 Hz.

    Returns
    -------
    ndarray, shape (n,) [mm/s RMS]
        NaN outside 1 to 300 Hz: the line is not stated there and is not extrapolated.

    References
    ----------
    Energy Institute, Guidelines for the avoidance of vibration induced fatigue failure in process pipework, 2nd ed.
    2008, measurement-based assessment; mm/s RMS against Hz. Constants from two secondary sources that agree, the
    guideline itself was not at hand; the range 1 to 300 Hz is from memory.

    Examples
    --------
    >>> concern_velocity([10.0, 0.99, 300.0]).round(4)
    array([ 4.9624,     nan, 24.5447])
    """
    return _line(frequency_hz, 0.48017, 2.127612)


def problem_velocity(frequency_hz: ArrayLike) -> Floats:
    """Velocity of the 'problem' line of process pipework at a frequency.

    v = 10 ** ((log10 f + 1.871083) / 2.084547)

    Parameters
    ----------
    frequency_hz : array_like, shape (n,) [Hz]
        From 1 to 300 Hz.

    Returns
    -------
    ndarray, shape (n,) [mm/s RMS]
        NaN outside 1 to 300 Hz: the line is not stated there and is not extrapolated.

    References
    ----------
    Energy Institute, Guidelines for the avoidance of vibration induced fatigue failure in process pipework, 2nd ed.
    2008, measurement-based assessment; mm/s RMS against Hz. Constants from two secondary sources that agree, the
    guideline itself was not at hand; the range 1 to 300 Hz is from memory.

    Examples
    --------
    >>> problem_velocity([10.0, 301.0]).round(4)
    array([23.8406,     nan])
    """
    return _line(frequency_hz, 1.871083, 2.084547)


def velocity_at_distance(
    velocity_mm_s: ArrayLike, distance_m: ArrayLike, radius_m: ArrayLike, decay: ArrayLike
) -> Floats:
    """Velocity that is felt at a distance from a vibrating machine.

    v(d) = v(1 m) / max(d, 1 m) ** decay for d <= radius

    Parameters
    ----------
    velocity_mm_s : array_like, shape (n,) [mm/s RMS]
        At 1 m from the source and nearer.
    distance_m : array_like, shape (n,) [m]
    radius_m : array_like, shape (n,) [m]
        How far the source is felt.
    decay : array_like, shape (n,) [-]
        0.5 for waves that spread along the ground, 0 for no fall at all.

    Returns
    -------
    ndarray, shape (n,) [mm/s RMS]
        NaN beyond the radius: the source says nothing there.

    References
    ----------
    Own method: energy that spreads over a circle falls with 1 / d, so velocity with 1 / d ** 0.5; damping is left out,
    which errs on the high side, and the radius ends it.

    Examples
    --------
    >>> velocity_at_distance(8.0, [0.2, 4.0, 40.0], 30.0, 0.5)
    array([ 8.,  4., nan])
    """
    distance = np.asarray(distance_m, np.float64)
    felt = np.asarray(velocity_mm_s, np.float64) * np.maximum(distance, 1.0) ** -np.asarray(decay, np.float64)
    return np.where(distance <= np.asarray(radius_m, np.float64), felt, np.nan)


def usable(velocity_mm_s: Floats, frequency_hz: Floats) -> NDArray[np.bool_]:
    """Return where a reading can be held against the lines: a finite velocity of 0 or more at 1 to 300 Hz."""
    return (
        np.isfinite(velocity_mm_s) & (velocity_mm_s >= 0) & (frequency_hz >= LOWEST_HZ) & (frequency_hz <= HIGHEST_HZ)
    )


def _line(frequency_hz: ArrayLike, offset: float, divisor: float) -> Floats:
    frequency = np.asarray(frequency_hz, np.float64)
    inside = (frequency >= LOWEST_HZ) & (frequency <= HIGHEST_HZ)
    return np.where(inside, 10.0 ** ((np.log10(np.where(inside, frequency, 1.0)) + offset) / divisor), np.nan)
