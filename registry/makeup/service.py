"""Take a list of past make-ups in."""

from datetime import date

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import FileMapping, IntakeReport, Table
from registry.intake.recorded import IS_KNOWN, IS_NEW, UNKNOWN_TAG, held_against, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.store import list_tags
from registry.makeup import store
from registry.makeup.model import MAKE_UP_COLUMNS


def import_make_ups(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the make-ups of a file: all rows or none, or with `keep_valid` the good ones.

    A make-up is known by its joint and day; one that stands already otherwise is a fault, for a ledger is corrected
    and never loaded over. The caller holds the score lock and scores anew.
    """
    take_intake_lock(connection, "make_ups")
    store.take_make_up_lock(connection)
    rows = typed_rows(table, MAKE_UP_COLUMNS, mapping, today=today)
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    ledger = store.list_make_ups_of_joints(connection, rows.frame["joint_id"].drop_nulls().unique().to_list())
    content = ("verdict", "method", "fitter", "witness")
    rows = held_against(rows, ledger, ("joint_id", "made_up_on"), content, "make-up")
    frame = rows.admitted(keep_valid)
    added = frame.filter(IS_NEW)
    intake_id = None
    if added.height:
        intake_id = add_intake(connection, "make_ups", rows, frame.height)
        store.add_make_ups(
            connection,
            added.select("joint_id", "made_up_on", "fitter", "witness", "method", "verdict", "notes"),
            intake_id,
        )
    return rows.report(
        "make-ups",
        loaded=keep_valid or not rows.issues,
        added=added.height,
        unchanged=frame.filter(IS_KNOWN).height,
        intake_id=intake_id,
    )
