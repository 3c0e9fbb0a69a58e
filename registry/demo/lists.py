"""The plant's joint list and records as tables, with the headings that Jointwright's own files have."""

from datetime import date
from typing import Any

import numpy as np
import polars as pl

from registry.demo.areas import AREAS
from registry.demo.history import LEAKING, NOT_REACHED, TIGHT, WEEPING, Checks, Leaks
from registry.demo.joints import ACCESS, FAMILIES, FAMILY_LETTERS, PEOPLE, Plant
from registry.demo.layout import Block, FloatArray, IntArray
from registry.demo.make_up_records import record_columns
from registry.demo.make_ups import MakeUps
from registry.demo.readings import Temperatures, Vibration

RESULTS = ("tight", "retightened", "weeping", "leaking", "not_reached")
SEVERITIES = ("weep", "drip", "spray")
_HINDRANCES = ("scaffold missing", "door locked", "machine under test, area closed", "insulation box not removed")
_REMARKS = (
    "re-made after leak test",
    "insulated: take the box off first",
    "behind the cable tray",
    "tag plate missing",
)


def joint_list(plant: Plant, seed: int) -> pl.DataFrame:
    """The joint list, one row a joint in order of unit and line, blank where nobody wrote anything down."""
    joints, lines = plant.joints, plant.lines
    generator = np.random.default_rng([seed, 2])
    count = len(joints)
    numbers = _unit_numbers(plant.blocks)
    unit = numbers[joints.block, joints.area]
    system = lines.system[joints.line]
    width = max(len(area.systems) for area in AREAS)
    service = np.array([[s.service for s in a.systems] + [""] * (width - len(a.systems)) for a in AREAS])
    code = np.array([[s.code for s in a.systems] + [""] * (width - len(a.systems)) for a in AREAS])
    names = np.array([[block.area_name(area) for area in AREAS] for block in plant.blocks])
    frame = pl.DataFrame(
        {
            "unit": unit,
            "letters": FAMILY_LETTERS[joints.family],
            "number": joints.number,
            "code": code[joints.area, system],
            "line_number": lines.number[joints.line],
            "line_given": generator.random(count) < 0.96,
            "family": np.array(FAMILIES)[joints.family],
            "size_mm": joints.size_mm,
            "area": names[joints.block, joints.area],
            "service": service[joints.area, system],
            "east_m": joints.east_m,
            "north_m": joints.north_m,
            "elevation_m": joints.elevation_m,
            "pressure_barg": joints.pressure_barg,
            "temperature_degc": joints.temperature_degc,
            "fitter": _named(PEOPLE, joints.fitter),
            "made_up_on": joints.made_up_on,
            "make_up_method": joints.method,
            "vibration_mm_s": joints.vibration_mm_s,
            "vibration_hz": joints.vibration_hz,
            "thermal_cycles_per_year": joints.cycles_per_year,
            "thermal_range_degc": joints.range_degc,
            "access": _named(ACCESS, joints.access),
            "requires_outage": _named(("no", "yes"), joints.outage),
            "notes": _named(_REMARKS, np.where(generator.random(count) < 0.04, generator.integers(0, 4, count), -1)),
        }
    )
    return frame.select(
        pl.format("{}-{}-{}", "unit", "letters", pl.col("number").cast(pl.String).str.zfill(5)).alias("tag"),
        "family",
        pl.col("size_mm").fill_nan(None),
        pl.when("line_given").then(pl.format("{}-{}-{}", "unit", "code", "line_number")).alias("line"),
        "area",
        "service",
        "east_m",
        "north_m",
        pl.col("elevation_m").fill_nan(None),
        "pressure_barg",
        pl.col("temperature_degc").fill_nan(None),
        "fitter",
        "made_up_on",
        pl.col("make_up_method").replace("", None),
        pl.col("vibration_mm_s", "vibration_hz", "thermal_cycles_per_year", "thermal_range_degc").fill_nan(None),
        "access",
        "requires_outage",
        "notes",
    )


def line_codes(plant: Plant) -> pl.Series:
    """Code of every line, by its position."""
    lines = plant.lines
    code = np.array([AREAS[a].systems[s].code for a, s in zip(lines.area.tolist(), lines.system.tolist(), strict=True)])
    unit = _unit_numbers(plant.blocks)[lines.block, lines.area]
    return pl.DataFrame({"unit": unit, "code": code, "number": lines.number}).select(
        pl.format("{}-{}-{}", "unit", "code", "number").alias("line")
    )["line"]


def vibration_list(vibration: Vibration, tags: pl.Series, codes: pl.Series, as_of: date) -> pl.DataFrame:
    """Vibration readings: on a joint by its tag, or at a place on a line."""
    on_joint = vibration.joint >= 0
    return pl.DataFrame(
        {
            "tag": _looked_up(tags, vibration.joint),
            "line": _looked_up(codes, vibration.line),
            "east_m": np.where(on_joint, np.nan, vibration.east_m),
            "north_m": np.where(on_joint, np.nan, vibration.north_m),
            "velocity_mm_s": vibration.velocity_mm_s,
            "frequency_hz": vibration.frequency_hz,
            "observed_at": _times(vibration.day, as_of),
        }
    ).with_columns(pl.col("east_m", "north_m").fill_nan(None))


