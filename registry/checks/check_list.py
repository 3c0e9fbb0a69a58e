"""A list of check results as a file has it: its columns, and which of its results open a leak."""

from typing import Final

import polars as pl

from registry.checks.model import SEVERITY_OF
from registry.intake.model import Column
from registry.intake.recorded import IS_NEW

CHECK_COLUMNS: Final = (
    Column(name="tag", required=True, words=("joint", "joint tag", "joint no")),
    Column(
        name="observed_at", kind="time", required=True, not_in_future=True, words=("checked at", "checked on", "date")
    ),
    Column(
        name="result",
        kind="choice",
        required=True,
        choices={
            "tight": ("ok", "good", "no leak", "satisfactory"),
            "retightened": ("tightened", "re-tightened"),
            "weeping": ("weep", "seeping"),
            "leaking": ("leak", "drip", "dripping", "spray"),
            "not_reached": ("not reached", "no access", "missed"),
        },
        words=("found", "finding", "outcome"),
    ),
    Column(name="screening_ppmv", kind="number", at_least=0.0, words=("screening value", "ppm")),
    Column(name="checked_by", longest=200, words=("checked by", "inspector", "name")),
    Column(name="notes", words=("remarks", "comment")),
)


def leaks_opened(frame: pl.DataFrame, ledger: pl.DataFrame) -> pl.DataFrame:
    """The leaks that the new results of a file open, as the leak ledger takes them.

    A leak seen again before the joint was found good is one leak; so is one that the ledger had open at that time, or
    that it has of the same joint and day. `ledger` has joint_id, observed_at and repaired_at.
    """
    results = frame.filter(pl.col(IS_NEW) & (pl.col("result") != "not_reached")).sort("joint_id", "observed_at")
    leaky = pl.col("result").is_in(list(SEVERITY_OF))
    seen = results.with_columns(leaky.shift(1).over("joint_id").fill_null(value=False).alias("seen")).filter(
        leaky & ~pl.col("seen")
    )
    stands = (
        seen.select("joint_id", at=pl.col("observed_at"))
        .join(ledger.select("joint_id", "observed_at", "repaired_at"), on="joint_id")
        .filter(
            (pl.col("observed_at").dt.date() == pl.col("at").dt.date())
            | (
                (pl.col("observed_at") <= pl.col("at"))
                & (pl.col("repaired_at").is_null() | (pl.col("repaired_at") > pl.col("at")))
            )
        )
    )
    opened = seen.join(stands, left_on=["joint_id", "observed_at"], right_on=["joint_id", "at"], how="anti")
    return opened.select(
        "joint_id",
        "observed_at",
        pl.col("result").replace_strict(SEVERITY_OF, return_dtype=pl.String).alias("severity"),
        found_by=pl.col("checked_by"),
        found_during=pl.lit("check"),
        screening_ppmv="screening_ppmv",
        notes="notes",
    )
