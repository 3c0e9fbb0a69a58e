"""What the make-up form shows before anything is turned: turns or torque, passes, order, the wrench's setting."""

from collections.abc import Mapping

from dashboards.make_up_contexts import PassRow
from dashboards.rendering import digits
from registry.makeup.instructions import KNOWN_BEFORE, Instructions
from registry.makeup.procedures import MakeUpKind, Procedure, Step
from registry.makeup.targets import TorqueTarget, Unsaid

STEP = "step."
"""Before the key of a step in the name of its field."""


def steps_known_before(procedure: Procedure, kind: MakeUpKind) -> tuple[Step, ...]:
    """The readings that the sheet needs and the fitter has before the first turn."""
    return tuple(step for step in procedure.steps_for(kind) if step.reads in KNOWN_BEFORE)


def answers_before(steps: tuple[Step, ...], given: Mapping[str, str]) -> dict[str, float]:
    """Those readings as the address has them; what is no number is left out, and asked again."""
    answers: dict[str, float] = {}
    for step in steps:
        try:
            answers[step.key] = float(given.get(f"{STEP}{step.key}", "").replace(",", "."))
        except ValueError:
            continue
    return answers


def turns_words(sheet: Instructions) -> str | None:
    """Turns and how far off they may be."""
    if sheet.turns is None:
        return None
    return f"{sheet.turns.expected:g} turns, {sheet.turns.tolerance:g} more or less"


def torque_words(sheet: Instructions) -> str | None:
    """The target with its band, and what the wrench is set to where that differs; or why there is none."""
    if isinstance(sheet.target, Unsaid):
        return None
    if not isinstance(sheet.target, TorqueTarget):
        return None
    target = sheet.target
    words = f"{digits(target.n_m, 4)} N·m ({digits(target.least_n_m, 4)} to {digits(target.most_n_m, 4)})"
    return words if (setting := _setting(sheet.setting_n_m, target.n_m)) is None else f"{words}; set {setting}"


def load_words(sheet: Instructions) -> str | None:
    """The load that one bolt should come to, with the scatter of the method."""
    if sheet.bolt_load_n is None or isinstance(sheet.bolt_load_n, Unsaid):
        return None
    low, middle, high = (digits(load / 1000) for load in sheet.bolt_load_n)
    return f"{middle} kN a bolt; by scatter {low} to {high}"


def pass_rows(sheet: Instructions) -> list[PassRow]:
    """The passes, each with its torque and the wrench's setting as far as they are known."""
    return [
        PassRow(
            part=f"{100 * each.part:.0f} %",
            torque=None if each.torque_n_m is None else f"{digits(each.torque_n_m, 4)} N·m",
            setting=None if each.torque_n_m is None else _setting(each.setting_n_m, each.torque_n_m),
        )
        for each in sheet.passes
    ]


def order_words(sheet: Instructions) -> str | None:
    """The bolts in the order of a pass, or why there is none."""
    if sheet.order:
        return ", then ".join("-".join(str(bolt) for bolt in group) for group in sheet.order)
    return sheet.without_order or None


def _setting(setting_n_m: float | Unsaid | None, torque_n_m: float) -> str | None:
    if isinstance(setting_n_m, Unsaid):
        return setting_n_m.text
    if setting_n_m is None or abs(setting_n_m - torque_n_m) < 1e-9 * torque_n_m:
        return None
    return f"{digits(setting_n_m, 4)} N·m on the wrench"
