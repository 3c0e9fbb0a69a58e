"""The ledger of make-ups and the procedures, added to and read."""

from collections.abc import Sequence
from dataclasses import asdict
from uuid import UUID

import orjson
import polars as pl
from psycopg.rows import class_row

from registry.db import Connection
from registry.makeup.model import IN_RETROSPECT, MakeUp, MakeUpEntry
from registry.makeup.procedures import Procedure
from registry.makeup.reading_procedures import document_of, procedure_from
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)


def take_make_up_lock(connection: Connection) -> None:
    """Be the only one who adds make-ups until the transaction ends."""
    connection.execute(SQL["take_make_up_lock"])


def add_make_up(
    connection: Connection, entry: MakeUpEntry, serials: Sequence[str], lots: Sequence[tuple[str, str]]
) -> int:
    """Add one make-up with its tools, as far as the register knows them, and lots (kind, lot); returns its number."""
    given = asdict(entry)
    given["answers"] = orjson.dumps(entry.answers).decode()
    given["reasons"] = orjson.dumps(entry.reasons).decode()
    given["photos"] = list(entry.photos) or None
    row = connection.execute(SQL["add_make_up"], given).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    make_up_id = int(row[0])
    add_make_up_tools(connection, [make_up_id] * len(serials), serials)
    add_make_up_lots(connection, [make_up_id] * len(lots), [kind for kind, _ in lots], [lot for _, lot in lots])
    return make_up_id


def add_make_ups(connection: Connection, frame: pl.DataFrame, intake_id: int | None) -> pl.DataFrame:
    """Add many make-ups, judged in retrospect, and return make_up_id, joint_id, made_up_on of each.

    `frame`: joint_id, made_up_on, fitter, witness, method, verdict, notes, kind, procedure_code, procedure_version,
    torque_n_m, turns, answers and reasons (as JSON).
    """
    given = {**frame.to_dict(as_series=False), "intake_id": intake_id, "judged": IN_RETROSPECT}
    rows = connection.execute(SQL["add_make_ups"], given).fetchall()
    types = {"make_up_id": pl.Int64(), "joint_id": pl.Int32(), "made_up_on": pl.Date()}
    return pl.DataFrame(rows, schema=types, orient="row")


def add_make_up_tools(connection: Connection, make_up_ids: Sequence[int], serials: Sequence[str]) -> None:
    """Tie make-ups to their tools, pair by pair; serials that the register does not know are passed over."""
    if serials:
        connection.execute(SQL["add_make_up_tools"], {"make_up_id": list(make_up_ids), "serial": list(serials)})


def add_make_up_lots(
    connection: Connection, make_up_ids: Sequence[int], kinds: Sequence[str], lots: Sequence[str]
) -> None:
    """Tie make-ups to the lots of their parts, row by row."""
    if lots:
        given = {"make_up_id": list(make_up_ids), "kind": list(kinds), "lot": list(lots)}
        connection.execute(SQL["add_make_up_lots"], given)


def list_make_ups_of_joints(connection: Connection, joint_ids: Sequence[int]) -> pl.DataFrame:
    """What the ledger says of some joints: joint_id, made_up_on, verdict, method, fitter, witness, torque_n_m,
    turns.

    Of a record judged in retrospect the verdict is the one that it gave itself.
    """
    text = pl.String()
    types = {
        "joint_id": pl.Int32(),
        "made_up_on": pl.Date(),
        "verdict": text,
        "method": text,
        "fitter": text,
        "witness": text,
        "torque_n_m": pl.Float64(),
        "turns": pl.Float64(),
    }
    rows = connection.execute(SQL["list_make_ups_of_joints"], {"joint_ids": list(joint_ids)}).fetchall()
    return pl.DataFrame(rows, schema=types, orient="row")


def list_make_ups(
    connection: Connection,
    *,
    joint_id: int | None = None,
    make_up_id: int | None = None,
    client_uuid: UUID | None = None,
) -> list[MakeUp]:
    """Make-ups in the order in which they were recorded: of a joint, or one by its number or its UUID."""
    given = {"joint_id": joint_id, "make_up_id": make_up_id, "client_uuid": client_uuid}
    with connection.cursor(row_factory=class_row(MakeUp)) as cursor:
        return cursor.execute(SQL["list_make_ups"], given).fetchall()


def list_joint_facts(connection: Connection, joint_ids: Sequence[int]) -> dict[int, tuple[str, float | None]]:
    """Family and size of joints by their number."""
    rows = connection.execute(SQL["list_joint_facts"], {"joint_ids": list(joint_ids)}).fetchall()
    return {int(joint_id): (str(family), size_mm) for joint_id, family, size_mm in rows}


def take_procedure_lock(connection: Connection) -> None:
    """Be the only one who publishes procedures until the transaction ends."""
    connection.execute(SQL["take_procedure_lock"])


def list_current_procedures(connection: Connection) -> tuple[Procedure, ...]:
    """The newest version of every procedure, by code."""
    rows = connection.execute(SQL["list_current_procedures"]).fetchall()
    return tuple(procedure_from(document, int(version)) for _, version, document in rows)


def read_procedure(connection: Connection, code: str, version: int) -> Procedure | None:
    """One version of a procedure."""
    row = connection.execute(SQL["read_procedure"], {"code": code, "version": version}).fetchone()
    return None if row is None else procedure_from(row[0], version)


def add_procedure(connection: Connection, procedure: Procedure, published_by: str, note: str) -> int:
    """Publish a procedure as the next version of its code, and return the version."""
    given = {
        "code": procedure.code,
        "document": orjson.dumps(document_of(procedure)).decode(),
        "published_by": published_by,
        "note": note,
    }
    row = connection.execute(SQL["add_procedure"], given).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])
