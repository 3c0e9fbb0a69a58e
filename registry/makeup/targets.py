"""The torque that a joint asks for, and what it comes to on the bolts and on the wrench."""

from dataclasses import dataclass
from typing import Literal

from registry.makeup.procedures import BoltingRule, Procedure
from registry.makeup.readings import Readings
from registry.makeup.threads import Thread, thread_of
from registry.makeup.torque import Band, bolt_load_n, load_band, target_torque_n_m, wrench_setting_n_m

Origin = Literal["procedure", "record", "bolt stress"]


@dataclass(frozen=True, slots=True)
class Unsaid:
    """What cannot be said from these readings, and why, in words."""

    code: Literal["thread-unknown", "adaptor-unknown"]
    text: str


@dataclass(frozen=True, slots=True)
class TorqueTarget:
    """The torque at the nut [N·m] with its relative band, and where it comes from."""

    n_m: float
    band: float
    origin: Origin

    @property
    def least_n_m(self) -> float:
        """Lower edge of the band."""
        return self.n_m * (1 - self.band)

    @property
    def most_n_m(self) -> float:
        """Upper edge of the band."""
        return self.n_m * (1 + self.band)


def torque_target(procedure: Procedure, readings: Readings) -> TorqueTarget | Unsaid | None:
    """The torque at the nut: the procedure's, else the one given with the record, else from the bolt stress.

    None where the procedure is not by torque, or where what is needed has not been read.
    """
    rule, bolting = procedure.torque, procedure.bolting
    if rule is None:
        return None
    if rule.target_n_m is not None:
        return TorqueTarget(rule.target_n_m, rule.band, "procedure")
    if (given := readings.get("torque_target_n_m")) is not None:
        return TorqueTarget(given, rule.band, "record")
    thread = _thread(readings)
    if bolting is None or bolting.target_stress_mpa is None or bolting.nut_factor is None or thread is None:
        return None
    if isinstance(thread, Unsaid):
        return thread
    load = _target_load_n(bolting.target_stress_mpa, bolting, thread)
    torque = target_torque_n_m(bolting.nut_factor, thread.diameter_mm * 1e-3, load)
    return TorqueTarget(torque, rule.band, "bolt stress")


def bolt_load_band(procedure: Procedure, readings: Readings, torque_n_m: float | None) -> Band | Unsaid | None:
    """The load of one bolt [N] with the scatter of the method.

    From the torque at the nut where the procedure is by torque, else from the stress that it aims at; None where
    neither is given, or where the bolt's size or the nut factor is not.
    """
    bolting, thread = procedure.bolting, _thread(readings)
    if bolting is None or thread is None:
        return None
    if isinstance(thread, Unsaid):
        return thread
    if procedure.method == "torque":
        if torque_n_m is None or bolting.nut_factor is None:
            return None
        load = bolt_load_n(torque_n_m, bolting.nut_factor, thread.diameter_mm * 1e-3)
    elif bolting.target_stress_mpa is None:
        return None
    else:
        load = _target_load_n(bolting.target_stress_mpa, bolting, thread)
    return load_band(load, bolting.scatter)


def wrench_setting(torque_n_m: float, readings: Readings) -> float | Unsaid:
    """What a wrench is set to for a torque at the nut [N·m]: the same, unless an adaptor stands between.

    Examples
    --------
    >>> wrench_setting(80.0, {})
    80.0
    >>> adaptor = {"wrench_length_mm": 400.0, "adaptor_length_mm": 50.0, "adaptor_angle_deg": 0.0}
    >>> round(wrench_setting(80.0, adaptor), 2)
    71.11
    """
    length_mm, angle_deg = readings.get("adaptor_length_mm"), readings.get("adaptor_angle_deg")
    wrench_mm = readings.get("wrench_length_mm")
    if length_mm == 0 or (length_mm is None and angle_deg is None):
        return torque_n_m
    if length_mm is None or angle_deg is None or wrench_mm is None:
        given = (("its length", length_mm), ("its angle", angle_deg), ("the wrench's length", wrench_mm))
        wanting = " and ".join(name for name, value in given if value is None)
        text = f"an adaptor was named without {wanting}: nobody can say what the nut gets"
        return Unsaid("adaptor-unknown", text)
    try:
        return wrench_setting_n_m(torque_n_m, wrench_mm * 1e-3, length_mm * 1e-3, angle_deg)
    except ValueError as exc:
        return Unsaid("adaptor-unknown", str(exc))


def _thread(readings: Readings) -> Thread | Unsaid | None:
    diameter_mm = readings.get("bolt_diameter_mm")
    if diameter_mm is None:
        return None
    text = f"no thread is known for a bolt of {diameter_mm:g} mm: take the target torque of the plant's own procedure"
    return thread_of(diameter_mm) or Unsaid("thread-unknown", text)


def _target_load_n(stress_mpa: float, bolting: BoltingRule, thread: Thread) -> float:
    return stress_mpa * (thread.root_area_mm2 if bolting.stress_over == "root" else thread.stress_area_mm2)
