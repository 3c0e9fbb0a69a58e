"""Plans made in the background: started, looked at, stopped. Until one is done, the plan before stands."""

from datetime import date

from registry.db import Connection, Database
from registry.planning.changes import PlanJob
from registry.planning.model import PlanRequest


def start_job(database: Database, site_id: int, wanted: PlanRequest, today: date, asked_by: str) -> PlanJob:
    """Begin to make a plan in a thread of this process, with a connection of its own.

    Raises PlanUnfit, or PlanBusy (naming it) where one is being made already.
    """
    raise NotImplementedError


def read_job(connection: Connection, plan_job_id: int) -> PlanJob:
    """How far a job is. Raises JobUnknown."""
    raise NotImplementedError


def newest_job(connection: Connection) -> PlanJob | None:
    """The job that was asked for last."""
    raise NotImplementedError


def stop_job(connection: Connection, plan_job_id: int) -> PlanJob:
    """Ask a job to stop, which it does at its next step. Raises JobUnknown, or JobOver."""
    raise NotImplementedError
