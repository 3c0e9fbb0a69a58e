"""Torque, bolt load with the scatter of the method, passes, and what to set on a wrench with an adaptor."""

import math
from collections.abc import Sequence
from typing import NamedTuple


class Band(NamedTuple):
    """A value with its lower and upper bound, all in one unit."""

    low: float
    middle: float
    high: float


def target_torque_n_m(nut_factor: float, diameter_m: float, bolt_load_n: float) -> float:
    """The torque that brings a bolt to a load.

    T = K·D·F

    Parameters
    ----------
    nut_factor : float [-]
        K, of the lubricated thread and bearing face.
    diameter_m : float [m]
        D, nominal bolt diameter.
    bolt_load_n : float [N]
        F, target bolt load.

    Returns
    -------
    float [N·m]

    Raises
    ------
    ValueError
        If any of the three is not a positive number.

    References
    ----------
    ASME PCC-1-2013, Appendix K (nut factor method); the letter of the appendix is from memory.

    Examples
    --------
    >>> target_torque_n_m(0.2, 0.020, 100e3)
    400.0
    """
    _positive(("nut factor", nut_factor), ("diameter", diameter_m), ("bolt load", bolt_load_n))
    return nut_factor * diameter_m * bolt_load_n


def bolt_load_n(torque_n_m: float, nut_factor: float, diameter_m: float) -> float:
    """The bolt load that a torque brings.

    F = T / (K·D)

    Parameters
    ----------
    torque_n_m : float [N·m]
        T, applied at the nut.
    nut_factor : float [-]
        K, of the lubricated thread and bearing face.
    diameter_m : float [m]
        D, nominal bolt diameter.

    Returns
    -------
    float [N]

    Raises
    ------
    ValueError
        If any of the three is not a positive number.

    References
    ----------
    ASME PCC-1-2013, Appendix K (nut factor method); the letter of the appendix is from memory.

    Examples
    --------
    >>> round(bolt_load_n(400.0, 0.2, 0.020))
    100000
    """
    _positive(("torque", torque_n_m), ("nut factor", nut_factor), ("diameter", diameter_m))
    return torque_n_m / (nut_factor * diameter_m)


def load_band(load: float, scatter: float) -> Band:
    """The loads among which a bolt's may lie, by the scatter of the method that tightened it.

    F·(1 − s), F, F·(1 + s)

    Parameters
    ----------
    load : float [N]
        F, the load aimed at, or the one that the torque brings in the mean.
    scatter : float [-]
        s, 0.3 for ± 30 %.

    Returns
    -------
    Band [N]
        Lower, middle and upper load.

    Raises
    ------
    ValueError
        If the scatter is not from 0 to below 1.

    References
    ----------
    Own method: a symmetrical band. The scatter by method is a value of the procedure, with a source of its own.

    Examples
    --------
    >>> load_band(100e3, 0.25)
    Band(low=75000.0, middle=100000.0, high=125000.0)
    """
    if not 0 <= scatter < 1:
        raise ValueError(f"the scatter must lie from 0 to below 1, not {scatter}")
    return Band(load * (1 - scatter), load, load * (1 + scatter))


def pass_torques_n_m(target_n_m: float, parts: Sequence[float]) -> tuple[float, ...]:
    """The torque of each pass up to the target.

    T_i = part_i · T

    Parameters
    ----------
    target_n_m : float [N·m]
        T, target torque.
    parts : sequence of float [-]
        Rising, each above 0, the last 1.

    Returns
    -------
    tuple of float [N·m]

    Raises
    ------
    ValueError
        If the target is not positive, or the parts do not rise to 1.

    References
    ----------
    ASME PCC-1-2013, Table 2 (20 to 30 %, 50 to 70 %, 100 % of the target torque), from memory; other published guides
    take other steps, so the parts are data of the procedure.

    Examples
    --------
    >>> [round(torque, 1) for torque in pass_torques_n_m(450.0, (0.3, 0.7, 1.0))]
    [135.0, 315.0, 450.0]
    """
    _positive(("target torque", target_n_m))
    if not parts or any(later <= sooner for sooner, later in zip((0.0, *parts), parts, strict=False)) or parts[-1] != 1:
        raise ValueError("the passes must rise from above 0 to 1")
    return tuple(target_n_m * part for part in parts)


def wrench_setting_n_m(target_n_m: float, wrench_length_m: float, adaptor_length_m: float, angle_deg: float) -> float:
    """What to set on the wrench so that the nut gets the target through an adaptor.

    T_set = T·L / (L + E·cos θ)

    Parameters
    ----------
    target_n_m : float [N·m]
        T, torque wanted at the nut.
    wrench_length_m : float [m]
        L, from the middle of the grip to the square drive.
    adaptor_length_m : float [m]
        E, from the square drive to the middle of the nut.
    angle_deg : float [degree]
        θ, from straight ahead; 90 is a right angle and needs no correction.

    Returns
    -------
    float [N·m]

    Raises
    ------
    ValueError
        If a length is not positive (E may be 0), or the adaptor reaches back to the grip.

    References
    ----------
    Own method: balance of moments about the nut, the hand's force standing at right angles to the wrench. Some public
    pages have it the other way, correcting at a right angle and not in line; moments show that they err.

    Examples
    --------
    >>> round(wrench_setting_n_m(80, 0.40, 0.05, 0), 2), round(wrench_setting_n_m(80, 0.40, 0.05, 90), 2)
    (71.11, 80.0)
    """
    _positive(("target torque", target_n_m), ("wrench's length", wrench_length_m))
    if not (adaptor_length_m >= 0 and math.isfinite(adaptor_length_m) and math.isfinite(angle_deg)):
        raise ValueError("the adaptor's length must be 0 or more, and its angle a number")
    arm_m = wrench_length_m + adaptor_length_m * math.cos(math.radians(angle_deg))
    if arm_m <= 0:
        raise ValueError("the adaptor reaches back past the grip: no torque reaches the nut")
    return target_n_m * wrench_length_m / arm_m


def _positive(*named: tuple[str, float]) -> None:
    for name, value in named:
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"the {name} must be a positive number, not {value}")
