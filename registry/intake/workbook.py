"""Workbooks: the chosen sheet's cells as text, with the numbers kept beside as numbers."""

import datetime as dt
import io
import zipfile
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any, Final

import polars as pl
from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook

from registry.intake.model import FileMapping, FileUnreadable

MOST_UNPACKED_BYTES: Final = 4 << 30
_ROWS_A_BLOCK: Final = 20_000
_ZIP, _COMPOUND = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


def is_workbook(data: bytes) -> bool:
    """Whether the first bytes are those of a zip archive or of the older compound file."""
    return data.startswith((_ZIP, _COMPOUND))


def sheet_names(data: bytes, name: str) -> list[str]:
    """The names of the sheets, in order."""
    return _opened(data, name).sheet_names


def top_rows(data: bytes, name: str, sheet: str | int | None, count: int) -> list[list[str]]:
    """The first rows of a sheet as text."""
    chosen = _chosen(_opened(data, name), name, sheet)
    return [[_text(cell) or "" for cell in row] for row in islice(_rows(chosen), count)]


def grid(data: bytes, name: str, mapping: FileMapping) -> tuple[list[list[str]], pl.DataFrame, pl.DataFrame, str]:
    """The rows down to the headings, the cells below as text and (where they are) as numbers, and the sheet's name."""
    sheet = _chosen(_opened(data, name), name, mapping.sheet)
    rows = _rows(sheet)
    top = [[_text(cell) or "" for cell in row] for row in islice(rows, mapping.header_row)]
    if len(top) < mapping.header_row:
        raise FileUnreadable(
            f"{name}: sheet {sheet.name!r} ends before row {mapping.header_row}, where its headings should stand"
        )
    names = [f"c{number}" for number in range(max(1, len(top[-1])))]
    cells, numbers = [_frame([], names, pl.String)], [_frame([], names, pl.Float64)]
    while block := list(islice(rows, _ROWS_A_BLOCK)):
        columns = list(zip(*block, strict=True)) or [()]
        cells.append(_frame([list(map(_text, column)) for column in columns], names, pl.String))
        numbers.append(_frame([list(map(_number, column)) for column in columns], names, pl.Float64))
    return top, pl.concat(cells), pl.concat(numbers), sheet.name


def _opened(data: bytes, name: str) -> CalamineWorkbook:
    if data.startswith(_ZIP):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                unpacked = sum(entry.file_size for entry in archive.infolist())
        except zipfile.BadZipFile as exc:
            raise FileUnreadable(f"{name} is a broken zip archive: {exc}") from None
        if unpacked > MOST_UNPACKED_BYTES:
            raise FileUnreadable(f"{name} would unpack to {unpacked / 1e9:.0f} GB: save the sheet as CSV")
    try:
        return CalamineWorkbook.from_filelike(io.BytesIO(data))
    except (CalamineError, OSError, ValueError) as exc:
        raise FileUnreadable(f"{name} is no workbook that can be read ({exc})") from None


def _chosen(book: CalamineWorkbook, name: str, sheet: str | int | None) -> CalamineSheet:
    names = book.sheet_names
    listed = ", ".join(repr(known) for known in names) or "none"
    if isinstance(sheet, int):
        if not 1 <= sheet <= len(names):
            raise FileUnreadable(f"{name} has no sheet number {sheet}: its sheets are {listed}")
        wanted = names[sheet - 1]
    elif sheet is not None:
        wanted = next((known for known in names if known.strip().casefold() == sheet.strip().casefold()), None)
        if wanted is None:
            raise FileUnreadable(f"{name} has no sheet {sheet!r}: its sheets are {listed}")
    elif len(names) == 1:
        wanted = names[0]
    elif not names:
        raise FileUnreadable(f"{name} has no sheets")
    else:
        raise FileUnreadable(
            f"{name} has several sheets ({listed}): name one in the mapping, as in sheet = {names[-1]!r}"
        )
    try:
        return book.get_sheet_by_name(wanted)
    except (CalamineError, OSError, ValueError) as exc:
        raise FileUnreadable(f"{name}: sheet {wanted!r} cannot be read ({exc})") from None


def _rows(sheet: CalamineSheet) -> Iterator[Sequence[Any]]:
    return iter(()) if sheet.start is None else sheet.iter_rows()


def _frame(columns: list[list[Any]], names: list[str], kind: type[pl.DataType]) -> pl.DataFrame:
    given = dict(zip(names, columns, strict=False))
    return pl.DataFrame({name: given.get(name, []) for name in names}, schema=dict.fromkeys(names, kind))


def _text(cell: Any) -> str | None:
    """A cell as it would be written: 12 for the number 12.0, ISO for a date."""
    if isinstance(cell, str):
        return cell or None
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return str(cell).lower() if isinstance(cell, bool) else str(cell)


def _number(cell: Any) -> float | None:
    return float(cell) if isinstance(cell, int | float) and not isinstance(cell, bool) else None
