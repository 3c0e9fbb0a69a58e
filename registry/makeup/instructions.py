"""What a fitter is shown before turning anything: steps, turns or torque, passes and order, the wrench's setting."""

from dataclasses import dataclass

from registry.makeup.bolting import tightening_order
from registry.makeup.procedures import MakeUpKind, Procedure, Step, TurnsRule
from registry.makeup.readings import Answers, Readings, readings_of
from registry.makeup.targets import TorqueTarget, Unsaid, bolt_load_band, torque_target, wrench_setting
from registry.makeup.torque import Band, pass_torques_n_m

KNOWN_BEFORE = frozenset(
    (
        "bolt_diameter_mm",
        "bolt_count",
        "torque_target_n_m",
        "wrench_length_mm",
        "adaptor_length_mm",
        "adaptor_angle_deg",
    )
)
"""Readings that are known before anything is turned: from them the sheet has its torque, order and setting."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass over the bolts: the part of the target, the torque at the nut and the setting of the wrench [N·m].

    No torque where the procedure is not by torque or its target is not known yet.
    """

    part: float
    torque_n_m: float | None
    setting_n_m: float | Unsaid | None


@dataclass(frozen=True, slots=True)
class Instructions:
    """The sheet for one make-up, as far as its readings go."""

    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    turns: TurnsRule | None
    """What must be turned, or, by torque, what the torque should turn."""
    target: TorqueTarget | Unsaid | None
    setting_n_m: float | Unsaid | None
    """What the wrench is set to for the whole target."""
    passes: tuple[Pass, ...]
    order: tuple[tuple[int, ...], ...]
    """Bolts in the order of a pass, numbered clockwise, in groups of four or two; empty where there is no order."""
    without_order: str
    """Why there is no order although the number of bolts is known."""
    bolt_load_n: Band | Unsaid | None
    """The load that one bolt should come to, with the scatter of the method."""


def instructions(procedure: Procedure, kind: MakeUpKind, answers: Answers) -> Instructions:
    """The sheet for a make-up from what has been answered so far: bolt size and number, target, adaptor."""
    readings = readings_of(procedure, kind, answers)
    target = torque_target(procedure, readings)
    whole = target.n_m if isinstance(target, TorqueTarget) else None
    order, without_order = _order(procedure, readings)
    return Instructions(
        steps=procedure.steps_for(kind),
        cautions=procedure.cautions,
        turns=procedure.turns_expected(kind),
        target=target,
        setting_n_m=None if whole is None else wrench_setting(whole, readings),
        passes=_passes(procedure, whole, readings),
        order=order,
        without_order=without_order,
        bolt_load_n=bolt_load_band(procedure, readings, whole),
    )


def _passes(procedure: Procedure, whole: float | None, readings: Readings) -> tuple[Pass, ...]:
    if procedure.bolting is None:
        return ()
    parts = procedure.bolting.passes
    if whole is None:
        return tuple(Pass(part, None, None) for part in parts)
    torques = pass_torques_n_m(whole, parts)
    return tuple(
        Pass(part, torque, wrench_setting(torque, readings)) for part, torque in zip(parts, torques, strict=True)
    )


def _order(procedure: Procedure, readings: Readings) -> tuple[tuple[tuple[int, ...], ...], str]:
    count = readings.get("bolt_count")
    if procedure.bolting is None or count is None:
        return (), ""
    if count % 1:
        return (), f"{count:g} is no number of bolts"
    try:
        return tightening_order(int(count)), ""
    except ValueError as exc:
        return (), str(exc)
