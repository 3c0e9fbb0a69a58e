"""Text tables: encoding, delimiter and cells; fast where the file is well-formed, patient where it is not."""

import codecs
import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Final

import polars as pl

from registry.errors import Issue
from registry.intake.model import FileMapping, FileUnreadable

LONGEST_CELL: Final = 32_767  # what a cell of a workbook can hold
LONGEST_LINE: Final = 1_000_000
_DELIMITERS: Final = (";", "\t", "|", ",")  # in a tie the comma loses: it may be a decimal mark
_CONTROLS: Final = bytes(set(range(32)) - set(b"\t\n\r\f"))
_SEPARATOR_LINE: Final = re.compile(r"^\"?sep=(.)\"?\r?\n", re.IGNORECASE)
_HEAD: Final = 100_000  # looked at for the delimiter and the headings; shorter than the longest field the reader takes
_SENTINEL: Final = "\x02end of the file\x02"

Grid = tuple[pl.DataFrame, tuple[Issue, ...]]


def decoded(data: bytes, name: str, encoding: str | None) -> tuple[str, str]:
    """The text of a file and the name of its encoding; a byte order mark wins over what the mapping says."""
    for mark, marked in (
        (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
    ):  # fmt: skip
        if data.startswith(mark):
            return _as(data, name, marked), marked
    if encoding is not None:
        return _as(data, name, encoding), encoding
    head = data[:4096]
    for places, guess in ((head[1::2], "utf-16-le"), (head[0::2], "utf-16-be")):
        if len(head) > 3 and places.count(0) > len(places) // 2:
            return _as(data, name, guess), guess
    if len(data.rstrip(b"\x1a\x00").translate(None, _CONTROLS)) < len(data.rstrip(b"\x1a\x00")):
        raise FileUnreadable(f"{name} is neither a text table nor a workbook: give CSV or XLSX")
    data = data.rstrip(b"\x1a\x00")
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "windows-1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def _as(data: bytes, name: str, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except LookupError:
        raise FileUnreadable(
            f"{name}: there is no encoding {encoding!r}; say utf-8, utf-16, windows-1252 or latin-1"
        ) from None
    except (UnicodeDecodeError, ValueError) as exc:
        raise FileUnreadable(f"{name} is not in {encoding}: {exc}") from None


def too_long_a_line(data: bytes) -> int | None:
    """The length of the first line that no table would have, in bytes, or None."""
    return next((len(line) for line in io.BytesIO(data) if len(line) > LONGEST_LINE), None)


def without_separator_line(text: str) -> tuple[str, str | None]:
    """The text less a first line `sep=;`, which a spreadsheet does not count as a row; and the delimiter it names."""
    if found := _SEPARATOR_LINE.match(text[:16]):
        return text[found.end() :], found[1]
    return text, None


def likely_delimiter(text: str) -> str:
    r"""The delimiter under which most of the first rows have one and the same number of cells, more than one.

    Examples
    --------
    >>> likely_delimiter("Joint list\n\ntag;east_m\nA;1,5\nB;2,5\n")
    ';'
    """
    best, best_score = ",", 0
    for delimiter in _DELIMITERS:
        widths = [len(row) for row in islice(_records(text[:_HEAD], delimiter), 40) if any(row)]
        usual = max(set(widths), key=lambda width, seen=widths: (seen.count(width), width), default=0)
        score = widths.count(usual) * (usual - 1)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def top_rows(text: str, delimiter: str, count: int) -> list[list[str]]:
    """The first rows as they stand."""
    return list(islice(_records(text[:_HEAD], delimiter), count))


def grid(text: str, delimiter: str, mapping: FileMapping, name: str) -> tuple[list[list[str]], Grid]:
    """The rows down to the headings, and the cells below them as text columns `c0`, `c1`, …"""
    lines = _Lines(text)
    reader = csv.reader(lines, delimiter=delimiter)
    try:
        top = list(islice(reader, mapping.header_row))
    except csv.Error as exc:
        raise FileUnreadable(f"{name}: the headings cannot be read ({exc})") from None
    if len(top) < mapping.header_row:
        raise FileUnreadable(f"{name} ends before row {mapping.header_row}, where its headings should stand")
    width = max(1, len(top[-1]))
    body = text[lines.consumed :]
    if not body.strip():
        return top, (_empty(width), ())
    fast = _well_formed(body, delimiter, width)
    return top, (fast, ()) if fast is not None else _patiently(body, delimiter, mapping.header_row, width, name)


def _well_formed(body: str, delimiter: str, width: int) -> pl.DataFrame | None:
    quotes = '"' in body
    if quotes and not _quotes_well_formed(body, delimiter):
        return None  # an inch mark in the open, say: 3/4" NPT
    if "\r" in body and body.count("\r") != body.count("\r\n"):
        return None
    try:
        return pl.read_csv(
            body.encode(),
            has_header=False,
            separator=delimiter,
            quote_char='"' if quotes else None,
            schema={f"c{number}": pl.String for number in range(width)},
            missing_columns="insert",
        )
    except (pl.exceptions.PolarsError, ValueError):
        return None


def _quotes_well_formed(body: str, delimiter: str) -> bool:
    parts = body.split('"')  # by turns outside and inside quotes; an empty one outside is a doubled quote
    if len(parts) % 2 == 0:
        return False
    begins, ends = (delimiter, "\n", "\r"), (delimiter, "\n")
    between = set(parts[2:-1:2]) - {""}
    return (
        (not parts[0] or parts[0].endswith(ends))
        and (not parts[-1] or parts[-1].startswith(begins))
        and all(part.startswith(begins) and part.endswith(ends) for part in between)
    )


def _patiently(body: str, delimiter: str, rows_above: int, width: int, name: str) -> Grid:
    columns: list[list[str]] = [[] for _ in range(width)]
    faults: list[Issue] = []
    row = rows_above
    last: Sequence[str] = ()
    try:
        for last in _records(body.rstrip("\r\n") + "\n" + _SENTINEL + "\n", delimiter):
            row += 1
            if len(last) > width and any(cell.strip() for cell in last[width:]):
                faults.append(
                    Issue(
                        row,
                        None,
                        delimiter.join(last[width:])[:80],
                        f"are cells beyond the headings: put a cell that contains {delimiter!r} in quotation marks",
                    )
                )
            for number, cells in enumerate(columns):
                cells.append(last[number] if number < len(last) else "")
    except csv.Error as exc:
        raise FileUnreadable(f"{name}, about row {row + 1}: {exc}; is a quotation mark not closed?") from None
    if list(last) != [_SENTINEL]:
        raise FileUnreadable(f"{name}, row {row}: a quotation mark is not closed")
    return pl.DataFrame(
        {f"c{number}": cells[:-1] for number, cells in enumerate(columns)},
        schema={f"c{number}": pl.String for number in range(width)},
    ), tuple(faults)


def _empty(width: int) -> pl.DataFrame:
    return pl.DataFrame(schema={f"c{number}": pl.String for number in range(width)})


def _records(text: str, delimiter: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)


class _Lines(Iterable[str]):
    """The lines of a text, counting how much of it has been handed out."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.consumed = 0

    def __iter__(self) -> Iterator[str]:
        while self.consumed < len(self.text):
            start = self.consumed
            end = self.text.find("\n", start)
            carriage = self.text.find("\r", start, end if end >= 0 else len(self.text))
            if carriage >= 0 and carriage + 1 != end:
                end = carriage
            self.consumed = len(self.text) if end < 0 else end + 1
            yield self.text[start : self.consumed]
