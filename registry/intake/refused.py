"""The rows that were refused, in a file of the same layout: correct it, and load it with the same mapping."""

import io
from collections.abc import Sequence
from typing import Any

import polars as pl
import xlsxwriter

from registry.errors import Issue
from registry.intake.bindings import REASON_HEADING, folded
from registry.intake.model import FileMapping, Table

WORKBOOK_ENDINGS = (".xlsx", ".xlsm")


def refused_file(table: Table, issues: Sequence[Issue], mapping: FileMapping, *, as_workbook: bool) -> bytes:
    """The refused rows under the file's own headings, with a last column that says why; CSV (UTF-8) or a workbook.

    Headings stand in the row where the mapping looks for them, so that the file loads again as it is. The reason
    column is passed over then.
    """
    reasons: dict[int, list[str]] = {}
    for issue in issues:
        if issue.row is not None:
            said = f"{issue.column}: {issue.reason}" if issue.column else issue.reason
            reasons.setdefault(issue.row, []).append(said)
    kept = [place for place, heading in enumerate(table.headings) if folded(heading) != REASON_HEADING]
    refused = table.row_numbers.is_in(pl.Series(sorted(reasons), dtype=pl.Int32).implode())
    cells = table.cells.filter(refused).select(f"c{place}" for place in kept)
    numbers = None if table.numbers is None else table.numbers.filter(refused).select(f"c{place}" for place in kept)
    why = ["; ".join(reasons[row]) for row in table.row_numbers.filter(refused).to_list()]
    above = [[""] for _ in range(mapping.header_row - 1)]
    if above:
        above[0] = [f"Refused rows of {table.source_name}: correct them, and load this file with the same mapping"]
    headings = [*(table.headings[place] for place in kept), REASON_HEADING]
    if as_workbook:
        lines = [*above, headings, *_typed_lines(cells, numbers, why)]
        return _workbook(lines, table.sheet or "Refused", mapping.sheet)
    return _text([*above, headings, *_plain_lines(cells, numbers, why, mapping)], mapping)


def _typed_lines(cells: pl.DataFrame, numbers: pl.DataFrame | None, why: Sequence[str]) -> list[list[Any]]:
    lines: list[list[Any]] = [list(line) for line in cells.rows()]
    if numbers is not None:
        for line, typed in zip(lines, numbers.rows(), strict=True):
            line[:] = [cell if number is None else number for cell, number in zip(line, typed, strict=True)]
    return [[*line, reason] for line, reason in zip(lines, why, strict=True)]


def _plain_lines(
    cells: pl.DataFrame, numbers: pl.DataFrame | None, why: Sequence[str], mapping: FileMapping
) -> list[list[Any]]:
    lines: list[list[Any]] = [list(line) for line in cells.rows()]
    if numbers is not None and mapping.decimal_comma:
        for line, typed in zip(lines, numbers.rows(), strict=True):
            for place, number in enumerate(typed):
                if number is not None:
                    line[place] = line[place].replace(".", ",")
    return [[*line, reason] for line, reason in zip(lines, why, strict=True)]


def _text(lines: Sequence[Sequence[Any]], mapping: FileMapping) -> bytes:
    width = len(lines[-1])
    frame = pl.DataFrame(
        [[None if cell == "" else cell for cell in (*line, *[None] * (width - len(line)))] for line in lines],
        schema=[f"c{place}" for place in range(width)],
        orient="row",
        infer_schema_length=None,
    )
    stream = io.BytesIO()
    delimiter = mapping.delimiter or (";" if mapping.decimal_comma else ",")
    frame.write_csv(stream, include_header=False, include_bom=True, separator=delimiter)
    return stream.getvalue()


def _workbook(lines: Sequence[Sequence[Any]], sheet_name: str, sheet: str | int | None) -> bytes:
    stream = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(stream, options) as book:
        for number in range(1, sheet if isinstance(sheet, int) else 1):
            book.add_worksheet(f"({number})")
        page = book.add_worksheet(sheet_name)
        for row, line in enumerate(lines):
            for place, cell in enumerate(line):
                if isinstance(cell, float):
                    page.write_number(row, place, cell)
                elif cell:
                    page.write_string(row, place, cell)
    return stream.getvalue()
