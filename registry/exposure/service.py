"""Take readings in: vibration at joints and along lines, and temperature histories with their cycles counted."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

import polars as pl

from registry.db import Connection
from registry.exposure import store
from registry.exposure.model import StoredHistory
from registry.exposure.rainflow import rainflow_cycles
from registry.exposure.reading_lists import (
    READING_KEY,
    SUBJECT,
    TEMPERATURE_COLUMNS,
    VIBRATION_COLUMNS,
    at_a_place,
    of_one_subject,
    whole_histories,
)
from registry.intake.columns import typed_rows
from registry.intake.model import ROW, FileMapping, IntakeReport, Table, TypedRows
from registry.intake.recorded import UNKNOWN_TAG, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.store import list_lines, list_tags

UNKNOWN_LINE = "is no line of this site: load the joint list first, which names its lines"


def import_vibration(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the vibration readings of a file: all rows or none, or with `keep_valid` the good ones.

    A row names a joint, or a line with a place on it. A reading that stands already (subject, place, time, frequency)
    is unchanged with the same velocity and a fault with another. The caller scores anew.
    """
    take_intake_lock(connection, "vibration")
    rows = at_a_place(_with_subjects(connection, typed_rows(table, VIBRATION_COLUMNS, mapping, today=today)))
    key = list(READING_KEY)
    first = pl.col("velocity_mm_s").first().over(key)
    repeated = pl.col(ROW) != pl.col(ROW).min().over(key)
    whole = pl.any_horizontal(pl.col(column).is_not_null() for column in SUBJECT) & pl.col("observed_at").is_not_null()
    rows = rows.with_faults(
        "velocity_mm_s",
        whole & repeated & (pl.col("velocity_mm_s") != first),
        "is another velocity than a row above gives for the same place, time and frequency",
    )
    known = store.list_known_readings(connection, rows.frame.select(pl.col(ROW).alias("number"), *key))
    frame = rows.frame.join(known, left_on=ROW, right_on="number", how="left", maintain_order="left")
    rows = replace(rows, frame=frame).with_faults(
        "velocity_mm_s",
        pl.col("stands_mm_s") != pl.col("velocity_mm_s"),
        "is another velocity than stands already for the same place, time and frequency",
    )
    frame = rows.admitted(keep_valid)
    added = frame.filter(pl.col("stands_mm_s").is_null()).unique(subset=key, keep="first", maintain_order=True)
    intake_id = None
    if added.height:
        intake_id = add_intake(connection, "vibration", rows, frame.height)
        store.add_readings(connection, added.select(*key, "velocity_mm_s"), intake_id)
    return rows.report(
        "vibration",
        loaded=keep_valid or not rows.issues,
        added=added.height,
        unchanged=frame.height - added.height,
        intake_id=intake_id,
    )


def import_temperatures(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the temperature histories of a file with their rainflow count: all rows or none, or the whole good histories.

    The rows of one joint or line are one history. One that stands already with the same span is unchanged with the same
    temperatures and a fault with others. The caller scores anew.
    """
    take_intake_lock(connection, "temperatures")
    rows = of_one_subject(_with_subjects(connection, typed_rows(table, TEMPERATURE_COLUMNS, mapping, today=today)))
    rows = whole_histories(rows)
    stored = store.list_histories_of(connection, *(_numbers(rows, column) for column in SUBJECT))
    by_span = {(history.joint_id, history.line_id, history.began_at, history.ended_at): history for history in stored}
    histories = _histories(rows.good)
    contradicting = [
        (history.joint_id, history.line_id)
        for history in histories
        if (stands := by_span.get(_span(history))) is not None and not _same(history, stands)
    ]
    rows = rows.with_faults(
        "temperature_degc",
        pl.struct(SUBJECT).map_elements(
            lambda subject: (subject["joint_id"], subject["line_id"]) in contradicting, return_dtype=pl.Boolean
        ),
        "belongs to a history that stands already over the same time with other temperatures",
    )
    frame = rows.admitted(keep_valid)
    admitted = _histories(frame)
    new = [history for history in admitted if _span(history) not in by_span]
    intake_id = None
    if new:
        intake_id = add_intake(connection, "temperatures", rows, frame.height)
    for history in new:
        cycles = rainflow_cycles(history.temperature_degc)
        assert intake_id is not None, "there is something to add"
        store.add_history(connection, history, cycles.ranges.tolist(), cycles.counts.tolist(), intake_id)
    subjects = {(history.joint_id, history.line_id) for history in new}
    added = sum((row["joint_id"], row["line_id"]) in subjects for row in frame.select(SUBJECT).iter_rows(named=True))
    return rows.report(
        "temperatures",
        loaded=keep_valid or not rows.issues,
        added=added,
        unchanged=frame.height - added,
        notes=[f"{len(new):,} histories were added, {len(admitted) - len(new):,} stand already"] if admitted else [],
        intake_id=intake_id,
    )


def _with_subjects(connection: Connection, rows: TypedRows) -> TypedRows:
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    return with_number(rows, "line", list_lines(connection).rename({"code": "line"}), "line_id", UNKNOWN_LINE)


def _numbers(rows: TypedRows, column: str) -> list[int]:
    return rows.frame[column].drop_nulls().unique().to_list()


def _histories(frame: pl.DataFrame) -> list[StoredHistory]:
    """The rows of each subject in order of time; a time that is given twice counts once."""
    once = frame.unique(subset=[*SUBJECT, "observed_at"], keep="first").sort("observed_at")
    grouped = once.group_by(SUBJECT, maintain_order=True).agg("observed_at", "temperature_degc")
    return [
        StoredHistory(joint_id, line_id, tuple(observed_at), tuple(temperature), observed_at[0], observed_at[-1])
        for joint_id, line_id, observed_at, temperature in grouped.iter_rows()
    ]


def _span(history: StoredHistory) -> tuple[int | None, int | None, datetime, datetime]:
    return history.joint_id, history.line_id, history.began_at, history.ended_at


def _same(given: StoredHistory, stands: StoredHistory) -> bool:
    def said(history: StoredHistory) -> Sequence[object]:
        return (*history.observed_at, *history.temperature_degc)

    return list(said(given)) == list(said(stands))
