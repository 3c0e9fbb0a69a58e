"""The ledger of files taken in, and typed frames into the database."""

import io
from collections.abc import Generator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl
from psycopg.rows import class_row

from registry.db import Connection
from registry.intake.model import TypedRows
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)
_ROWS_A_BLOCK = 100_000


@dataclass(frozen=True, slots=True)
class Intake:
    """One file that changed something in a site."""

    intake_id: int
    kind: str
    source_name: str
    content_sha256: str
    rows_read: int
    rows_loaded: int
    rows_refused: int
    recorded_at: datetime


def take_intake_lock(connection: Connection, kind: str) -> None:
    """Hold back other intakes of this kind into this site until the transaction ends."""
    connection.execute(SQL["take_intake_lock"], {"kind": kind})


def add_intake(connection: Connection, kind: str, rows: TypedRows, rows_loaded: int) -> int:
    """Note the file of these rows as taken in, and return its id; `kind` is one of the schema's."""
    table = rows.table
    return note_intake(
        connection,
        kind,
        table.source_name,
        table.content_sha256,
        rows.frame.height,
        rows_loaded,
        len(rows.refused_rows),
    )


def note_intake(
    connection: Connection,
    kind: str,
    source_name: str,
    content_sha256: bytes,
    rows_read: int,
    rows_loaded: int,
    rows_refused: int,
) -> int:
    """Note a file that is no table (a plot plan: its rows are features) as taken in, and return its id."""
    found = connection.execute(
        SQL["add_intake"],
        {
            "kind": kind,
            "source_name": source_name,
            "content_sha256": content_sha256,
            "rows_read": rows_read,
            "rows_loaded": rows_loaded,
            "rows_refused": rows_refused,
        },
    ).fetchone()
    assert found is not None
    return int(found[0])


def list_intakes(connection: Connection, count: int) -> list[Intake]:
    """The newest files that changed something, newest first."""
    with connection.cursor(row_factory=class_row(Intake)) as cursor:
        return cursor.execute(SQL["list_intakes"], {"count": count}).fetchall()


def read_frame(
    connection: Connection,
    query: bytes,
    types: Mapping[str, pl.DataType],
    parameters: Mapping[str, Any] | None = None,
) -> pl.DataFrame:
    """The rows of a SELECT as a frame with these column names and types; text, numbers and nulls pass exactly."""
    stream = io.BytesIO()
    statement = b"COPY (" + query + b") TO STDOUT (FORMAT csv)"
    with connection.cursor() as cursor, cursor.copy(statement, parameters) as copy:
        for block in copy:
            stream.write(block)
    if not stream.tell():
        return pl.DataFrame(schema=dict(types))
    stream.seek(0)
    return pl.read_csv(stream, has_header=False, schema=dict(types))


@contextmanager
def whole_list_joins(connection: Connection) -> Generator[None]:
    """Join a staged list to whole tables by hashing; a planner without statistics of either may take minutes.

    After an error the transaction is over, and the setting with it.
    """
    connection.execute(SQL["forbid_nested_loops"])
    yield
    connection.execute(SQL["allow_nested_loops"])


def copy_frame(connection: Connection, statement: bytes, frame: pl.DataFrame) -> int:
    """Append a frame to a temporary table by `COPY … FROM STDIN (FORMAT csv)`, and return its number of rows.

    The statement names the columns in the frame's order. Nulls arrive as NULL, numbers exactly, times in UTC.
    """
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        for block in frame.iter_slices(_ROWS_A_BLOCK):
            stream = io.BytesIO()
            block.write_csv(stream, include_header=False, datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")
            copy.write(stream.getvalue())
    return frame.height
