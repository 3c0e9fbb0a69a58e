"""What the same bytes and the same rows cost at least: raw COPY, a bare pass over the columns, plain SELECT."""

import time
from collections.abc import Callable, Sequence
from dataclasses import fields
from typing import Any

import numpy as np
from psycopg import sql

from registry.db import Connection, Database
from registry.intervals import store as interval_store
from registry.intervals.service import read_inputs
from registry.policy.service import current_policy
from tests.benchmark.measured import Floor

_BLOCK = 1 << 20


def seconds_of(work: Callable[[], Any]) -> float:
    """Seconds that `work` took."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def copy_joint_list(database: Database, header: Sequence[str], body: bytes, types: dict[str, str]) -> list[Floor]:
    """COPY the file's own bytes into a table of its own columns: with the joint table's keys and indexes, and bare."""
    columns = sql.SQL(", ").join(
        sql.SQL("{} {}").format(sql.Identifier(name), sql.SQL(types.get(name, "text"))) for name in header
    )
    keys = sql.SQL(
        "site_id integer NOT NULL DEFAULT 1, joint_id integer GENERATED ALWAYS AS IDENTITY, {},"
        " PRIMARY KEY (site_id, joint_id), UNIQUE (site_id, tag)"
    ).format(columns)
    floors: list[Floor] = []
    for what, definition, index in (
        ("raw COPY of the file, same keys and indexes", keys, "CREATE INDEX ON floor_list (site_id, line)"),
        ("raw COPY of the file, no key, no index", columns, None),
    ):
        with database.owner() as owner:
            owner.execute(sql.SQL("CREATE TABLE floor_list ({})").format(definition))
            if index:
                owner.execute(index)
        with database.owner() as owner:
            began = time.perf_counter()
            statement = sql.SQL("COPY floor_list ({}) FROM STDIN (FORMAT csv)").format(
                sql.SQL(", ").join(map(sql.Identifier, header))
            )
            with owner.cursor() as cursor, cursor.copy(statement) as copy:
                for start in range(0, len(body), _BLOCK):
                    copy.write(body[start : start + _BLOCK])
            owner.commit()
            floors.append(Floor(what, time.perf_counter() - began))
            owner.execute("DROP TABLE floor_list")
    return floors


def copy_register_rows(database: Database, site_id: int) -> list[Floor]:
    """COPY the register's rows, as the server gives them, into an identical table; and into one without indexes."""
    names = sql.SQL(", ").join(map(sql.Identifier, _columns_of(database, "joint")))
    floors: list[Floor] = []
    with database.owner() as owner:
        rows = b"".join(_copied(owner, sql.SQL("SELECT {} FROM joint WHERE site_id = {}").format(names, site_id)))
    for what, like in (
        ("raw COPY of the same rows, identical table", "INCLUDING ALL EXCLUDING IDENTITY"),
        ("raw COPY of the same rows, without indexes", "INCLUDING DEFAULTS"),
    ):
        with database.owner() as owner:
            owner.execute(sql.SQL("CREATE TABLE floor_joint (LIKE joint {})").format(sql.SQL(like)))
        with database.owner() as owner:
            began = time.perf_counter()
            statement = sql.SQL("COPY floor_joint ({}) FROM STDIN (FORMAT binary)").format(names)
            with owner.cursor() as cursor, cursor.copy(statement) as copy:
                for start in range(0, len(rows), _BLOCK):
                    copy.write(rows[start : start + _BLOCK])
            owner.commit()
            floors.append(Floor(what, time.perf_counter() - began))
            owner.execute("DROP TABLE floor_joint")
    return floors


def score_floor(database: Database, site_id: int, as_of: Any) -> list[Floor]:
    """COPY the score's input columns out, pass over them in NumPy, COPY the run's rows in and index them."""
    parameters = {"as_of": as_of, "joint_ids": None}
    with database.transaction(site_id) as connection:
        query = interval_store.SQL["read_joint_columns"]
        out = seconds_of(lambda: _copied_with(connection, query, parameters))
        joints = read_inputs(connection, current_policy(connection), as_of).joints
    columns = [getattr(joints, column.name) for column in fields(joints)]
    numbers = [values for values in columns if values.dtype.kind in "fiub"]
    one_pass = seconds_of(lambda: [_one_pass(values) for values in numbers])
    with database.owner() as owner:
        names = sql.SQL(", ").join(map(sql.Identifier, _columns_of(database, "score")))
        select = sql.SQL("SELECT {} FROM score WHERE site_id = {}").format(names, site_id)
        rows = b"".join(_copied(owner, select))
        owner.execute("CREATE TABLE floor_score (LIKE score INCLUDING DEFAULTS)")
        owner.commit()
        began = time.perf_counter()
        with (
            owner.cursor() as cursor,
            cursor.copy(sql.SQL("COPY floor_score ({}) FROM STDIN (FORMAT binary)").format(names)) as copy,
        ):
            for start in range(0, len(rows), _BLOCK):
                copy.write(rows[start : start + _BLOCK])
        owner.execute("ALTER TABLE floor_score ADD PRIMARY KEY (site_id, score_run_id, joint_id)")
        owner.execute("CREATE INDEX ON floor_score USING gist (location)")
        owner.execute("CREATE INDEX ON floor_score (site_id, score_run_id, due_on, risk_now DESC, joint_id)")
        owner.execute("CREATE INDEX ON floor_score (site_id, score_run_id, risk_now DESC, joint_id)")
        owner.execute("ANALYZE floor_score")
        owner.commit()
        back = time.perf_counter() - began
        owner.execute("DROP TABLE floor_score")
    what = f"COPY out {out:.2f} s + one NumPy pass {one_pass:.2f} s + COPY in with the run's indexes {back:.2f} s"
    return [Floor(what, out + one_pass + back)]


def select_rows(connection: Connection, query: bytes, parameters: dict[str, Any]) -> int:
    """Fetch a query's rows plainly, and return how many."""
    return len(connection.execute(query, parameters).fetchall())


def _one_pass(values: np.ndarray[Any, Any]) -> float:
    # One read and one transcendental an entry: what the cheapest formula over the column would cost.
    return float(np.exp(-np.abs(values.astype(np.float64))).sum())


def _columns_of(database: Database, table: str) -> list[str]:
    with database.owner() as owner:
        rows = owner.execute(
            "SELECT attname FROM pg_attribute"
            " WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped ORDER BY attnum",
            [table],
        ).fetchall()
    return [str(row[0]) for row in rows]


def _copied(owner: Connection, select: sql.Composable) -> list[bytes]:
    with owner.cursor() as cursor, cursor.copy(sql.SQL("COPY ({}) TO STDOUT (FORMAT binary)").format(select)) as copy:
        return [bytes(block) for block in copy]


def _copied_with(connection: Connection, query: bytes, parameters: dict[str, Any]) -> int:
    statement = b"COPY (" + query + b") TO STDOUT (FORMAT binary)"
    with connection.cursor() as cursor, cursor.copy(statement, parameters) as copy:
        return sum(len(block) for block in copy)
