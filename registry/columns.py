"""Whole columns between NumPy and PostgreSQL, by binary COPY.

A row of fixed-width values that are never null has the same length in every row of a binary COPY, so the stream is an
array of records: NumPy reads it in place and writes it in one piece, at about the speed of the server itself.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from psycopg import sql

from registry.db import Connection

# What PostgreSQL sends for a type: big-endian, dates in days and times in microseconds since 2000-01-01.
_WIRE = {
    "smallint": ">i2",
    "integer": ">i4",
    "bigint": ">i8",
    "double precision": ">f8",
    "boolean": "?",
    "date": ">i4",
    "timestamptz": ">i8",
    "point": "2>f8",
}
_EPOCH = np.datetime64("2000-01-01", "D")
_SIGNATURE = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_TRAILER = b"\xff\xff"

Columns = dict[str, npt.NDArray[Any]]


def read_columns(
    connection: Connection, query: bytes, types: Mapping[str, str], parameters: Mapping[str, Any] | None = None
) -> Columns:
    """Run `query` and return its columns as arrays, in the order and by the names of `types`.

    Parameters
    ----------
    connection : an open transaction.
    query : a SELECT whose columns are of the given types and never null (COALESCE to 'NaN' or 0 in the query).
    types : column name -> 'smallint' | 'integer' | 'bigint' | 'double precision' | 'boolean' | 'date' | 'timestamptz' |
        'point'.
    parameters : the query's named parameters.

    Returns
    -------
    dict of name -> array; dates are datetime64[D], times datetime64[us] (UTC), a point is an (n, 2) array.

    Raises ValueError if a row's width is not the one that the types say (a null came through).
    """
    wire = _record(types)
    statement = b"COPY (" + query + b") TO STDOUT (FORMAT binary)"
    stream = bytearray()
    with connection.cursor() as cursor, cursor.copy(statement, parameters) as copy:
        for block in copy:
            stream += block
    body = memoryview(stream)[len(_SIGNATURE) : -len(_TRAILER)]
    if len(body) % wire.itemsize:
        raise ValueError("a row is not of the expected width: a null, or a column of another type")
    records = np.frombuffer(body, dtype=wire)
    for name in types:
        if len(records) and not (records[f"width_{name}"] == wire[f"value_{name}"].itemsize).all():
            raise ValueError(f"column {name} holds a null, or is not {types[name]}")
    return {name: _native(records[f"value_{name}"], kind) for name, kind in types.items()}


def copy_columns(
    connection: Connection,
    table: str,
    columns: Columns,
    types: Mapping[str, str],
    *,
    table_is_new: bool = False,
    rows_a_block: int = 65_536,
) -> int:
    """Append the rows of `columns` to `table` by binary COPY, and return how many there were.

    `types` names the columns to write and their PostgreSQL types, as for `read_columns`. A table with row-level
    security refuses COPY: give it a temporary table and INSERT … SELECT from there. One that this very transaction made
    (`table_is_new`) takes its rows as frozen, so that an index alone can answer from the first query on.
    """
    wire = _record(types)
    names = list(types)
    count = len(columns[names[0]])
    statement = sql.SQL("COPY {} ({}) FROM STDIN (FORMAT binary{})").format(
        sql.Identifier(table),
        sql.SQL(", ").join(map(sql.Identifier, names)),
        sql.SQL(", FREEZE" if table_is_new else ""),
    )
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        copy.write(_SIGNATURE)
        for start in range(0, count, rows_a_block):
            stop = min(start + rows_a_block, count)
            records = np.empty(stop - start, dtype=wire)
            records["fields"] = len(names)
            for name, kind in types.items():
                records[f"width_{name}"] = wire[f"value_{name}"].itemsize
                records[f"value_{name}"] = _to_wire(columns[name][start:stop], kind)
            copy.write(records.tobytes())
        copy.write(_TRAILER)
    return count


def days_since_epoch(days: Sequence[Any] | npt.NDArray[Any]) -> npt.NDArray[np.int32]:
    """PostgreSQL's day numbers of datetime64[D] values."""
    return (np.asarray(days, dtype="datetime64[D]") - _EPOCH).astype(np.int32)


def _record(types: Mapping[str, str]) -> np.dtype[Any]:
    fields: list[tuple[str, str]] = [("fields", ">i2")]
    for name, kind in types.items():
        fields += [(f"width_{name}", ">i4"), (f"value_{name}", _WIRE[kind])]
    return np.dtype(fields)


def _native(values: npt.NDArray[Any], kind: str) -> npt.NDArray[Any]:
    native = values.astype(values.dtype.newbyteorder("="))
    if kind == "date":
        return _EPOCH + native.astype("timedelta64[D]")
    if kind == "timestamptz":
        return _EPOCH.astype("datetime64[us]") + native.astype("timedelta64[us]")
    return native


def _to_wire(values: npt.NDArray[Any], kind: str) -> npt.NDArray[Any]:
    if kind == "date":
        return days_since_epoch(values)
    if kind == "timestamptz":
        return (values.astype("datetime64[us]") - _EPOCH.astype("datetime64[us]")).astype(np.int64)
    return values
