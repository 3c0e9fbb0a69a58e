"""Record what was found at a joint, once, and let its due date and the leak ledger follow."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import uuid5

from registry.checks import store
from registry.checks.check_list import CHECK_COLUMNS, leaks_opened
from registry.checks.model import (
    RESULTS,
    SEVERITY_OF,
    CheckAnswer,
    CheckReport,
    CheckReportedOtherwise,
    CheckRouteUnknown,
    CheckUnfit,
    JointUnnamed,
    RecordedCheck,
    StopUnknown,
)
from registry.db import Connection
from registry.exposure.reading_lists import TEMPERATURE_COLUMNS, VIBRATION_COLUMNS
from registry.exposure.service import import_temperatures, import_vibration
from registry.intake.columns import typed_rows
from registry.intake.model import Column, FileMapping, IntakeReport, Table
from registry.intake.recorded import IS_KNOWN, IS_NEW, UNKNOWN_TAG, held_against, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.intervals.model import DUE_REASONS
from registry.intervals.service import reschedule_joints
from registry.intervals.store import list_joints_of_lines, read_due, share_score_lock, take_score_lock
from registry.joints.model import JointUnknown
from registry.joints.service import joint_of_tag
from registry.joints.store import list_tags
from registry.leaks import service as leaks
from registry.leaks.leak_list import LEAK_COLUMNS
from registry.leaks.model import LeakReport
from registry.leaks.store import add_leaks, list_leaks, list_leaks_of_joints, take_leak_lock
from registry.makeup.model import MAKE_UP_COLUMNS
from registry.makeup.service import import_make_ups

_LEAK_OF_CHECK = "leak"

Import = Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]


@dataclass(frozen=True, slots=True)
class HistoryKind:
    """One kind of readings or history: the columns of its files, and what takes one in."""

    columns: Sequence[Column]
    take_in: Import


def record_result(connection: Connection, report: CheckReport, today: date) -> CheckAnswer:
    """Add a result to the ledger, open a leak if it is one, and score the joint anew.

    'tight' and 'retightened' move the due date; 'weeping' and 'leaking' open a leak, unless one is open on the joint
    already; 'not_reached' leaves everything as it is. The same report again (by `client_uuid`) adds nothing and gets
    the same answer. Raises JointUnnamed, JointUnknown, CheckRouteUnknown, CheckUnfit, InTheFuture, or
    CheckReportedOtherwise where the UUID stands with other content.
    """
    _refuse_unfit(report, today)
    # The lock that scoring takes alone, see registry/intervals/service.py; first of all, so that everyone waits in
    # one order.
    share_score_lock(connection)
    joint_id, tag = _joint_of(connection, report)
    if report.route_id is not None and not store.route_exists(connection, report.route_id):
        raise CheckRouteUnknown(f"no route {report.route_id} here")
    # Taken before the look, so that of the same report sent twice at once the second finds the first.
    store.take_check_lock(connection)
    before = read_due(connection, joint_id)
    stands = store.check_of_uuid(connection, report.client_uuid)
    if stands is None:
        check_result_id = store.add_check(connection, joint_id, report)
        leak_id = _opened_leak(connection, report, tag, today)
        if report.result != "not_reached":
            # A leak may call in its neighbours on the line.
            reschedule_joints(
                connection, [joint_id] if leak_id is None else list_joints_of_lines(connection, [joint_id])
            )
    else:
        _refuse_other(report, joint_id, stands)
        check_result_id, leak_id = stands.check_result_id, _open_leak(connection, report, tag)
    after = read_due(connection, joint_id)
    return CheckAnswer(
        check_result_id=check_result_id,
        joint_id=joint_id,
        tag=tag,
        result=report.result,
        leak_id=leak_id,
        old_due_on=None if before is None else before[0],
        new_due_on=None if after is None else after[0],
        due_reason=None if after is None else DUE_REASONS[after[1]],
        repeated=stands is not None,
    )


def joint_at_stop(
    connection: Connection, route_id: int, position: int, *, seen: int | None = None, seen_tag: str | None = None
) -> int:
    """The joint of a route's stop. Raises CheckRouteUnknown or StopUnknown.

    Who says which joint they saw there gets that one, wherever on the route it stands by now: a route may have been
    mended since.
    """
    if not store.route_exists(connection, route_id):
        raise CheckRouteUnknown(f"no route {route_id} here")
    if seen is not None or seen_tag is not None:
        on_route = store.joint_on_route(connection, route_id, joint_id=seen, tag=seen_tag)
        if on_route is None:
            raise StopUnknown(f"{seen_tag or 'that joint'} is not on route {route_id}: look at the route again")
        return on_route
    joint_id = store.joint_at_stop(connection, route_id, position)
    if joint_id is None:
        raise StopUnknown(f"route {route_id} has no stop {position}")
    return joint_id


def report_leak(connection: Connection, report: LeakReport, today: date) -> int:
    """Add a leak that was found otherwise than by a check, score its line anew, and return the leak's number.

    Raises what `registry.leaks.service.report_leak` raises.
    """
    share_score_lock(connection)
    leak_id = leaks.report_leak(connection, report, today)
    reschedule_joints(connection, list_joints_of_lines(connection, [leaks.read_leak(connection, leak_id).joint_id]))
    return leak_id


def import_checks(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the results of a file, and the leaks that they open: all rows or none, or with `keep_valid` the good ones.

    A result is known by its joint and time; one that stands already otherwise is a fault, for a ledger is corrected and
    never loaded over. Load the leak list before, so that leaks come in with their repairs. The caller holds the score
    lock and scores anew.
    """
    take_intake_lock(connection, "checks")
    store.take_check_lock(connection)
    rows = typed_rows(table, CHECK_COLUMNS, mapping, today=today)
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    joint_ids = rows.frame["joint_id"].drop_nulls().unique().to_list()
    ledger = store.list_checks_of_joints(connection, joint_ids)
    rows = held_against(rows, ledger, ("joint_id", "observed_at"), ("result", "screening_ppmv"), "check")
    frame = rows.admitted(keep_valid)
    added = frame.filter(IS_NEW)
    intake_id, notes = None, list[str]()
    if added.height:
        intake_id = add_intake(connection, "checks", rows, frame.height)
        store.add_checks(
            connection,
            added.select("joint_id", "observed_at", "result", "screening_ppmv", "checked_by", "notes"),
            intake_id,
        )
        take_leak_lock(connection)
        opened = leaks_opened(frame, list_leaks_of_joints(connection, joint_ids))
        if opened.height:
            add_leaks(connection, opened, intake_id)
            notes.append(f"{opened.height:,} leaks were opened by what was found")
    return rows.report(
        "checks",
        loaded=keep_valid or not rows.issues,
        added=added.height,
        unchanged=frame.filter(IS_KNOWN).height,
        notes=notes,
        intake_id=intake_id,
    )


