"""The ledger of make-ups, added to and read."""

from collections.abc import Sequence

import polars as pl

from registry.db import Connection
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)


def take_make_up_lock(connection: Connection) -> None:
    """Be the only one who adds make-ups until the transaction ends."""
    connection.execute(SQL["take_make_up_lock"])


def add_make_ups(connection: Connection, frame: pl.DataFrame, intake_id: int | None) -> int:
    """Add many make-ups and return how many.

    `frame`: joint_id, made_up_on, fitter, witness, method, verdict, notes.
    """
    return connection.execute(SQL["add_make_ups"], {**frame.to_dict(as_series=False), "intake_id": intake_id}).rowcount


def list_make_ups_of_joints(connection: Connection, joint_ids: Sequence[int]) -> pl.DataFrame:
    """What the ledger says of some joints: joint_id, made_up_on, verdict, method, fitter, witness."""
    text = pl.String()
    types = {
        "joint_id": pl.Int32(),
        "made_up_on": pl.Date(),
        "verdict": text,
        "method": text,
        "fitter": text,
        "witness": text,
    }
    rows = connection.execute(SQL["list_make_ups_of_joints"], {"joint_ids": list(joint_ids)}).fetchall()
    return pl.DataFrame(rows, schema=types, orient="row")
