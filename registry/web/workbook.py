"""Rows as a workbook, for whoever opens them in a spreadsheet."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from typing import Any

import xlsxwriter
from fastapi import Response

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_MOST_ROWS = 1_048_575  # of a sheet, the heading aside
_WIDTH = 14
_DAY_ZERO = date(1899, 12, 30)  # a workbook counts days from here, as of March 1900


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its name, its headings, and rows under these as keys."""

    name: str
    columns: Sequence[str]
    rows: Iterable[Mapping[str, Any]]


def workbook_bytes(sheets: Sequence[Sheet]) -> bytes:
    """Sheets as a workbook. Rows are written as they come, so that a large plant's do not have to fit in memory twice.

    Text stays text, whatever it begins with: nothing becomes a formula or a link.
    """
    stream = BytesIO()
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    }
    with xlsxwriter.Workbook(stream, options) as book:
        heading = book.add_format({"bold": True})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        for wanted in sheets:
            sheet = book.add_worksheet(wanted.name)
            sheet.freeze_panes(1, 0)
            sheet.set_column(0, max(len(wanted.columns) - 1, 0), _WIDTH)
            for at, column in enumerate(wanted.columns):
                sheet.write_string(0, at, column, heading)
            for number, row in enumerate(wanted.rows, start=1):
                if number > _MOST_ROWS:
                    break
                for at, column in enumerate(wanted.columns):
                    value = row[column]
                    if value is None:
                        continue
                    if isinstance(value, date):
                        sheet.write_number(number, at, (value - _DAY_ZERO).days, day)
                    elif isinstance(value, bool):
                        sheet.write_string(number, at, "yes" if value else "no")
                    elif isinstance(value, int | float):
                        sheet.write_number(number, at, value)
                    else:
                        sheet.write_string(number, at, str(value))
    return stream.getvalue()


def workbook_response(sheets: Sequence[Sheet], file_name: str) -> Response:
    """Sheets as a file to keep."""
    return Response(
        workbook_bytes(sheets),
        media_type=MEDIA_TYPE,
        headers={"Content-Disposition": f'attachment; filename="{file_name}"'},
    )
