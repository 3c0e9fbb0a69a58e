"""What a fitter reports of a make-up, and what comes back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from registry.makeup.procedures import MakeUpKind, TurnsRule
from registry.makeup.readings import Answers
from registry.makeup.targets import TorqueTarget, Unsaid
from registry.makeup.torque import Band
from registry.papers.on_the_day import Qualification, ToolOnDay

ReasonKind = Literal["refused", "questioned"]


@dataclass(frozen=True, slots=True)
class MakeUpReport:
    """What the fitter reports, with the papers of fitter and tools as the site has them.

    `answers`, `tools` and `lots` stand by the key of their step. A tool that no step asks for is judged by its
    calibration alone and may stand by its serial; an answer that no step asks for is left to whoever keeps it.
    """

    family: str
    size_mm: float | None
    made_up_on: date
    kind: MakeUpKind
    fitter: str | None
    witness: str | None
    qualifications: Sequence[Qualification] = ()
    """All papers of the fitter, of whatever time."""
    answers: Answers = field(default_factory=dict[str, bool | float])
    tools: Mapping[str, ToolOnDay | str] = field(default_factory=dict[str, ToolOnDay | str])
    """A tool that the site does not know stands as its serial."""
    lots: Mapping[str, str] = field(default_factory=dict[str, str])
    in_retrospect: bool = False
    """An old record, judged by what it says: what it could not hold is no reason against it."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a make-up is not accepted.

    *Refused*: a rule was broken. *Questioned*: two facts do not agree, and somebody must look.
    """

    kind: ReasonKind
    code: str
    text: str
    step: str = ""
    """The step that it stands at, where it stands at one."""


@dataclass(frozen=True, slots=True)
class PassedOver:
    """What an old record could not hold, and which is therefore no reason against it."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Findings:
    """What was held against what; None where there is nothing to say."""

    turned: float | None = None
    turns: TurnsRule | None = None
    torque_n_m: float | None = None
    target: TorqueTarget | Unsaid | None = None
    setting_n_m: float | Unsaid | None = None
    """What stood on the wrench."""
    bolt_load_n: Band | Unsaid | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome; accepted exactly when there is no reason against it."""

    reasons: tuple[Reason, ...]
    passed_over: tuple[PassedOver, ...]
    findings: Findings

    @property
    def accepted(self) -> bool:
        """Whether nothing stands against it."""
        return not self.reasons
