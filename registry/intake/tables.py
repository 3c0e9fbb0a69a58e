"""Read a file as a table, whatever it is: every cell as text with the row number that a spreadsheet shows."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from registry.errors import Issue
from registry.intake import delimited, workbook
from registry.intake.model import FileMapping, FileUnreadable, Table

_AS_IT_IS: Final = FileMapping()
_TOP_ROWS: Final = 30


def read_table(source: Path | bytes, mapping: FileMapping = _AS_IT_IS, name: str | None = None) -> Table:
    """The table in a file (or in its bytes, then give `name`): CSV in any usual encoding and delimiter, or a workbook.

    Headings stand in the mapping's row, and only that part of the mapping is used here. Raises FileUnreadable, saying
    what to do, for anything that is no such table.
    """
    data, name = contents(source, name)
    numbers = sheet = None
    faults: tuple[Issue, ...] = ()
    notes: tuple[str, ...] = ()
    if workbook.is_workbook(data):
        top, cells, numbers, sheet = workbook.grid(data, name, mapping)
    else:
        text, delimiter, notes = _text(data, name, mapping)
        top, (cells, faults) = delimited.grid(text, delimiter, mapping, name)
    digest = hashlib.sha256(data).digest()
    del data
    headings = tuple(" ".join(heading.split()) for heading in top[-1])
    if not any(headings):
        raise FileUnreadable(f"{name}: row {mapping.header_row} is empty, and the headings should stand there")
    cells = _trimmed(cells)
    longest = max((cells.select(pl.all().str.len_bytes().max()).row(0)), key=lambda size: size or 0, default=0) or 0
    if longest > delimited.LONGEST_CELL:
        raise FileUnreadable(
            f"{name} has a cell of {longest:,} characters; a table's cell holds at most {delimited.LONGEST_CELL:,}"
        )
    first = mapping.header_row + 1
    return Table(
        source_name=name,
        content_sha256=digest,
        headings=headings,
        cells=cells,
        row_numbers=pl.int_range(first, first + cells.height, dtype=pl.Int32, eager=True),
        numbers=numbers,
        faults=faults,
        above=tuple(tuple(row) for row in top[:-1]),
        sheet=sheet,
        notes=notes,
    )


@dataclass(frozen=True, slots=True)
class Top:
    """The first rows of one sheet (of the file, for text), for a look at where the headings stand."""

    sheet: str | None
    rows: Sequence[Sequence[str]]


def tops(source: Path | bytes, name: str | None = None) -> list[Top]:
    """The first rows of each sheet of a file. Raises FileUnreadable."""
    data, name = contents(source, name)
    if workbook.is_workbook(data):
        return [
            Top(sheet, workbook.top_rows(data, name, sheet, _TOP_ROWS)) for sheet in workbook.sheet_names(data, name)
        ]
    text, delimiter, _ = _text(data, name, _AS_IT_IS)
    return [Top(None, delimited.top_rows(text, delimiter, _TOP_ROWS))]


def contents(source: Path | bytes, name: str | None) -> tuple[bytes, str]:
    """The bytes of a file and what to call it. Raises FileUnreadable for a missing, unreadable or empty one."""
    if isinstance(source, Path):
        name = name or source.name
        try:
            data = source.read_bytes()
        except FileNotFoundError:
            raise FileUnreadable(f"there is no file {source}") from None
        except OSError as exc:
            raise FileUnreadable(f"{source} cannot be read: {exc.strerror or exc}") from None
    else:
        data = source
    name = name or "the file"
    if not data.strip():
        raise FileUnreadable(f"{name} is empty")
    return data, name


def _text(data: bytes, name: str, mapping: FileMapping) -> tuple[str, str, tuple[str, ...]]:
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")  # lines of an old kind
    if length := delimited.too_long_a_line(data):
        raise FileUnreadable(
            f"{name} has a line of {length:,} bytes, and a row has at most {delimited.LONGEST_LINE:,}: is it a table?"
        )
    text, encoding = delimited.decoded(data, name, mapping.encoding)
    text, said = delimited.without_separator_line(text)
    delimiter = mapping.delimiter or said or delimited.likely_delimiter(text)
    plain = encoding.lower() in ("utf-8", "utf-8-sig", "ascii")
    return text, delimiter, () if plain or mapping.encoding else (f"read as {encoding}",)


def _trimmed(cells: pl.DataFrame) -> pl.DataFrame:
    stripped = pl.all().str.strip_chars()
    return cells.select(pl.when(stripped != "").then(stripped))
