"""People with what they may make up, tools with their calibrations: as lists have them, and as they run out."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from registry.errors import NotFound
from registry.intake.model import Column
from registry.papers.on_the_day import AsFound, Calibration, Qualification, ToolOnDay, tool_on_day

ToolKind = Literal["torque_wrench", "tensioner", "gap_gauge", "pre_swage", "other"]

PEOPLE_COLUMNS: Final = (
    Column(name="name", required=True, longest=200, words=("fitter", "person", "full name")),
    Column(name="family", kind="choice", words=("joint family", "qualified for", "joint type")),
    Column(name="size_from_mm", kind="number", at_least=0, words=("from size", "smallest size")),
    Column(name="size_to_mm", kind="number", above=0, words=("to size", "largest size")),
    Column(name="valid_from_on", kind="date", words=("valid from", "qualified on", "issued")),
    Column(name="valid_until_on", kind="date", words=("valid until", "expires", "valid to", "expiry")),
    Column(name="certificate", longest=200, words=("certificate no", "card no")),
)
"""A row without `valid_from_on` names the person alone; without a family it is for every family."""

TOOL_COLUMNS: Final = (
    Column(name="serial", required=True, longest=200, words=("serial no", "tool", "tool no", "id")),
    Column(
        name="kind",
        kind="choice",
        required=True,
        choices={
            "torque_wrench": ("torque wrench", "wrench"),
            "tensioner": ("bolt tensioner",),
            "gap_gauge": ("gap gauge", "gauge"),
            "pre_swage": ("pre-swage", "pre-swaging tool", "swaging tool"),
            "other": (),
        },
        words=("type", "tool type"),
    ),
    Column(name="description", longest=500, words=("what it is",)),
    Column(name="low_n_m", kind="number", quantity="torque", at_least=0, words=("lowest setting", "range from")),
    Column(name="high_n_m", kind="number", quantity="torque", above=0, words=("highest setting", "range to")),
)

CALIBRATION_COLUMNS: Final = (
    Column(name="serial", required=True, longest=200, words=("serial no", "tool", "tool no", "id")),
    Column(
        name="calibrated_on",
        kind="date",
        required=True,
        not_in_future=True,
        words=("calibrated", "date", "calibration"),
    ),
    Column(name="valid_until_on", kind="date", required=True, words=("valid until", "due", "next due", "expires")),
    Column(
        name="as_found",
        kind="choice",
        required=True,
        choices={
            "in tolerance": ("in", "pass", "passed", "ok", "within tolerance"),
            "out of tolerance": ("out", "fail", "failed", "not in tolerance"),
        },
        words=("as found", "result", "found"),
    ),
    Column(name="certificate", longest=200, words=("certificate no", "cert no")),
)


@dataclass(frozen=True, slots=True)
class PersonsPaper:
    """A person with one qualification; the fields of it are None where the person has none."""

    name: str
    family: str | None
    size_from_mm: float | None
    size_to_mm: float | None
    valid_from_on: date | None
    valid_until_on: date | None
    certificate: str | None

    def as_qualification(self) -> Qualification | None:
        """The qualification as a verdict takes it."""
        if self.valid_from_on is None:
            return None
        return Qualification(self.family, self.size_from_mm, self.size_to_mm, self.valid_from_on, self.valid_until_on)


@dataclass(frozen=True, slots=True)
class ToolsCalibration:
    """A tool with one calibration; the fields of it are None where it has none."""

    serial: str
    kind: ToolKind
    description: str | None
    low_n_m: float | None
    high_n_m: float | None
    calibrated_on: date | None
    valid_until_on: date | None
    as_found: AsFound | None
    certificate: str | None

    def as_calibration(self) -> Calibration | None:
        """The calibration as a verdict takes it."""
        if self.calibrated_on is None or self.valid_until_on is None or self.as_found is None:
            return None
        return Calibration(self.calibrated_on, self.valid_until_on, self.as_found, self.certificate)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the register with all papers."""

    name: str
    qualifications: tuple[PersonsPaper, ...]


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool of the register with all its calibrations, the newest last."""

    serial: str
    kind: ToolKind
    description: str | None
    low_n_m: float | None
    high_n_m: float | None
    calibrations: tuple[Calibration, ...]

    def on_day(self, day: date) -> ToolOnDay:
        """How it stood on a day."""
        return tool_on_day(self.serial, self.kind, self.calibrations, day, self.low_n_m, self.high_n_m)


@dataclass(frozen=True, slots=True)
class Expiring:
    """A paper that runs out soon or ran out already, and that none after it makes good."""

    kind: Literal["qualification", "calibration"]
    subject: str
    """The person's name, or the tool's serial."""
    detail: str
    """The family, or the kind of tool."""
    valid_until_on: date
    certificate: str | None


class ToolUnknown(NotFound):
    """There is no such tool in the register"""

    slug = "tool-unknown"


class PersonUnknown(NotFound):
    """There is no such person in the register"""

    slug = "person-unknown"


def people_of(rows: list[PersonsPaper]) -> tuple[Person, ...]:
    """Papers, in order of their person, gathered by person."""
    papers: dict[str, list[PersonsPaper]] = {}
    for row in rows:
        papers.setdefault(row.name, []).extend([row] if row.valid_from_on is not None else [])
    return tuple(Person(name, tuple(own)) for name, own in papers.items())


def tools_of(rows: list[ToolsCalibration]) -> tuple[Tool, ...]:
    """Calibrations, in order of their tool, gathered by tool."""
    tools: dict[str, tuple[ToolsCalibration, list[Calibration]]] = {}
    for row in rows:
        _, own = tools.setdefault(row.serial, (row, []))
        if (calibration := row.as_calibration()) is not None:
            own.append(calibration)
    return tuple(
        Tool(row.serial, row.kind, row.description, row.low_n_m, row.high_n_m, tuple(own))
        for row, own in tools.values()
    )
