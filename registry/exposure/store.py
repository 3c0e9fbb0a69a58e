"""Readings written as they come from a file, and read as columns for the score."""

from collections.abc import Sequence

import polars as pl
from psycopg.rows import class_row

from registry.columns import read_columns
from registry.db import Connection
from registry.exposure.model import StoredHistory
from registry.exposure.readings import LineReadings, ThermalHistory, VibrationZones
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)

_PLACE = {"east_m": "double precision", "north_m": "double precision"}
_VIBRATION = {"velocity_mm_s": "double precision", "frequency_hz": "double precision"}


def read_line_readings(connection: Connection, joint_ids: Sequence[int] | None) -> LineReadings:
    """The newest readings at places on lines: those on the lines of the given joints, or all."""
    columns = read_columns(
        connection,
        SQL["read_line_readings"],
        {"line_id": "integer", **_PLACE, **_VIBRATION},
        {"joint_ids": None if joint_ids is None else list(joint_ids)},
    )
    return LineReadings(**columns)


def read_vibration_zones(connection: Connection) -> VibrationZones:
    """The vibration sources of the plot plan."""
    columns = read_columns(
        connection,
        SQL["read_vibration_zones"],
        {**_PLACE, **_VIBRATION, "radius_m": "double precision", "decay": "double precision"},
    )
    return VibrationZones(**columns)


def read_thermal_histories(connection: Connection, joint_ids: Sequence[int] | None) -> list[ThermalHistory]:
    """The counted temperature cycles of the given joints and their lines, or of all; oldest first."""
    with connection.cursor(row_factory=class_row(ThermalHistory)) as cursor:
        return cursor.execute(
            SQL["read_thermal_histories"], {"joint_ids": None if joint_ids is None else list(joint_ids)}
        ).fetchall()


def list_known_readings(connection: Connection, frame: pl.DataFrame) -> pl.DataFrame:
    """Velocity that stands under the same subject, place, time and frequency as given readings: number, stands_mm_s.

    `frame`: number, joint_id, line_id, observed_at, frequency_hz, east_m, north_m.
    """
    rows = connection.execute(SQL["list_known_readings"], frame.to_dict(as_series=False)).fetchall()
    return pl.DataFrame(rows, schema={"number": pl.Int32(), "stands_mm_s": pl.Float64()}, orient="row")


def add_readings(connection: Connection, frame: pl.DataFrame, intake_id: int) -> int:
    """Add vibration readings and return how many.

    `frame`: joint_id, line_id, east_m, north_m, velocity_mm_s, frequency_hz, observed_at.
    """
    return connection.execute(SQL["add_readings"], {**frame.to_dict(as_series=False), "intake_id": intake_id}).rowcount


def list_histories_of(connection: Connection, joint_ids: Sequence[int], line_ids: Sequence[int]) -> list[StoredHistory]:
    """The temperature histories of the given joints and lines."""
    with connection.cursor(row_factory=class_row(StoredHistory)) as cursor:
        return cursor.execute(
            SQL["list_histories_of"], {"joint_ids": list(joint_ids), "line_ids": list(line_ids)}
        ).fetchall()


def add_history(
    connection: Connection,
    history: StoredHistory,
    cycle_range_degc: Sequence[float],
    cycle_count: Sequence[float],
    intake_id: int,
) -> None:
    """Add one subject's temperatures with their rainflow count."""
    connection.execute(
        SQL["add_history"],
        {
            "joint_id": history.joint_id,
            "line_id": history.line_id,
            "observed_at": list(history.observed_at),
            "temperature_degc": list(history.temperature_degc),
            "began_at": history.began_at,
            "ended_at": history.ended_at,
            "cycle_range_degc": list(cycle_range_degc),
            "cycle_count": list(cycle_count),
            "intake_id": intake_id,
        },
    )