def import_history(
    connection: Connection, kind: str, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add a file of one of HISTORIES, with the score lock held; the caller scores anew (`rescore`) if it changed
    anything.

    The lock comes before any lock of the import, in the order in which who records a single result takes them.
    """
    take_score_lock(connection)
    return HISTORIES[kind].take_in(connection, table, mapping, keep_valid, today)


def _refuse_unfit(report: CheckReport, today: date) -> None:
    if report.result not in RESULTS:
        raise CheckUnfit(f"'{report.result}' is no result: it is one of {', '.join(RESULTS)}")
    if report.screening_ppmv is not None and not report.screening_ppmv >= 0:
        raise CheckUnfit(f"a screening value of {report.screening_ppmv:g} ppmv is below zero")
    if report.severity is not None and report.result not in SEVERITY_OF:
        raise CheckUnfit(f"'{report.result}' is no leak, and so has no severity")
    leaks.refuse_future(report.observed_at, today)


def _joint_of(connection: Connection, report: CheckReport) -> tuple[int, str]:
    if (report.tag is None) == (report.joint_id is None):
        raise JointUnnamed("name the joint by its tag or by its number")
    if report.tag is not None:
        joint = joint_of_tag(connection, report.tag)
        return joint.joint_id, joint.tag
    assert report.joint_id is not None, "one of the two is given"
    tag = store.tag_of_joint(connection, report.joint_id)
    if tag is None:
        raise JointUnknown(f"no joint number {report.joint_id} here")
    return report.joint_id, tag


def _refuse_other(report: CheckReport, joint_id: int, stands: RecordedCheck) -> None:
    given = (
        joint_id,
        report.observed_at,
        report.result,
        report.screening_ppmv,
        report.checked_by,
        report.notes,
        report.route_id,
    )
    recorded = (
        stands.joint_id,
        stands.observed_at,
        stands.result,
        stands.screening_ppmv,
        stands.checked_by,
        stands.notes,
        stands.route_id,
    )
    if given != recorded:
        raise CheckReportedOtherwise(f"check {stands.check_result_id} was recorded under this UUID with other content")


def _opened_leak(connection: Connection, report: CheckReport, tag: str, today: date) -> int | None:
    """The leak that a result opens, or the one that is open on the joint already: a leak seen twice is one leak."""
    if report.result not in SEVERITY_OF:
        return None
    found = _open_leak(connection, report, tag)
    if found is not None:
        return found
    return leaks.report_leak(
        connection,
        LeakReport(
            tag=tag,
            observed_at=report.observed_at,
            severity=report.severity or SEVERITY_OF[report.result],
            client_uuid=uuid5(report.client_uuid, _LEAK_OF_CHECK),
            found_during="check",
            found_by=report.checked_by,
            screening_ppmv=report.screening_ppmv,
            notes=report.notes,
        ),
        today,
    )


def _open_leak(connection: Connection, report: CheckReport, tag: str) -> int | None:
    if report.result not in SEVERITY_OF:
        return None
    found = list_leaks(connection, tag=tag, only_open=True, limit=1)
    return found[0].leak_id if found else None


HISTORIES: Final[Mapping[str, HistoryKind]] = {
    "vibration": HistoryKind(VIBRATION_COLUMNS, import_vibration),
    "temperatures": HistoryKind(TEMPERATURE_COLUMNS, import_temperatures),
    "make-ups": HistoryKind(MAKE_UP_COLUMNS, import_make_ups),
    "leaks": HistoryKind(LEAK_COLUMNS, leaks.import_leaks),
    "checks": HistoryKind(CHECK_COLUMNS, import_checks),
}
"""What can be loaded after the joint list, in the order in which it should be."""
