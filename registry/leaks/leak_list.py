"""A list of leaks with their repairs as a file has it: its columns, and what of its repairs the ledger lacks."""

from dataclasses import replace
from typing import Final

import polars as pl

from registry.intake.model import ROW, Column, TypedRows
from registry.intake.recorded import IS_KNOWN, IS_NEW

LEAK_COLUMNS: Final = (
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


def with_repairs(rows: TypedRows, ledger: pl.DataFrame) -> TypedRows:
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


def repairs_lacking(frame: pl.DataFrame) -> pl.DataFrame:
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
