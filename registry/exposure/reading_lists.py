"""Lists of vibration readings and of temperatures as files have them: their columns and what a row must say."""

from dataclasses import replace
from typing import Final

import polars as pl

from registry.intake.model import ROW, Column, TypedRows

VIBRATION_COLUMNS: Final = (
    Column(name="tag", words=("joint", "joint tag", "joint no")),
    Column(name="line", words=("line no", "line number")),
    Column(name="east_m", kind="number", quantity="length", words=("easting", "east", "x")),
    Column(name="north_m", kind="number", quantity="length", words=("northing", "north", "y")),
    Column(
        name="velocity_mm_s",
        kind="number",
        quantity="velocity",
        required=True,
        at_least=0.0,
        words=("vibration", "velocity", "vib"),
    ),
    Column(name="frequency_hz", kind="number", quantity="frequency", above=0.0, words=("frequency", "freq", "speed")),
    Column(name="observed_at", kind="time", required=True, not_in_future=True, words=("measured at", "date", "time")),
)
TEMPERATURE_COLUMNS: Final = (
    Column(name="tag", words=("joint", "joint tag", "joint no")),
    Column(name="line", words=("line no", "line number")),
    Column(name="observed_at", kind="time", required=True, not_in_future=True, words=("time", "date", "timestamp")),
    Column(
        name="temperature_degc",
        kind="number",
        quantity="temperature",
        required=True,
        at_least=-273.15,
        words=("temperature", "temp"),
    ),
)
READING_KEY: Final = ("joint_id", "line_id", "observed_at", "frequency_hz", "east_m", "north_m")
SUBJECT: Final = ("joint_id", "line_id")


def at_a_place(rows: TypedRows) -> TypedRows:
    """Vibration readings each at a joint, or at a place on a line; a row that names a joint stands there alone."""
    at_joint = pl.col("tag").is_not_null()
    rows = rows.with_faults(
        "tag",
        ~at_joint & pl.col("line").is_null(),
        "is empty, and so is the line: say which joint or line was measured",
    )
    for place in ("east_m", "north_m"):
        rows = rows.with_faults(
            place,
            ~at_joint & pl.col("line").is_not_null() & pl.col(place).is_null(),
            "is empty: a reading on a line needs its place on the plant grid",
        )
    frame = rows.frame.with_columns(
        pl.when(at_joint).then(None).otherwise(pl.col(column)).alias(column)
        for column in ("line", "line_id", "east_m", "north_m")
    )
    return replace(rows, frame=frame)


def of_one_subject(rows: TypedRows) -> TypedRows:
    """Temperatures each of a joint or of a line, never of both."""
    rows = rows.with_faults(
        "tag",
        pl.col("tag").is_null() & pl.col("line").is_null(),
        "is empty, and so is the line: say whose temperature it is",
    )
    return rows.with_faults(
        "line",
        pl.col("tag").is_not_null() & pl.col("line").is_not_null(),
        "stands beside a joint: a history is of one of the two",
    )


def whole_histories(rows: TypedRows) -> TypedRows:
    """Temperatures as histories: two times at least, one temperature a time, and with one bad row the history waits.

    A history with a hole where a bad row was would be counted wrongly and could not be mended by a later file, so all
    of its rows are refused together.
    """
    known = pl.any_horizontal(pl.col(column).is_not_null() for column in SUBJECT)
    by_time = [*SUBJECT, "observed_at"]
    rows = rows.with_faults(
        "temperature_degc",
        known & (pl.col("temperature_degc").n_unique().over(by_time) > 1),
        "is one of several temperatures of one subject at one time: keep one",
    )
    rows = rows.with_faults(
        "observed_at",
        known & (pl.col("observed_at").n_unique().over(SUBJECT) < 2),
        "is the only time of its subject: a history needs two or more",
    )
    refused = pl.col(ROW).is_in(pl.Series(sorted(rows.refused_rows), dtype=pl.Int32).implode())
    return rows.with_faults(
        "temperature_degc",
        known & ~refused & refused.any().over(SUBJECT),
        "belongs to a history that has a bad row: mend that, and load the history as one",
    )
