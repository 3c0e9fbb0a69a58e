"""Procedures from documents and back: a file of several as it is shipped, and the stored document of one.

A file names its steps once, in `[step]`, and each procedure lists their names; the stored document of one procedure has
its steps in full. Both are refused with every fault named by its path, and a key that nobody knows is a fault.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from importlib import resources
from typing import Any, TypeVar

from registry.errors import Issue
from registry.makeup.agreeing_procedures import disagreements
from registry.makeup.procedures import (
    LOT_KINDS,
    MAKE_UP_KINDS,
    STEP_KINDS,
    STRESS_AREAS,
    TOOL_KINDS,
    BoltingRule,
    Procedure,
    ProcedureInvalid,
    Step,
    TorqueRule,
    TurnsRule,
)
from registry.policy.model import MAKE_UP_METHODS
from registry.policy.reading import TableReader

_MOST_TURNS = 20.0
_MOST_TORQUE_N_M = 1e6
_MOST_MM = 1e5
_NAME = re.compile(r"[a-z0-9]+([-_][a-z0-9]+)*")
_Word = TypeVar("_Word", bound=str)


def shipped_document() -> dict[str, object]:
    """Return the shipped file of procedures; it is as plain as JSON."""
    return tomllib.loads(resources.files("registry.makeup").joinpath("procedures.toml").read_text("utf-8"))


@cache
def shipped_procedures() -> tuple[Procedure, ...]:
    """Return the shipped procedures, each as version 1 of its code."""
    return _procedures_from(shipped_document(), 1, {}, ())


def shipped_cautions() -> tuple[str, ...]:
    """Return what is said wherever somebody is sent to turn something."""
    return TableReader(shipped_document(), "", []).inner("cautions").texts("always", least=1)


def procedures_from(document: Mapping[str, object], version: int = 1) -> tuple[Procedure, ...]:
    """Return the procedures of a plant's file, or raise `ProcedureInvalid` with an issue for every fault and its path.

    The file may name shipped steps without saying them again. The shipped cautions stand before its own: a plant adds
    to them and takes none away.
    """
    known = {step.key: step for procedure in shipped_procedures() for step in procedure.steps}
    return _procedures_from(document, version, known, shipped_cautions())


def _procedures_from(
    document: Mapping[str, object], version: int, known: Mapping[str, Step], cautions: tuple[str, ...]
) -> tuple[Procedure, ...]:
    issues: list[Issue] = []
    root = TableReader(document, "", issues)
    if (more := root.optional_inner("cautions")) is not None:
        cautions = (*cautions, *more.texts("always", least=1))
        more.finish()
    if (own := root.optional_inner("step")) is not None:
        known = {**known, **{key: _step(own.inner(key), key) for key in own.table}}
    rows = root.rows("procedure")
    found = [_procedure(row, version, _named_steps(row, known), cautions) for row in rows]
    root.finish()
    _refuse_if_any(issues)
    for row, procedure in zip(rows, found, strict=True):
        issues.extend(disagreements(procedure, row.path))
    issues.extend(_twice("procedure", "code", [procedure.code for procedure in found]))
    _refuse_if_any(issues)
    return tuple(found)


def procedure_from(document: Mapping[str, object], version: int) -> Procedure:
    """Return the procedure of its stored document, whose steps stand in full, or raise `ProcedureInvalid`."""
    issues: list[Issue] = []
    root = TableReader(document, "", issues)
    steps = tuple(_step(row, row.text("key")) for row in root.rows("steps"))
    procedure = _procedure(root, version, steps, ())
    _refuse_if_any(issues)
    issues.extend(disagreements(procedure, ""))
    _refuse_if_any(issues)
    return procedure


def document_of(procedure: Procedure) -> dict[str, Any]:
    """Return what is stored of a procedure: plain as JSON, without its version, and without what is not given."""
    document: dict[str, Any] = _plain(procedure)
    del document["version"]
    return document


def _plain(value: object) -> Any:
    if is_dataclass(value):
        given = {field.name: (getattr(value, field.name), field.default) for field in fields(value)}
        return {name: _plain(part) for name, (part, default) in given.items() if part is not None and part != default}
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def _procedure(row: TableReader, version: int, steps: tuple[Step, ...], cautions: tuple[str, ...]) -> Procedure:
    found = Procedure(
        code=_name(row, "code"),
        version=version,
        title=row.text("title"),
        family=_name(row, "family"),
        method=row.choice("method", MAKE_UP_METHODS),
        size_from_mm=row.number("size_from_mm", 0, _MOST_MM),
        size_to_mm=row.number("size_to_mm", 0, _MOST_MM, open_low=True),
        steps=steps,
        turns=_turns(row.optional_inner("turns")),
        remake_turns=_turns(row.optional_inner("remake_turns")),
        torque=_torque(row.optional_inner("torque")),
        bolting=_bolting(row.optional_inner("bolting")),
        settling_days=row.whole("settling_days", 1, 3650) if "settling_days" in row.table else None,
        cautions=tuple(dict.fromkeys((*cautions, *row.texts("cautions", least=0 if cautions else 1)))),
        source=row.text("source"),
    )
    row.finish()
    return found


def _named_steps(row: TableReader, known: Mapping[str, Step]) -> tuple[Step, ...]:
    steps: list[Step] = []
    for at, name in enumerate(row.texts("steps", least=1)):
        if name in known:
            steps.append(known[name])
        elif name != "?":  # what the reader puts where it has already found a fault
            row.refuse(f"steps[{at}]", name, "is not a step that is known here")
    return tuple(steps)


def _step(row: TableReader, key: str) -> Step:
    if not _NAME.fullmatch(key) and key != "?":
        row.refuse("key", key, "must be small letters and digits, joined by '-' or '_'")
    found = Step(
        key=key,
        kind=row.choice("kind", STEP_KINDS),
        ask=row.text("ask"),
        if_not=row.optional_text("if_not"),
        only=_optional_choice(row, "only", MAKE_UP_KINDS),
        optional=_flag(row, "optional", False),
        in_old_records=_flag(row, "in_old_records", False),
        reads=row.optional_text("reads"),
        unit=row.optional_text("unit"),
        least=row.optional_number("least", -1e9, 1e9),
        most=row.optional_number("most", -1e9, 1e9),
        whole=_flag(row, "whole", False),
        tool=_optional_choice(row, "tool", TOOL_KINDS),
        calibrated=_flag(row, "calibrated", True),
        lot=_optional_choice(row, "lot", LOT_KINDS),
    )
    row.finish()
    return found


def _turns(table: TableReader | None) -> TurnsRule | None:
    if table is None:
        return None
    found = TurnsRule(
        expected=table.number("expected", 0, _MOST_TURNS), tolerance=table.number("tolerance", 0, _MOST_TURNS)
    )
    table.finish()
    return found


def _torque(table: TableReader | None) -> TorqueRule | None:
    if table is None:
        return None
    target = table.number("target_n_m", 0, _MOST_TORQUE_N_M, open_low=True) if "target_n_m" in table.table else None
    found = TorqueRule(
        target_n_m=target, band=table.number("band", 0, 0.5), turns=_turns(table.optional_inner("turns"))
    )
    table.finish()
    return found


def _bolting(table: TableReader | None) -> BoltingRule | None:
    if table is None:
        return None
    found = BoltingRule(
        target_stress_mpa=table.optional_number("target_stress_mpa", 1, 2000),
        stress_over=table.choice("stress_over", STRESS_AREAS, default="root"),
        nut_factor=table.optional_number("nut_factor", 0.01, 1),
        scatter=table.number("scatter", 0, 0.9),
        passes=table.numbers("passes", 0.01, 1),
        gap_difference_mm=table.optional_number("gap_difference_mm", 0, 100),
    )
    table.finish()
    return found


def _name(row: TableReader, key: str) -> str:
    name = row.text(key)
    if not _NAME.fullmatch(name) and name != "?":
        row.refuse(key, name, "must be small letters and digits, joined by '-' or '_'")
    return name


def _flag(row: TableReader, key: str, default: bool) -> bool:
    return row.flag(key) if key in row.table else default


def _optional_choice(row: TableReader, key: str, allowed: tuple[_Word, ...]) -> _Word | None:
    return row.choice(key, allowed) if key in row.table else None


def _twice(path: str, key: str, names: list[str]) -> list[Issue]:
    return [
        Issue(None, f"{path}[{at}].{key}", name, f"is already that of {path}[{names.index(name)}]")
        for at, name in enumerate(names)
        if names.index(name) < at
    ]


def _refuse_if_any(issues: list[Issue]) -> None:
    if issues:
        faults = "1 fault" if len(issues) == 1 else f"{len(issues)} faults"
        raise ProcedureInvalid(f"the procedure document has {faults}", issues)
