"""How a fitter's papers and a tool's calibration stood on the day of a make-up."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

AsFound = Literal["in tolerance", "out of tolerance"]


@dataclass(frozen=True, slots=True)
class Qualification:
    """What a fitter may make up, and between which days. None of a limit is no limit."""

    family: str | None
    size_from_mm: float | None
    size_to_mm: float | None
    """Up to and with this size."""
    valid_from_on: date
    valid_until_on: date | None

    def covers(self, family: str, size_mm: float | None) -> bool:
        """Whether it is for this family and size; a joint whose size nobody gave is covered by any size."""
        return self.family in (None, family) and (
            size_mm is None
            or (
                (self.size_from_mm is None or self.size_from_mm <= size_mm)
                and (self.size_to_mm is None or size_mm <= self.size_to_mm)
            )
        )

    def holds_on(self, day: date) -> bool:
        """Whether it was valid on that day, its first and last day counted in."""
        return self.valid_from_on <= day and (self.valid_until_on is None or day <= self.valid_until_on)


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration of a tool; `as_found` is how it came in, before anybody adjusted it."""

    calibrated_on: date
    valid_until_on: date
    as_found: AsFound
    certificate: str | None

    def holds_on(self, day: date) -> bool:
        """Whether it was valid on that day, its first and last day counted in."""
        return self.calibrated_on <= day <= self.valid_until_on


@dataclass(frozen=True, slots=True)
class ToolOnDay:
    """A tool as it stood on the day of a make-up."""

    serial: str
    kind: str
    low_n_m: float | None
    high_n_m: float | None
    """The range within which it may be set; None where it has none."""
    calibration: Calibration | None
    """The newest on or before the day, whether or not it was still valid."""
    found_out_on: date | None
    """Day of the next calibration, where that one found the tool out of tolerance."""


def tool_on_day(
    serial: str,
    kind: str,
    calibrations: Iterable[Calibration],
    on: date,
    low_n_m: float | None = None,
    high_n_m: float | None = None,
) -> ToolOnDay:
    """A tool as it stood on a day.

    A calibration of the very day counts as valid, and, if it found the tool out of tolerance, also as having found it
    out: nobody knows whether the make-up came before it.

    Examples
    --------
    >>> spring = Calibration(date(2026, 3, 1), date(2027, 2, 28), "in tolerance", "C-0301")
    >>> autumn = Calibration(date(2026, 9, 1), date(2027, 8, 31), "out of tolerance", "C-0901")
    >>> tool = tool_on_day("TW-014", "torque_wrench", [autumn, spring], date(2026, 5, 4))
    >>> tool.calibration == spring, tool.found_out_on
    (True, datetime.date(2026, 9, 1))
    """
    in_order = sorted(calibrations, key=lambda each: each.calibrated_on)
    counted = next((each for each in reversed(in_order) if each.calibrated_on <= on), None)
    following = next((each for each in in_order if each.calibrated_on > on), None)
    if counted is not None and counted.calibrated_on == on and counted.as_found == "out of tolerance":
        following = counted
    found_out = following is not None and following.as_found == "out of tolerance"
    return ToolOnDay(
        serial, kind, low_n_m, high_n_m, counted, following.calibrated_on if following and found_out else None
    )


def want_of_qualification(
    qualifications: Sequence[Qualification], family: str, size_mm: float | None, on: date
) -> str | None:
    """Why nobody of these papers may make this joint up on that day, in words; None where somebody may.

    Examples
    --------
    >>> papers = [Qualification("flanged", None, None, date(2024, 1, 1), date(2025, 12, 31))]
    >>> want_of_qualification(papers, "flanged", 100.0, date(2026, 1, 1))
    'the qualification for flanged of 100 mm ended on 2025-12-31'
    >>> want_of_qualification(papers, "flanged", 100.0, date(2025, 12, 31)) is None
    True
    """
    joint = f"{family.replace('_', ' ')}{'' if size_mm is None else f' of {size_mm:g} mm'}"
    covering = [each for each in qualifications if each.covers(family, size_mm)]
    if any(each.holds_on(on) for each in covering):
        return None
    if not covering:
        others = sorted({(each.family or "every family").replace("_", " ") for each in qualifications})
        have = f"; there is one for {', '.join(others)}" if others else ""
        return f"no qualification for {joint} is on file{have}"
    ended = [each.valid_until_on for each in covering if each.valid_until_on is not None and each.valid_until_on < on]
    if ended:
        return f"the qualification for {joint} ended on {max(ended)}"
    return f"the qualification for {joint} begins on {min(each.valid_from_on for each in covering)}"
