"""A list of leaks with their repairs, loaded from a file into the ledgers."""

from dataclasses import replace
from datetime import date
from typing import Final

import polars as pl

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import ROW, Column, FileMapping, IntakeReport, Table, TypedRows
from registry.intake.recorded import IS_KNOWN, IS_NEW, UNKNOWN_TAG, held_against, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.store import list_tags
from registry.leaks import store

COLUMNS: Final = (
    Column(name="tag", required=True, words=("joint", "joint tag", "joint no")),
    Column(name="observed_at", kind="time", required=True, not_in_future=True, words=("found", "found at", "date")),
    Column(
        name="severity",
        kind="choice",
        required=True,
        choices={"weep": ("weeping", "seep"), "drip": ("dripping", "leak", "leaking"), "spray": ("spraying", "jet")},
        words=("leak", "how bad"),
    ),
    Column(
        name="found_during",
        kind="choice",
        choices={"check": ("inspection", "route"), "operation": ("operations", "rounds", "walk-by")},
    ),
    Column(name="found_by", longest=200, words=("reported by", "name")),
    Column(name="screening_ppmv", kind="number", at_least=0.0, words=("screening value", "ppm")),
    Column(name="notes", words=("remarks", "comment")),
    Column(name="first_attempt_at", kind="time", not_in_future=True, words=("first attempt",)),
    Column(name="repaired_at", kind="time", not_in_future=True, words=("repaired", "closed", "repair date")),
    Column(name="repaired_by", longest=200, words=("repaired by",)),
)


def import_leaks(
    connection: Connection, table: Table, mapping: FileMapping, *, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the leaks and repairs of a file: all rows or none, or with `keep_valid` the good ones.

    A leak is known by its joint and time. One that stands already and is now repaired counts as changed. The caller
    rescores, for a leak may call its neighbours in.
    """
    take_intake_lock(connection, "leaks")
    store.take_leak_lock(connection)
    store.take_leak_step_lock(connection)
    rows = typed_rows(table, COLUMNS, mapping, today=today)
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    for step in ("first_attempt_at", "repaired_at"):
        rows = rows.with_faults(step, pl.col(step) < pl.col("observed_at"), "is before the leak was found")
    ledger = store.list_leaks_of_joints(connection, rows.frame["joint_id"].drop_nulls().unique().to_list())
    rows = held_against(rows, ledger, ("joint_id", "observed_at"), ("severity",), "leak")
    rows = _with_repairs(rows, ledger)
    frame = rows.admitted(keep_valid)
    leaks, steps = frame.filter(IS_NEW), _steps(frame)
    known = frame.filter(IS_KNOWN)
    changed = known.filter(pl.col(ROW).is_in(steps[ROW].implode())).height
    intake_id = None
    if leaks.height or steps.height:
        intake_id = add_intake(connection, "leaks", rows, frame.height)
        store.add_leaks(
            connection,
            leaks.select(
                "joint_id",
                "observed_at",
                "severity",
                "found_by",
                pl.col("found_during").fill_null("operation"),
                "screening_ppmv",
                "notes",
            ),
            intake_id,
        )
        store.add_steps(connection, steps.drop(ROW), intake_id)
    return rows.report(
        "leaks",
        loaded=keep_valid or not rows.issues,
        added=leaks.height,
        changed=changed,
        unchanged=known.height - changed,
        intake_id=intake_id,
    )


def _with_repairs(rows: TypedRows, ledger: pl.DataFrame) -> TypedRows:
    """The rows with what the ledger says of their repair, and a fault where they say otherwise."""
    stands = ledger.unique(subset=["joint_id", "observed_at"], keep="first", maintain_order=True).select(
        "joint_id", "observed_at", stands_attempted=pl.col("first_attempt_at"), stands_repaired=pl.col("repaired_at")
    )
    joined = rows.frame.join(stands, on=["joint_id", "observed_at"], how="left", maintain_order="left")
    rows = replace(rows, frame=joined)
    for given, stood in (("first_attempt_at", "stands_attempted"), ("repaired_at", "stands_repaired")):
        rows = rows.with_faults(
            given,
            pl.col(given).is_not_null() & pl.col(stood).is_not_null() & (pl.col(given) != pl.col(stood)),
            "contradicts what the ledger says of this repair: a ledger is corrected, never loaded over",
        )
    return rows


def _steps(frame: pl.DataFrame) -> pl.DataFrame:
    """The repairs that the ledger lacks."""
    known_or_new = frame.filter(pl.col(IS_NEW) | pl.col(IS_KNOWN))

    def of(step: str, given: str, stood: str, by: pl.Expr) -> pl.DataFrame:
        lacking = known_or_new.filter(pl.col(given).is_not_null() & pl.col(stood).is_null())
        return lacking.unique(subset=["joint_id", "observed_at"], keep="first", maintain_order=True).select(
            ROW,
            "joint_id",
            leak_at=pl.col("observed_at"),
            step=pl.lit(step),
            observed_at=pl.col(given),
            done_by=by,
        )

    attempts = of("first_attempt", "first_attempt_at", "stands_attempted", pl.lit(None, dtype=pl.String))
    return pl.concat([attempts, of("repaired", "repaired_at", "stands_repaired", pl.col("repaired_by"))])
