"""Whole columns go into the database and come back as they were."""

import numpy as np
import pytest

from registry.columns import copy_columns, read_columns
from registry.db import Connection

pytestmark = pytest.mark.each_server

TYPES = {
    "small": "smallint",
    "whole": "integer",
    "big": "bigint",
    "real": "double precision",
    "truth": "boolean",
    "day": "date",
    "moment": "timestamptz",
    "place": "point",
}


def test_columns_come_back_as_they_went_in(connection: Connection) -> None:
    rng = np.random.default_rng(1)
    count = 70_000
    columns = {
        "small": rng.integers(-30_000, 30_000, count).astype(np.int16),
        "whole": rng.integers(-(2**31), 2**31, count).astype(np.int32),
        "big": rng.integers(-(2**62), 2**62, count),
        "real": np.where(rng.random(count) < 0.1, np.nan, rng.normal(size=count)),
        "truth": rng.random(count) < 0.5,
        "day": np.datetime64("1969-12-31") + rng.integers(0, 40_000, count),
        "moment": np.datetime64("2026-11-25T10:00:00.000001", "us") - rng.integers(0, 10**15, count),
        "place": rng.normal(size=(count, 2)),
    }
    connection.execute(
        "CREATE TEMP TABLE kept (small smallint, whole integer, big bigint, real double precision, truth boolean,"
        " day date, moment timestamptz, place point, position bigint GENERATED ALWAYS AS IDENTITY) ON COMMIT DROP"
    )
    assert copy_columns(connection, "kept", columns, TYPES) == count
    back = read_columns(
        connection, b"SELECT small, whole, big, real, truth, day, moment, place FROM kept ORDER BY position", TYPES
    )
    for name, values in columns.items():
        np.testing.assert_array_equal(back[name], values)


def test_a_null_is_refused_and_named(connection: Connection) -> None:
    with pytest.raises(ValueError, match="null"):
        read_columns(connection, b"SELECT NULL::integer, 2::integer", {"first": "integer", "second": "integer"})


def test_no_rows_are_empty_columns(connection: Connection) -> None:
    assert len(read_columns(connection, b"SELECT 1::integer WHERE false", {"one": "integer"})["one"]) == 0