def temperature_list(temperatures: Temperatures, codes: pl.Series, as_of: date) -> pl.DataFrame:
    """Temperature histories, a row a sample."""
    lines, samples = temperatures.temperature_degc.shape
    return pl.DataFrame(
        {
            "line": _looked_up(codes, np.repeat(temperatures.line, samples)),
            "observed_at": _times(np.tile(temperatures.day, lines), as_of),
            "temperature_degc": temperatures.temperature_degc.ravel(),
        }
    )


def make_up_list(make_ups: MakeUps, plant: Plant, tags: pl.Series, seed: int, as_of: date) -> pl.DataFrame:
    """Make-ups with who made them, who looked on, and what else the record holds."""
    method = plant.joints.method[make_ups.joint]
    return pl.DataFrame(
        {
            "tag": _looked_up(tags, make_ups.joint),
            "made_up_on": make_ups.made_up_on,
            "fitter": _named(PEOPLE, make_ups.fitter),
            "witness": _named(PEOPLE, make_ups.witness),
            "method": pl.Series(method).replace("", None),
            "verdict": np.where(make_ups.accepted, "accepted", "not accepted"),
            **record_columns(make_ups, plant, seed, as_of),
        }
    )


def check_list(checks: Checks, tags: pl.Series, seed: int, as_of: date) -> pl.DataFrame:
    """Checks with what the instrument read, where one was carried."""
    generator = np.random.default_rng([seed, 3])
    count = len(checks.joint)
    weeping = checks.result == WEEPING
    reading = np.round(
        np.select(
            [weeping, checks.result == LEAKING],
            [generator.lognormal(7.6, 0.7, count), generator.lognormal(10.0, 0.6, count)],
            generator.lognormal(1.6, 0.9, count),
        ),
        1,
    )
    carried = (generator.random(count) < np.where(checks.result == TIGHT, 0.35, 0.9)) & (checks.result != NOT_REACHED)
    hindered = np.where(checks.result == NOT_REACHED, generator.integers(0, len(_HINDRANCES), count), -1)
    # A crew keeps to its people for a week.
    crew = (np.floor(checks.day / 7).astype(np.int64) * 5 + checks.joint // 3000) % len(PEOPLE)
    return pl.DataFrame(
        {
            "tag": _looked_up(tags, checks.joint),
            "observed_at": _times(checks.day, as_of),
            "result": _named(RESULTS, checks.result),
            "screening_ppmv": np.where(carried, reading, np.nan),
            "checked_by": _named(PEOPLE, crew),
            "notes": _named(_HINDRANCES, hindered),
        }
    ).with_columns(pl.col("screening_ppmv").fill_nan(None))


def leak_list(leaks: Leaks, tags: pl.Series, seed: int, as_of: date) -> pl.DataFrame:
    """Leaks with their repairs."""
    generator = np.random.default_rng([seed, 4])
    count = len(leaks.joint)
    middle = np.array([7.6, 10.0, 11.2])[leaks.severity]
    screened = generator.random(count) < 0.7
    return pl.DataFrame(
        {
            "tag": _looked_up(tags, leaks.joint),
            "observed_at": _times(leaks.day, as_of),
            "severity": _named(SEVERITIES, leaks.severity),
            "found_by": _named(PEOPLE, generator.integers(0, len(PEOPLE), count)),
            "found_during": np.where(leaks.found_by_check, "check", "operation"),
            "screening_ppmv": np.where(screened, np.round(generator.lognormal(middle, 0.6), 0), np.nan),
            "first_attempt_at": _times(leaks.first_attempt_day, as_of),
            "repaired_at": _times(leaks.repaired_day, as_of),
            "repaired_by": _named(PEOPLE, np.where(np.isnan(leaks.repaired_day), -1, generator.integers(0, 6, count))),
        }
    ).with_columns(pl.col("screening_ppmv").fill_nan(None))


def _unit_numbers(blocks: tuple[Block, ...]) -> IntArray:
    return np.array([[block.number(area) for area in AREAS] for block in blocks])


def _named(names: tuple[str, ...], position: IntArray) -> pl.Series:
    """Names by position; -1 is nobody."""
    return pl.Series(np.array([*names, ""], dtype=object)[position], dtype=pl.String).replace("", None)


def _looked_up(names: pl.Series, position: IntArray) -> pl.Series:
    """Entries by position; -1 is none."""
    index = pl.Series(np.maximum(position, 0))
    return pl.select(pl.when(pl.Series(position >= 0)).then(names.gather(index))).to_series()


def _times(day: FloatArray, as_of: date) -> pl.Series:
    """Days from the as-of date as times (UTC), null where there is none; to the minute, as people write them."""
    minutes = np.where(np.isnan(day), np.iinfo(np.int64).min, np.round(np.nan_to_num(day) * 1440)).astype(np.int64)
    moment: Any = np.datetime64(as_of, "m") + minutes.astype("timedelta64[m]")
    return pl.Series(moment.astype("datetime64[ms]")).dt.replace_time_zone("UTC")
