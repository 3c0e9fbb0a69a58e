"""What the parts of a procedure owe each other: a rule without the step that feeds it would never be kept."""

from collections.abc import Iterable, Iterator
from itertools import pairwise

from registry.errors import Issue
from registry.makeup.procedures import MAKE_UP_KINDS, POSITIVE, READINGS, MakeUpKind, Procedure, Step


def disagreements(procedure: Procedure, path: str) -> Iterator[Issue]:
    """Yield the faults between the parts of a procedure, named below `path`."""
    place = f"{path}." if path else ""
    if procedure.size_from_mm >= procedure.size_to_mm:
        yield Issue(None, f"{place}size_to_mm", f"{procedure.size_to_mm:g}", "must be above size_from_mm")
    for at, step in enumerate(procedure.steps):
        for reason in _faults_of_step(step):
            yield Issue(None, f"{place}steps[{at}]", step.key, reason)
    yield from _said_twice(procedure.steps, place)
    for reason in dict.fromkeys((*_faults_of_method(procedure), *_faults_of_target(procedure))):
        yield Issue(None, f"{place}method", procedure.method, reason)
    if (bolting := procedure.bolting) is not None:
        if any(later <= sooner for sooner, later in pairwise(bolting.passes)) or bolting.passes[-1] != 1:
            yield Issue(None, f"{place}bolting.passes", str(bolting.passes), "must rise to 1")
        if bolting.gap_difference_mm is not None and not _asked(procedure, "gap_least_mm", "gap_most_mm"):
            yield Issue(None, f"{place}bolting.gap_difference_mm", None, "needs the steps that read both gaps")
        if procedure.method == "torque" and (bolting.target_stress_mpa is None) != (bolting.nut_factor is None):
            yield Issue(None, f"{place}bolting", None, "must have target_stress_mpa and nut_factor together or neither")
        if bolting.target_stress_mpa is not None and not _asked(procedure, "bolt_diameter_mm"):
            yield Issue(None, f"{place}bolting.target_stress_mpa", None, "needs a step that reads bolt_diameter_mm")


def _faults_of_step(step: Step) -> Iterator[str]:
    if not step.if_not and not step.optional:
        yield "must say in if_not what it means when it fails"
    number = step.kind == "number"
    if number != bool(step.reads and step.unit):
        yield "must have reads and unit, as a number does" if number else "is no number: reads and unit say nothing"
    if not number and (step.least is not None or step.most is not None or step.whole):
        yield "is no number: least, most and whole say nothing"
    if step.least is not None and step.most is not None and step.least > step.most:
        yield "has its least above its most"
    if number and READINGS.get(step.reads, step.unit) != step.unit:
        yield f"reads {step.reads} in {READINGS[step.reads]}, not in {step.unit}"
    if step.reads in POSITIVE and (step.least is None or step.least <= 0):
        yield f"must have a least above 0: {step.reads} of 0 means nothing"
    if (step.kind == "tool") != (step.tool is not None):
        yield "must say which kind of tool" if step.kind == "tool" else "is no tool: tool says nothing"
    if (step.kind == "lot") != (step.lot is not None):
        yield "must say what the lot is of" if step.kind == "lot" else "is no lot: lot says nothing"
    if step.kind != "tool" and not step.calibrated:
        yield "is no tool: calibrated says nothing"


def _said_twice(steps: tuple[Step, ...], place: str) -> Iterator[Issue]:
    for at, step in enumerate(steps):
        for before in steps[:at]:
            if before.key == step.key:
                yield Issue(None, f"{place}steps[{at}]", step.key, "stands twice")
            elif step.reads and step.reads == before.reads and any(_together(step, before)):
                yield Issue(None, f"{place}steps[{at}]", step.key, f"reads {step.reads} as '{before.key}' does")


def _together(one: Step, other: Step) -> Iterable[bool]:
    return (one.is_for(kind) and other.is_for(kind) for kind in MAKE_UP_KINDS)


def _faults_of_method(procedure: Procedure) -> Iterator[str]:
    if procedure.method == "turns":
        if procedure.turns is None:
            yield "needs the table turns"
        for kind in MAKE_UP_KINDS:
            if procedure.turns_expected(kind) is not None and not _reads(procedure, "turns", kind):
                yield f"needs a step of a {kind} make-up that reads turns"
    elif procedure.turns is not None or procedure.remake_turns is not None:
        yield "has no use for turns and remake_turns: what a torque turns stands in torque.turns"
    if (procedure.method == "torque") != (procedure.torque is not None):
        yield "needs the table torque" if procedure.torque is None else "has no use for the table torque"
    if procedure.torque is not None and procedure.torque.turns is not None and not _reads(procedure, "turns", "first"):
        yield "needs a step that reads turns, for torque.turns"


def _faults_of_target(procedure: Procedure) -> Iterator[str]:
    rule, bolting = procedure.torque, procedure.bolting
    if rule is None:
        return
    if not any(step.tool == "torque_wrench" and not step.optional for step in procedure.steps):
        yield "needs a step that asks for the torque wrench"
    for kind in MAKE_UP_KINDS:
        if not _reads(procedure, "torque_n_m", kind):
            yield f"needs a step of a {kind} make-up that reads torque_n_m"
        computed = bolting is not None and bolting.target_stress_mpa is not None
        if rule.target_n_m is None and not computed and not _reads(procedure, "torque_target_n_m", kind):
            yield "needs torque.target_n_m, a bolt stress, or a required step that reads torque_target_n_m"


def _reads(procedure: Procedure, reading: str, kind: MakeUpKind) -> bool:
    return any(step.reads == reading and not step.optional for step in procedure.steps_for(kind))


def _asked(procedure: Procedure, *readings: str) -> bool:
    return set(readings) <= {step.reads for step in procedure.steps}
