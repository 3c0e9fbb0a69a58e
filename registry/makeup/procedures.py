"""Make-up procedures as data: what is done, asked and accepted for a family, a size and a method."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal, get_args

from registry.errors import Invalid, NotFound
from registry.papers.model import ToolKind

StepKind = Literal["confirm", "absent", "number", "tool", "lot"]
MakeUpKind = Literal["first", "re-make"]
LotKind = Literal["gasket", "ferrule_set", "tube", "seal_ring", "bolt_set"]
StressArea = Literal["root", "stress"]

STEP_KINDS: Final[tuple[StepKind, ...]] = get_args(StepKind)
MAKE_UP_KINDS: Final[tuple[MakeUpKind, ...]] = get_args(MakeUpKind)
TOOL_KINDS: Final[tuple[ToolKind, ...]] = get_args(ToolKind)
LOT_KINDS: Final[tuple[LotKind, ...]] = get_args(LotKind)
STRESS_AREAS: Final[tuple[StressArea, ...]] = get_args(StressArea)

READINGS: Final = {
    "turns": "turns",
    "torque_n_m": "N·m",
    "torque_target_n_m": "N·m",
    "wrench_length_mm": "mm",
    "adaptor_length_mm": "mm",
    "adaptor_angle_deg": "°",
    "bolt_diameter_mm": "mm",
    "bolt_count": "bolts",
    "gap_least_mm": "mm",
    "gap_most_mm": "mm",
}
"""Readings that verdict and instructions know, with their units. A procedure may ask for others, which are kept."""

POSITIVE: Final = {"torque_n_m", "torque_target_n_m", "wrench_length_mm", "bolt_diameter_mm"}
"""Readings that mean nothing at 0."""


class ProcedureUnknown(NotFound):
    """There is no procedure for this joint and method"""

    slug = "procedure-unknown"


class ProcedureInvalid(Invalid):
    """The procedure was refused"""

    slug = "procedure-invalid"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do and to answer.

    `confirm` must be answered yes, `absent` no; a `number` is read into `reads`; `tool` and `lot` ask for a serial or
    a lot.
    """

    key: str
    kind: StepKind
    ask: str
    if_not: str
    """The reason when it fails; empty only where an optional step never fails."""
    only: MakeUpKind | None = None
    """The kind of make-up it belongs to; None for both."""
    optional: bool = False
    in_old_records: bool = False
    """Records from before the registry could hold it, so that it may be missed in them."""
    reads: str = ""
    unit: str = ""
    least: float | None = None
    most: float | None = None
    whole: bool = False
    tool: ToolKind | None = None
    calibrated: bool = True
    """A tool without any certificate is no tool; False where only a certificate that ran out counts against it."""
    lot: LotKind | None = None

    def is_for(self, kind: MakeUpKind) -> bool:
        """Whether it belongs to this kind of make-up."""
        return self.only in (None, kind)


@dataclass(frozen=True, slots=True)
class TurnsRule:
    """Turns past the start [turns], and how far off they may be."""

    expected: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class TorqueRule:
    """A torque [N·m] with its relative band; None where the target comes with the record or from the bolt stress.

    `turns`: what that torque should have turned at a first make-up, where that is known.
    """

    target_n_m: float | None
    band: float
    turns: TurnsRule | None


@dataclass(frozen=True, slots=True)
class BoltingRule:
    """How a bolted joint is loaded: stress [MPa] over an area of the thread, nut factor, scatter of the bolt load."""

    target_stress_mpa: float | None
    stress_over: StressArea
    nut_factor: float | None
    scatter: float
    passes: tuple[float, ...]
    """The torque of each pass as a part of the target."""
    gap_difference_mm: float | None
    """By how much the gap between the faces may differ round the joint."""


@dataclass(frozen=True, slots=True)
class Procedure:
    """One version of one procedure."""

    code: str
    version: int
    title: str
    family: str
    method: str
    size_from_mm: float
    size_to_mm: float
    """Up to, and not with, this size."""
    steps: tuple[Step, ...]
    turns: TurnsRule | None
    remake_turns: TurnsRule | None
    """Turns past the earlier mark at a re-make; None where it is made up as the first time."""
    torque: TorqueRule | None
    bolting: BoltingRule | None
    settling_days: int | None
    """None leaves the settling check to the policy of the family."""
    cautions: tuple[str, ...]
    source: str

    def fits(self, family: str, size_mm: float | None) -> bool:
        """Whether it is for this family and size; a joint whose size nobody gave fits every size."""
        return self.family == family and (size_mm is None or self.size_from_mm <= size_mm < self.size_to_mm)

    def steps_for(self, kind: MakeUpKind) -> tuple[Step, ...]:
        """The steps of a first make-up or of a re-make."""
        return tuple(step for step in self.steps if step.is_for(kind))

    def turns_expected(self, kind: MakeUpKind) -> TurnsRule | None:
        """What must be turned, or, by torque, what the torque should turn at a first make-up."""
        if self.torque is not None:
            return self.torque.turns if kind == "first" else None
        return self.remake_turns if kind == "re-make" and self.remake_turns is not None else self.turns

    def settles_on(self, made_up_on: date) -> date | None:
        """Day of the settling check that this procedure asks for."""
        return None if self.settling_days is None else made_up_on + timedelta(days=self.settling_days)


def procedures_for(
    procedures: Iterable[Procedure], family: str, size_mm: float | None, method: str | None = None
) -> tuple[Procedure, ...]:
    """The procedures that a fitter may choose among for a joint, the one made for the fewest sizes first."""
    found = (each for each in procedures if each.fits(family, size_mm) and method in (None, each.method))
    return tuple(sorted(found, key=lambda each: (each.size_to_mm - each.size_from_mm, each.code)))


def procedure_for(
    procedures: Iterable[Procedure], family: str, size_mm: float | None, method: str | None = None
) -> Procedure:
    """The first choice for a joint. Raises ProcedureUnknown."""
    for procedure in procedures_for(procedures, family, size_mm, method):
        return procedure
    size = "of unknown size" if size_mm is None else f"of {size_mm:g} mm"
    raise ProcedureUnknown(f"no procedure for {family} {size}{f' by {method}' if method else ''}: a plant can add one")
