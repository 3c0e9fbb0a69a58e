"""Rows as CSV, for whoever opens them in a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

from fastapi import Response


def csv_text(rows: Iterable[Mapping[str, Any]], columns: Iterable[str] = ()) -> str:
    """Rows under their keys; `columns` are the headings when there may be no row. Lists are joined by semicolons."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    headings = list(columns)
    if headings:
        writer.writerow(headings)
    for row in rows:
        if not headings:
            headings = list(row)
            writer.writerow(headings)
        writer.writerow([_cell(row[heading]) for heading in headings])
    return stream.getvalue()


def csv_response(rows: Iterable[Mapping[str, Any]], file_name: str, columns: Iterable[str] = ()) -> Response:
    """Rows as a CSV file to keep, in UTF-8 with the mark that spreadsheets look for."""
    return Response(
        "\ufeff" + csv_text(rows, columns),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{file_name}"'},
    )


def _cell(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return "; ".join(str(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value
