"""Rows of a file held against what is recorded: whose they are, what is new, what is known, what contradicts."""

from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from registry.intake.model import ROW, TypedRows

IS_NEW = "is_new"
IS_KNOWN = "is_known"
UNKNOWN_TAG = "is no joint of this site: load the joint list first"


def with_number(rows: TypedRows, column: str, known: pl.DataFrame, number: str, reason: str) -> TypedRows:
    """The rows with the number of what `column` names, and a fault where `known` (number, column) has no such name."""
    frame = rows.frame.join(known.select(number, column), on=column, how="left", maintain_order="left")
    found = replace(rows, frame=frame)
    return found.with_faults(column, pl.col(column).is_not_null() & pl.col(number).is_null(), reason)


def held_against(
    rows: TypedRows, recorded: pl.DataFrame, key: Sequence[str], content: Sequence[str], what: str
) -> TypedRows:
    """The rows with `is_new` and `is_known` in their frame, and a fault where one says otherwise than what stands.

    A row is known when the ledger, or a row above it, has the same `key` and the same `content`. With the same key
    and other content it contradicts, and is a fault in the column where they differ: a ledger is corrected, never
    loaded over. Rows with a fault or a null in their key are neither. `recorded` has the columns of key and content;
    `what` names a row of the ledger.
    """
    sound = ~pl.col(ROW).is_in(pl.Series(sorted(rows.refused_rows), dtype=pl.Int32).implode())
    frame = rows.frame.with_columns(_first_row=pl.when(sound).then(pl.col(ROW)).min().over(*key))
    first = frame.filter(pl.col(ROW) == pl.col("_first_row")).select("_first_row", *_named(content, "_above"))
    stands = recorded.unique(subset=list(key), keep="first", maintain_order=True).select(
        *key, *_named(content, "_stands"), _stands=pl.lit(value=True)
    )
    frame = frame.join(first, on="_first_row", how="left", maintain_order="left").join(
        stands, on=list(key), how="left", maintain_order="left"
    )
    whole = sound & pl.all_horizontal(pl.col(column).is_not_null() for column in key)
    in_ledger = pl.col("_stands").fill_null(value=False)
    repeated = pl.col(ROW) != pl.col("_first_row")
    like_ledger = pl.all_horizontal(pl.col(column).eq_missing(pl.col(f"{column}_stands")) for column in content)
    like_above = pl.all_horizontal(pl.col(column).eq_missing(pl.col(f"{column}_above")) for column in content)
    frame = frame.with_columns(
        (whole & ~in_ledger & ~repeated).alias(IS_NEW),
        (whole & ((in_ledger & like_ledger) | (~in_ledger & repeated & like_above))).alias(IS_KNOWN),
    )
    found = replace(rows, frame=frame)
    for column in content:
        other = whole & in_ledger & ~pl.col(column).eq_missing(pl.col(f"{column}_stands"))
        stood = frame.filter(other)[f"{column}_stands"].to_list()
        found = found.with_faults(
            column,
            other,
            [
                f"contradicts the {what} of this joint and time, which says {_shown(value)}: a ledger is corrected,"
                " never loaded over; leave the row out, or give another time"
                for value in stood
            ],
        )
        other = whole & ~in_ledger & repeated & ~pl.col(column).eq_missing(pl.col(f"{column}_above"))
        above = frame.filter(other)["_first_row"].to_list()
        found = found.with_faults(
            column,
            other,
            [f"contradicts row {row}, which is of the same joint and time: give the time of day, or leave one out"
             for row in above],
        )  # fmt: skip
    return replace(found, frame=frame.select(*rows.frame.columns, IS_NEW, IS_KNOWN))


def _named(columns: Sequence[str], suffix: str) -> list[pl.Expr]:
    return [pl.col(column).alias(f"{column}{suffix}") for column in columns]


def _shown(value: object) -> str:
    return "nothing" if value is None else repr(value)
