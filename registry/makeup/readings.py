"""The numbers of a make-up: which of the answers are readings, and what is wrong with one."""

import math
from collections.abc import Mapping

from registry.makeup.procedures import MakeUpKind, Procedure, Step
from registry.makeup.wording import in_unit

Answers = Mapping[str, bool | float]
"""Yes or no, or a reading, by the key of the step."""

Readings = Mapping[str, float]
"""Readings by name, as in `procedures.READINGS`, in the unit of their step."""


def readings_of(procedure: Procedure, kind: MakeUpKind, answers: Answers) -> dict[str, float]:
    """The answers that are readings with nothing wrong with them, by the name that their step reads."""
    return {
        step.reads: number
        for step in procedure.steps_for(kind)
        if (number := number_of(step, answers)) is not None and fault_of(step, number) is None
    }


def number_of(step: Step, answers: Answers) -> float | None:
    """The number that a step was answered with; None where it was not, or is no number."""
    answer = answers.get(step.key)
    if step.kind != "number" or answer is None or isinstance(answer, bool) or math.isnan(answer):
        return None
    return float(answer)


def fault_of(step: Step, number: float) -> str | None:
    """What is wrong with a reading, in words; None where nothing is.

    Examples
    --------
    >>> bolts = Step("bolts", "number", "How many?", "?", reads="bolt_count", unit="bolts", least=3, whole=True)
    >>> fault_of(bolts, 2), fault_of(bolts, 7.5), fault_of(bolts, 8)
    ('2 bolts is below 3 bolts', '7.5 bolts is no whole number', None)
    """
    if not math.isfinite(number):
        fault = "no reading"
    elif step.whole and number % 1:
        fault = "no whole number"
    elif step.least is not None and number < step.least:
        fault = f"below {in_unit(step.least, step.unit)}"
    elif step.most is not None and number > step.most:
        fault = f"above {in_unit(step.most, step.unit)}"
    else:
        return None
    return f"{in_unit(number, step.unit)} is {fault}"
