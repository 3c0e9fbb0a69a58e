"""Report a leak, record its repair, and say how often each area leaks."""

import math
from datetime import UTC, date, datetime

import polars as pl

from registry.db import Connection
from registry.intake.columns import typed_rows
from registry.intake.model import ROW, FileMapping, IntakeReport, Table
from registry.intake.recorded import IS_KNOWN, IS_NEW, UNKNOWN_TAG, held_against, with_number
from registry.intake.store import add_intake, take_intake_lock
from registry.joints.service import joint_of_tag
from registry.joints.store import list_tags
from registry.leaks import store
from registry.leaks.leak_list import LEAK_COLUMNS, repairs_lacking, with_repairs
from registry.leaks.model import (
    AreaCount,
    AreaRate,
    InTheFuture,
    Leak,
    LeakClosed,
    LeakRates,
    LeakReport,
    LeakReportedOtherwise,
    LeakUnfit,
    LeakUnknown,
    StepReport,
)
from registry.leaks.rates import poisson_lower_limit, poisson_upper_limit

PER_JOINT_YEARS = 1000.0


def report_leak(connection: Connection, report: LeakReport, today: date) -> int:
    """Add a leak to the ledger and return its number; the same report again returns the same number.

    The caller rescores what a leak bears on (`registry/checks/service.py`). Raises JointUnknown, InTheFuture,
    LeakUnfit, or LeakReportedOtherwise where the UUID stands with other content.
    """
    refuse_future(report.observed_at, today)
    if report.screening_ppmv is not None and not report.screening_ppmv >= 0:
        raise LeakUnfit(f"a screening value of {report.screening_ppmv:g} ppmv is below zero")
    joint = joint_of_tag(connection, report.tag)
    # Taken before the look, so that of the same report sent twice at once the second finds the first.
    store.take_leak_lock(connection)
    stands = store.leak_of_uuid(connection, report.client_uuid)
    if stands is None:
        return store.add_leak(connection, joint.joint_id, report)
    given = (
        joint.joint_id,
        report.observed_at,
        report.severity,
        report.found_by,
        report.found_during,
        report.screening_ppmv,
        report.notes,
    )
    recorded = (
        stands.joint_id,
        stands.observed_at,
        stands.severity,
        stands.found_by,
        stands.found_during,
        stands.screening_ppmv,
        stands.notes,
    )
    if given != recorded:
        raise LeakReportedOtherwise(f"leak {stands.leak_id} was recorded under this UUID with other content")
    return stands.leak_id


def record_step(connection: Connection, report: StepReport, today: date) -> int:
    """Add a first attempt or a repair to a leak and return its number; the same report again returns the same number.

    Raises LeakUnknown, LeakClosed, InTheFuture, LeakUnfit, or LeakReportedOtherwise.
    """
    refuse_future(report.observed_at, today)
    store.take_leak_step_lock(connection)
    stands = store.step_of_uuid(connection, report.client_uuid)
    if stands is not None:
        given = (report.leak_id, report.step, report.observed_at, report.done_by, report.notes)
        if given != (stands.leak_id, stands.step, stands.observed_at, stands.done_by, stands.notes):
            raise LeakReportedOtherwise("a repair was recorded under this UUID with other content")
        return stands.leak_step_id
    leak = read_leak(connection, report.leak_id)
    if leak.repaired_at is not None:
        raise LeakClosed(f"leak {leak.leak_id} on {leak.tag} was repaired on {leak.repaired_at:%Y-%m-%d}")
    if report.observed_at < leak.observed_at:
        raise LeakUnfit(f"the leak was found on {leak.observed_at:%Y-%m-%d %H:%M} UTC, after this was done about it")
    return store.add_step(connection, report)


def read_leak(connection: Connection, leak_id: int) -> Leak:
    """One leak with the state of its repair. Raises LeakUnknown."""
    leak = store.read_leak(connection, leak_id)
    if leak is None:
        raise LeakUnknown(f"no leak {leak_id} here")
    return leak


