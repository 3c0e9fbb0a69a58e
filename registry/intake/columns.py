"""From a table's cells to typed rows: each declared column parsed as a whole, each bad cell named."""

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from registry.errors import Issue
from registry.intake import dates, numbers, words
from registry.intake.bindings import Binding, bindings
from registry.intake.model import ROW, Column, FileMapping, MappingUnusable, Table, TypedRows

TYPES: Final[dict[str, pl.DataType]] = {
    "text": pl.String(),
    "choice": pl.String(),
    "number": pl.Float64(),
    "date": pl.Date(),
    "time": pl.Datetime("us", "UTC"),
    "yes_no": pl.Boolean(),
}
_DASHES: Final = ("-", "--", "–", "—")
_END_WORDS: Final = re.compile(r"^\W*(end\b|total\b|\d+ (joints|rows|items)\b)", re.IGNORECASE)


def typed_rows(table: Table, columns: Sequence[Column], mapping: FileMapping, *, today: dt.date) -> TypedRows:
    """The table's rows with `columns` typed in our units, an Issue for every bad cell, in the order of the file.

    Empty rows are left out, and so are end lines below the data (the notes name them). A column that the file does
    not have is null throughout. Raises ColumnsMissing or MappingUnusable when the file and the mapping do not fit
    these columns.
    """
    bound, notes = bindings(table, columns, mapping)
    table, ended = _without_end_lines(table, [binding.raw for binding in bound.values()])
    given = _without_blanks(table.cells, mapping.blank)
    parsed: dict[str, pl.Series] = {ROW: table.row_numbers.rename(ROW)}
    kept = set(table.row_numbers.to_list()) if table.faults else set[int]()
    issues = [fault for fault in table.faults if fault.row in kept]
    for column in columns:
        values, found = _parsed(table, given, column, bound.get(column.name), mapping, today)
        parsed[column.name] = values.rename(column.name)
        issues += found
    rows = TypedRows(
        table=table,
        frame=pl.DataFrame(parsed),
        issues=(),
        given=frozenset((*bound, *mapping.defaults)),
        headings={name: binding.heading for name, binding in bound.items()},
        raw={name: binding.raw for name, binding in bound.items()},
        notes=(*table.notes, *notes, *ended),
    )
    return replace(rows, issues=rows.in_order(issues))


def _parsed(
    table: Table, given: pl.DataFrame, column: Column, binding: Binding | None, mapping: FileMapping, today: dt.date
) -> tuple[pl.Series, list[Issue]]:
    kind = TYPES[column.kind]
    default = mapping.defaults.get(column.name)
    if binding is None:
        values, issues = pl.repeat(None, table.cells.height, dtype=kind, eager=True), list[Issue]()
        text = values
    else:
        text = given[binding.raw]
        values, reasons = _of_kind(text, table, column, binding, mapping, today)
        issues = _issues(text, table.row_numbers, binding.heading, reasons)
    if default is not None:
        filler, wrong = _of_kind(pl.Series([default]), None, column, binding, mapping, today)
        if wrong:
            raise MappingUnusable(f"the mapping's default {default!r} for {column.name} {next(iter(wrong.values()))}")
        values = pl.select(pl.when(text.is_null()).then(pl.lit(filler[0], dtype=kind)).otherwise(values)).to_series()
    elif column.required and text.null_count():
        heading = column.name if binding is None else binding.heading
        empty = text.is_null()
        written = text if binding is None else table.cells[binding.raw]  # a dash, say
        issues += [
            Issue(row, heading, cell, "is empty, and every row needs it: fill it in, or leave the row out")
            for row, cell in zip(
                table.row_numbers.filter(empty).to_list(), written.filter(empty).to_list(), strict=True
            )
        ]
    return values, issues


def _without_blanks(cells: pl.DataFrame, blank: Sequence[str]) -> pl.DataFrame:
    """The cells with those that stand for nothing made null: a lone dash, and what the mapping calls blank."""
    words_for_nothing = [*_DASHES, *(way.strip().casefold() for way in blank)]
    return cells.select(pl.when(~pl.all().str.to_lowercase().is_in(words_for_nothing)).then(pl.all()))


def _of_kind(
    text: pl.Series, table: Table | None, column: Column, binding: Binding | None, mapping: FileMapping, today: dt.date
) -> tuple[pl.Series, dict[str, str]]:
    spellings = mapping.values.get(column.name, {})
    if column.kind == "number":
        typed = None if table is None or table.numbers is None or binding is None else table.numbers[binding.raw]
        unit = None if table is None or binding is None else binding.unit  # a default is in our own unit
        return numbers.numbers(text, typed, column, unit, mapping.decimal_comma and table is not None)
    if column.kind == "date":
        return dates.days(text, column, mapping.date_formats, today)
    if column.kind == "time":
        return dates.times(text, column, mapping.date_formats, mapping.time_zone, today)
    if column.kind == "yes_no":
        return words.yes_no(text, spellings)
    if column.kind == "choice":
        return words.choices(text, column, spellings)
    return words.texts(text, column, spellings)


def _issues(text: pl.Series, rows: pl.Series, heading: str, reasons: dict[str, str]) -> list[Issue]:
    if not reasons:
        return []
    bad = text.is_in(pl.Series(list(reasons)).implode()).fill_null(value=False)
    return [
        Issue(row, heading, cell, reasons[cell])
        for row, cell in zip(rows.filter(bad).to_list(), text.filter(bad).to_list(), strict=True)
    ]


def _without_end_lines(table: Table, raw: Sequence[str]) -> tuple[Table, tuple[str, ...]]:
    """The table less its empty rows, and less the lines that end it.

    An end line stands below the last row with two or more cells filled, has no more than one itself, and either an
    empty row lies between, or it says that it is one. Anything else stays, so that a row whose tag alone is left is
    found wanting.
    """
    filled = table.cells.select(pl.sum_horizontal(pl.col(*raw).is_not_null().cast(pl.Int32)).alias("n"))["n"]
    data = (filled > 1).arg_true()
    last = int(data[-1]) if data.len() else -1
    first_empty = next((at for at in range(last + 1, filled.len()) if filled[at] == 0), filled.len())
    ended: list[int] = []
    for at in range(last + 1, filled.len()):
        cells = [cell for cell in table.cells.row(at) if cell is not None]
        if filled[at] and len(cells) <= 1 and (at > first_empty or _END_WORDS.match(cells[0])):
            ended.append(at)
    keep = filled > 0
    if ended:
        keep &= ~pl.int_range(filled.len(), eager=True).is_in(ended)
    notes = tuple(
        f"row {table.row_numbers[at]} ({next(cell for cell in table.cells.row(at) if cell)!r}) was taken as an end line"
        for at in ended
    )
    if keep.all():
        return table, notes
    numbers_kept = None if table.numbers is None else table.numbers.filter(keep)
    return replace(
        table, cells=table.cells.filter(keep), row_numbers=table.row_numbers.filter(keep), numbers=numbers_kept
    ), notes
