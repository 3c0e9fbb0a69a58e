"""Plans made in the background: started, looked at, stopped. Until one is done, the plan before stands.

A job works in one transaction, in which it holds the planning lock and a lock of its own; how far it is and whether it
is to stop goes by short transactions beside it. Its end is written in the transaction of the work, so a job that is
neither over nor holds its lock was cut off, with its server or its connection, and nothing of it is left.
"""

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from queue import SimpleQueue
from threading import Thread
from time import monotonic

from registry.db import Connection, Database
from registry.errors import RegistryError
from registry.planning import change_store as store
from registry.planning.changes import JobOver, JobUnknown, PlanJob
from registry.planning.model import PlanBusy, PlanRequest
from registry.planning.service import horizon_of, make_plan, take_planning_lock
from registry.policy.service import current_policy

CUT_OFF = "cut off: whoever made the plan is gone; the plan before stands"
_SECONDS_BETWEEN = 0.25

_log = logging.getLogger(__name__)


class _Stopped(Exception):
    """Somebody asked the job to stop."""


def start_job(database: Database, site_id: int, wanted: PlanRequest, today: date, asked_by: str) -> PlanJob:
    """Begin to make a plan in a thread of this process, with a connection of its own, and return once it works.

    Raises PlanUnfit, PolicyUnknown, or PlanBusy (naming it) where a plan is being made already.
    """
    return started_job(database, site_id, wanted, today, asked_by)[0]


def started_job(
    database: Database, site_id: int, wanted: PlanRequest, today: date, asked_by: str
) -> tuple[PlanJob, Thread]:
    """As `start_job`, with the thread, for whoever wants to wait for its end."""
    told: SimpleQueue[PlanJob | BaseException] = SimpleQueue()

    def work() -> None:
        try:
            _work(database, site_id, wanted, today, " ".join(asked_by.split()) or "nobody named", told.put)
        except BaseException as exc:  # the starter raises it, or nobody waits any more and the job's row says it
            told.put(exc)

    thread = Thread(target=work, name=f"plan of site {site_id}", daemon=True)
    thread.start()
    found = told.get()
    if isinstance(found, BaseException):
        raise found
    return found, thread


def read_job(connection: Connection, plan_job_id: int) -> PlanJob:
    """How far a job is; 'cut off' where nobody works on it any more and it is not over. Raises JobUnknown."""
    job = store.read_job(connection, plan_job_id)
    if job is None:
        raise JobUnknown(f"no job {plan_job_id} in this site")
    return _as_it_is(connection, job)


def newest_job(connection: Connection) -> PlanJob | None:
    """The job that was asked for last."""
    job = store.read_job(connection, None)
    return None if job is None else _as_it_is(connection, job)


def stop_job(connection: Connection, plan_job_id: int) -> PlanJob:
    """Ask a job to stop, which it does at its next step; the plan before stands. Raises JobUnknown, or JobOver."""
    job = read_job(connection, plan_job_id)
    if job.over:
        raise JobOver(f"job {plan_job_id} is over already: {job.state}")
    store.ask_to_stop(connection, plan_job_id)
    return read_job(connection, plan_job_id)


def _work(
    database: Database,
    site_id: int,
    wanted: PlanRequest,
    today: date,
    asked_by: str,
    tell: Callable[[PlanJob], None],
) -> None:
    with database.transaction(site_id) as connection:
        horizon_of(wanted, current_policy(connection).planning, today)
        try:
            take_planning_lock(connection)
        except PlanBusy as exc:
            running = newest_job(connection)
            if running is None or running.over:
                raise
            raise PlanBusy(
                f"plan job {running.plan_job_id} of {running.asked_by} is running ({running.share_done:.0%},"
                f" {running.stage or 'just begun'}): wait for it, or stop it first"
            ) from exc
        with database.transaction(site_id) as beside:
            store.end_jobs_cut_off(beside, CUT_OFF)
            request = {
                "starts_on": wanted.starts_on,
                "weeks": wanted.weeks,
                "frozen_weeks": wanted.frozen_weeks,
                "planned_weeks": wanted.planned_weeks,
            }
            number = store.add_job(beside, request, asked_by)
        store.take_job_lock(connection, number)
        note = _noted(database, site_id, number)
        note(0.0, "reading joints, crews and the plan before")
        with database.transaction(site_id) as beside:
            tell(read_job(beside, number))
        try:
            with connection.transaction():
                made = make_plan(connection, wanted, today, asked_by, progress=note)
                note(1.0, "done")
        except _Stopped:
            store.end_job(connection, number, "stopped")
        except RegistryError as exc:
            store.end_job(connection, number, "failed", failure=str(exc))
        except Exception as exc:
            if connection.closed:
                raise  # nothing can be written any more: the job's row and its lock say that it was cut off
            _log.exception("plan job %d of site %d failed", number, site_id)
            store.end_job(connection, number, "failed", failure=f"a fault of the program: {type(exc).__name__}")
        else:
            store.end_job(connection, number, "done", plan_run_id=made.plan.plan_run_id)


def _noted(database: Database, site_id: int, number: int) -> Callable[[float, str], None]:
    """Progress as the job's row has it, not more often than anybody looks; raises when it is to stop."""
    last = [-_SECONDS_BETWEEN, ""]

    def note(share: float, stage: str) -> None:
        now = monotonic()
        if stage == last[1] and now - float(last[0]) < _SECONDS_BETWEEN and share < 1.0:
            return
        last[:] = [now, stage]
        with database.transaction(site_id) as beside:
            if store.save_progress(beside, number, min(max(share, 0.0), 1.0), stage):
                raise _Stopped

    return note


def _as_it_is(connection: Connection, job: PlanJob) -> PlanJob:
    if job.over or job.state == "queued" or store.is_job_alive(connection, job.plan_job_id):
        return job
    # Between the two looks it may have ended.
    again = store.read_job(connection, job.plan_job_id)
    if again is None or again.over:
        return again or job
    return replace(again, state="cut off", failure=CUT_OFF)