def area_rates(connection: Connection, since_on: date | None, until_on: date) -> LeakRates:
    """Leaks of each area as counts and as rates per 1,000 joint-years with exact 95 % limits.

    The window begins on the ledger's first entry where `since_on` is earlier or None: before that nobody recorded, and
    a year without records is not a year without leaks.
    """
    began_on = store.read_ledger_beginning(connection)
    if began_on is not None:
        since_on = max(began_on, since_on or began_on)
    counts = store.count_by_area(connection, since_on or until_on, until_on)
    return LeakRates(
        None if began_on is None else since_on, until_on, [_rate(count) for count in counts], _rate(_total(counts))
    )


def import_leaks(
    connection: Connection, table: Table, mapping: FileMapping, keep_valid: bool, today: date
) -> IntakeReport:
    """Add the leaks and repairs of a file: all rows or none, or with `keep_valid` the good ones.

    A leak is known by its joint and time. One that stands already and is now repaired counts as changed. The caller
    rescores, for a leak may call its neighbours in.
    """
    take_intake_lock(connection, "leaks")
    store.take_leak_lock(connection)
    store.take_leak_step_lock(connection)
    rows = typed_rows(table, LEAK_COLUMNS, mapping, today=today)
    rows = with_number(rows, "tag", list_tags(connection), "joint_id", UNKNOWN_TAG)
    for step in ("first_attempt_at", "repaired_at"):
        rows = rows.with_faults(step, pl.col(step) < pl.col("observed_at"), "is before the leak was found")
    ledger = store.list_leaks_of_joints(connection, rows.frame["joint_id"].drop_nulls().unique().to_list())
    rows = held_against(rows, ledger, ("joint_id", "observed_at"), ("severity",), "leak")
    rows = with_repairs(rows, ledger)
    frame = rows.admitted(keep_valid)
    leaks, steps = frame.filter(IS_NEW), repairs_lacking(frame)
    known = frame.filter(IS_KNOWN)
    changed = known.filter(pl.col(ROW).is_in(steps[ROW].implode())).height
    intake_id = None
    if leaks.height or steps.height:
        intake_id = add_intake(connection, "leaks", rows, frame.height)
        store.add_leaks(
            connection,
            leaks.select(
                "joint_id",
                "observed_at",
                "severity",
                "found_by",
                pl.col("found_during").fill_null("operation"),
                "screening_ppmv",
                "notes",
            ),
            intake_id,
        )
        store.add_steps(connection, steps.drop(ROW), intake_id)
    return rows.report(
        "leaks",
        loaded=keep_valid or not rows.issues,
        added=leaks.height,
        changed=changed,
        unchanged=known.height - changed,
        intake_id=intake_id,
    )


def refuse_future(observed_at: datetime, today: date) -> None:
    """Raise InTheFuture for a time after today; both by UTC's calendar."""
    if observed_at.astimezone(UTC).date() > today:
        raise InTheFuture(f"{observed_at:%Y-%m-%d %H:%M %Z} lies in the future")


def _rate(count: AreaCount) -> AreaRate:
    if count.joint_years <= 0:
        return AreaRate(count, None, None, None)
    per = PER_JOINT_YEARS / count.joint_years
    return AreaRate(
        count,
        count.leaks * per,
        float(poisson_lower_limit(count.leaks)) * per,
        float(poisson_upper_limit(count.leaks)) * per,
    )


def _total(counts: list[AreaCount]) -> AreaCount:
    return AreaCount(
        area_id=0,
        area=None,
        joints=sum(count.joints for count in counts),
        joint_years=math.fsum(count.joint_years for count in counts),
        leaks=sum(count.leaks for count in counts),
        weeps=sum(count.weeps for count in counts),
        drips=sum(count.drips for count in counts),
        sprays=sum(count.sprays for count in counts),
        open_now=sum(count.open_now for count in counts),
        oldest_open_days=max((count.oldest_open_days or 0 for count in counts if count.open_now), default=None),
        repaired=sum(count.repaired for count in counts),
        median_repair_days=None,  # a median of medians would be no median
    )
