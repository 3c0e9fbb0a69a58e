"""Cells that should be numbers: what they are in our unit, or why not."""

import math
import re
from typing import Final

import polars as pl

from registry.intake.model import Column
from registry.units import Unit, converted, unit_at_end

_POINT_THOUSANDS: Final = re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d+)$|^[+-]?\d{1,3}(,\d{3}){2,}$")
_COMMA_THOUSANDS: Final = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d+)$|^[+-]?\d{1,3}(\.\d{3}){2,}$")
_SPACED_THOUSANDS: Final = re.compile(r"^[+-]?\d{1,3}([ '\u00a0\u202f]\d{3})+([.,]\d+)?$")
_FRACTION: Final = re.compile(r"^(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*/\s*(\d+)$")
_MEANT_FIGURES: Final = 13
_INCH_MARK: Final = re.compile(r"\s*(\"|''|″|”|in\.?|inch)$")
_UNIT_BEHIND: Final = re.compile(r"^[+-]?[\d.,]+\s*[A-Za-z°\"'/%][\w°/\"'()². ]*$")


def numbers(
    text: pl.Series, typed: pl.Series | None, column: Column, unit: Unit | None, decimal_comma: bool
) -> tuple[pl.Series, dict[str, str]]:
    """The cells as numbers in the column's own unit, null where empty or bad; and the reason of each distinct bad cell.

    `typed` are the cells that a workbook keeps as numbers; they are taken as they are.
    """
    plain = text
    if decimal_comma:
        plain = pl.select(
            pl.when(text.str.contains(".", literal=True)).then(None).otherwise(text.str.replace(",", ".", literal=True))
        ).to_series()
    given = plain.cast(pl.Float64, strict=False)
    if typed is not None:
        given = pl.select(pl.coalesce(typed, given)).to_series()
    reasons: dict[str, str] = {}
    odd = text.filter(text.is_not_null() & (given.is_null() | ~given.is_finite())).unique()
    if odd.len():
        rescued: dict[str, float] = {}
        for cell in odd.to_list():
            value = _patient_number(cell, decimal_comma, inches=unit is not None and unit.suffix == "in")
            if isinstance(value, str):
                reasons[cell] = value
            else:
                rescued[cell] = value
        found = (
            text.replace_strict(list(rescued), list(rescued.values()), default=None, return_dtype=pl.Float64)
            if rescued
            else pl.repeat(None, text.len(), dtype=pl.Float64, eager=True)
        )
        given = pl.select(pl.when(text.is_in(odd.implode())).then(found).otherwise(given)).to_series()
    ours = given
    if unit is not None and column.quantity is not None:
        own = unit_at_end(column.name, column.quantity)
        assert own is not None
        if unit.suffix != own[1].suffix:
            # A product of decimal fractions is kept as the decimal it means: 393.75 ft is 120.015 m, not
            # 120.01499999999999.
            ours = converted(given, unit.suffix, own[1].suffix, column.quantity).round_sig_figs(_MEANT_FIGURES)
    return _within_bounds(text, ours, column, unit, reasons), reasons


def _within_bounds(
    text: pl.Series, ours: pl.Series, column: Column, unit: Unit | None, reasons: dict[str, str]
) -> pl.Series:
    if column.at_least is not None:
        if column.slack:
            near = (ours < column.at_least) & (ours >= column.at_least - column.slack)
            ours = pl.select(pl.when(near).then(column.at_least).otherwise(ours)).to_series()
        low = ours < column.at_least
        says = column.below_says or f"is less than {_in_file(column.at_least, column, unit)}"
    elif column.above is not None:
        low = ours <= column.above
        says = column.below_says or f"is not more than {_in_file(column.above, column, unit)}"
    else:
        return ours
    if low.any():
        for cell in text.filter(low.fill_null(value=False)).unique().to_list():
            reasons.setdefault(cell, f"{says}: correct the value, or the unit in the mapping")
        ours = pl.select(pl.when(~low).then(ours)).to_series()
    return ours


def _in_file(limit: float, column: Column, unit: Unit | None) -> str:
    if unit is None or column.quantity is None:
        return f"{limit:g}"
    own = unit_at_end(column.name, column.quantity)
    assert own is not None
    return f"{converted(limit, own[1].suffix, unit.suffix, column.quantity):g} {unit.suffix}"


def _patient_number(cell: str, decimal_comma: bool, inches: bool) -> float | str:
    """The number in a cell that is not plainly one, or the reason why it is none."""
    text = cell.strip().replace("\u2212", "-")
    if inches:
        text = _INCH_MARK.sub("", text)
        if found := _FRACTION.match(text):
            return int(found[1] or 0) + int(found[2]) / int(found[3]) if int(found[3]) else "divides by zero"
    if _SPACED_THOUSANDS.match(text):
        text = re.sub(r"[ '\u00a0\u202f]", "", text)
    elif (_COMMA_THOUSANDS if decimal_comma else _POINT_THOUSANDS).match(text):
        text = text.replace("." if decimal_comma else ",", "")
    elif decimal_comma and re.fullmatch(r"[+-]?\d+\.\d{3}", text):
        return "may be thousands or decimals: write it without the point, or with a decimal comma"
    elif not decimal_comma and re.fullmatch(r"[+-]?\d{1,3},\d{3}", text):
        return "may be thousands or decimals: write it without the comma (or set decimal_comma in the mapping)"
    elif not decimal_comma and re.fullmatch(r"[+-]?\d*,\d+", text):
        return "has a decimal comma: set decimal_comma = true in the mapping, or write a point"
    if decimal_comma:
        text = text.replace(",", ".")
    try:
        value = float(text) if "_" not in text else math.nan
    except ValueError:
        if _UNIT_BEHIND.match(text):
            return "is more than a number: write digits alone; the unit belongs in the heading or the mapping"
        return "is not a number: write it in digits, such as 121.43, or leave the cell empty"
    return value if math.isfinite(value) else "is not a finite number: write it in digits, or leave the cell empty"
