"""Who works at Saltmarsh Point, and with what: a dozen people with qualifications, forty tools with calibrations."""

from datetime import date, timedelta
from typing import Any, Final, NamedTuple

import polars as pl

from registry.demo.joints import FAMILIES, PEOPLE

STAFF: Final = (*PEOPLE, "A. Kowalski", "B. Ferrand", "C. Oyelaran", "E. Halvorsen", "F. Quist", "G. Tanaka")
"""The six who made the joints up, and six who came since."""

REGISTER_YEARS: Final = 6
"""How far back the papers on file reach: what was made up before them is judged without."""

WRENCH_RANGES: Final = ((8.0, 60.0), (40.0, 340.0), (200.0, 2000.0))
WRENCHES_A_RANGE: Final = 8
FOUND_OUT: Final = "TW-014"
"""The wrench that was found out of tolerance last March; nobody has used it since."""

_OTHER_TOOLS: Final = (
    ("BT", "tensioner", "bolt tensioner", 4),
    ("GG", "gap_gauge", "gap gauge", 6),
    ("PS", "pre_swage", "pre-swaging hand tool", 4),
    ("TM", "other", "torque multiplier", 2),
)
_LAPSED: Final = ("TW-005", "GG-003")
_EXPIRING_DAYS: Final = {"TW-009": 12, "TW-021": 33, "BT-002": 41}


class DemoTool(NamedTuple):
    """A tool of the list."""

    serial: str
    kind: str
    description: str
    low_n_m: float | None
    high_n_m: float | None


def demo_tools() -> list[DemoTool]:
    """Twenty-four torque wrenches in three ranges, and sixteen other tools."""
    wrenches = [
        DemoTool(wrench_serial(which, number), "torque_wrench", f"torque wrench to {high:g} N·m", low, high)
        for which, (low, high) in enumerate(WRENCH_RANGES)
        for number in range(WRENCHES_A_RANGE)
    ]
    others = [
        DemoTool(f"{letters}-{number + 1:03d}", kind, description, None, None)
        for letters, kind, description, count in _OTHER_TOOLS
        for number in range(count)
    ]
    return [*wrenches, *others]


def wrench_serial(which_range: int, number: int) -> str:
    """Serial of a wrench by its range and its number in that, both from 0."""
    return f"TW-{which_range * WRENCHES_A_RANGE + number + 1:03d}"


def found_out_on(as_of: date) -> date:
    """The last tenth of March that lies a month back or more."""
    this_year = date(as_of.year, 3, 10)
    return this_year if this_year <= as_of - timedelta(days=30) else date(as_of.year - 1, 3, 10)


def overhaul_on(as_of: date) -> date:
    """First day of the overhaul at which the wrench that was found out did much of the work."""
    return found_out_on(as_of) - timedelta(days=120)


def people_list(as_of: date) -> pl.DataFrame:
    """Qualifications: the six for every family without a gap, the others for a few; some end soon, one has lapsed."""
    began = as_of - timedelta(days=round(365.25 * REGISTER_YEARS))
    rows: list[tuple[Any, ...]] = []
    for number, name in enumerate(PEOPLE):
        ends = [
            as_of - timedelta(days=round(365.25 * 3) - 45 * (number + 1)),
            as_of + timedelta(days=45 * (number + 1)),
        ]
        starts = [began, ends[0] + timedelta(days=1)]
        rows += [
            (name, None, None, None, start, end, f"Q-{number + 1:02d}{round_:02d}")
            for round_, (start, end) in enumerate(zip(starts, ends, strict=True), start=1)
        ]
    for number, name in enumerate(STAFF[len(PEOPLE) :], start=len(PEOPLE)):
        for family in (FAMILIES[number % 3], FAMILIES[2 + number % 5]):
            lapsed = name == STAFF[-1]
            start = as_of - timedelta(days=700 if not lapsed else 1110)
            certificate = f"Q-{number + 1:02d}-{family[:2].upper()}"
            most_mm = 300.0 if family == "flanged" else None
            rows.append((name, family, None, most_mm, start, start + timedelta(days=1095), certificate))
    names = ("name", "family", "size_from_mm", "size_to_mm", "valid_from_on", "valid_until_on", "certificate")
    types = (pl.String(), pl.String(), pl.Float64(), pl.Float64(), pl.Date(), pl.Date(), pl.String())
    return pl.DataFrame(rows, schema=dict(zip(names, types, strict=True)), orient="row").unique(maintain_order=True)


def tool_list() -> pl.DataFrame:
    """The tools."""
    types = {
        "serial": pl.String(),
        "kind": pl.String(),
        "description": pl.String(),
        "low_n_m": pl.Float64(),
        "high_n_m": pl.Float64(),
    }
    return pl.DataFrame(demo_tools(), schema=types, orient="row")


def calibration_list(as_of: date) -> pl.DataFrame:
    """A calibration a year of every tool, good for a year and a fortnight; two have lapsed, three end soon.

    What was found last March is not among them: that came to light later, see `late_calibration_list`.
    """
    rows: list[tuple[Any, ...]] = []
    for number, tool in enumerate(demo_tools()):
        last = as_of - timedelta(days=30 + (number * 37) % 300)
        if tool.serial in _LAPSED:
            last = as_of - timedelta(days=365 + 14 + 20)
        elif tool.serial in _EXPIRING_DAYS:
            last = as_of - timedelta(days=365 + 14 - _EXPIRING_DAYS[tool.serial])
        elif tool.serial == FOUND_OUT:
            last = found_out_on(as_of) - timedelta(days=365)
        for year in range(REGISTER_YEARS, -1, -1):
            day = last - timedelta(days=365 * year)
            rows.append((tool.serial, day, day + timedelta(days=365 + 14), "in tolerance", f"C-{number:02d}{year:02d}"))
    return _calibrations(rows)


def late_calibration_list(as_of: date) -> pl.DataFrame:
    """The calibration of last March that found a wrench out of tolerance."""
    day = found_out_on(as_of)
    return _calibrations([(FOUND_OUT, day, day + timedelta(days=365 + 14), "out of tolerance", "C-14-LATE")])


def _calibrations(rows: list[tuple[Any, ...]]) -> pl.DataFrame:
    names = ("serial", "calibrated_on", "valid_until_on", "as_found", "certificate")
    types = (pl.String(), pl.Date(), pl.Date(), pl.String(), pl.String())
    return pl.DataFrame(rows, schema=dict(zip(names, types, strict=True)), orient="row")
