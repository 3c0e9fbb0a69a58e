"""The invented plant as files: what a user would load, made from the same tables that the demo loads."""

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from registry.demo.joints import Plant, plant
from registry.demo.layout import plot_plan
from registry.demo.lists import (
    check_list,
    joint_list,
    leak_list,
    line_codes,
    make_up_list,
    temperature_list,
    vibration_list,
)
from registry.demo.papers import calibration_list, late_calibration_list, people_list, tool_list
from registry.demo.process import Life, simulated_life
from registry.demo.truth import truth_document
from registry.policy.document import default_document, policy_from

Progress = Callable[[str], None]

PAPERS = ("people", "tools", "calibrations")
"""Lists that a make-up is judged by, in the order in which they are loaded."""


def say_nothing(_what: str) -> None:
    """Progress that nobody watches."""


@dataclass(frozen=True, slots=True)
class Tables:
    """The plant's joint list, its people and tools and, where it has a history, its records.

    `late_calibrations` came to light after the make-ups were recorded.
    """

    joints: pl.DataFrame
    people: pl.DataFrame
    tools: pl.DataFrame
    calibrations: pl.DataFrame
    vibration: pl.DataFrame | None = None
    temperatures: pl.DataFrame | None = None
    make_ups: pl.DataFrame | None = None
    checks: pl.DataFrame | None = None
    leaks: pl.DataFrame | None = None
    late_calibrations: pl.DataFrame | None = None


def tables_of(built: Plant, life: Life | None, seed: int, as_of: date) -> Tables:
    """The tables of a plant and its life."""
    joints = joint_list(built, seed)
    papers = {"people": people_list(as_of), "tools": tool_list(), "calibrations": calibration_list(as_of)}
    if life is None:
        return Tables(joints, **papers)
    tags, codes = joints["tag"], line_codes(built)
    # A line that the joint list never names is not in the register, and nobody can record anything on it.
    known = pl.col("line").is_null() | pl.col("line").is_in(joints["line"].drop_nulls().unique().implode())
    return Tables(
        joints=joints,
        **papers,
        vibration=vibration_list(life.vibration, tags, codes, as_of).filter(known),
        temperatures=temperature_list(life.temperatures, codes, as_of).filter(known),
        make_ups=make_up_list(life.make_ups, built, tags, seed, as_of),
        checks=check_list(life.history.checks, tags, seed, as_of),
        leaks=leak_list(life.history.leaks, tags, seed, as_of),
        late_calibrations=late_calibration_list(as_of),
    )


def csv_bytes(frame: pl.DataFrame) -> bytes:
    """A table as CSV, times in UTC with their zone."""
    stream = io.BytesIO()
    frame.write_csv(stream, datetime_format="%Y-%m-%dT%H:%MZ")
    return stream.getvalue()


def plan_bytes(built: Plant) -> bytes:
    """The plot plan as GeoJSON in plant-grid metres."""
    return json.dumps(plot_plan(built.blocks), ensure_ascii=False, separators=(",", ":")).encode()


def write_files(
    folder: Path, joints: int, seed: int, as_of: date, *, history: bool = True, progress: Progress | None = None
) -> list[Path]:
    """Write the plot plan, the joint list, the histories and what is true of them into a folder, and return the paths.

    The histories are those of the shipped policy, as the demo has them.
    """
    tell = progress or say_nothing
    built = plant(joints, seed, as_of)
    tell(f"laid out {joints:,} joints")
    life = simulated_life(built, policy_from(default_document(), 1), seed, as_of) if history else None
    tables = tables_of(built, life, seed, as_of)
    folder.mkdir(parents=True, exist_ok=True)
    contents = {"plot_plan.geojson": plan_bytes(built), "joints.csv": csv_bytes(tables.joints)}
    for name in (*PAPERS, "vibration", "temperatures", "make_ups", "checks", "leaks", "late_calibrations"):
        frame: pl.DataFrame | None = getattr(tables, name)
        if frame is not None:
            contents[f"{name}.csv"] = csv_bytes(frame)
    if life is not None:
        contents["truth.json"] = json.dumps(truth_document(), indent=2).encode()
    written: list[Path] = []
    for name, content in contents.items():
        path = folder / name
        path.write_bytes(content)
        written.append(path)
    return written
