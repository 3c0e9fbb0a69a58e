"""Plans made in the background: one at a time, stopped or cut off without a trace in the plan that stands."""

from collections.abc import Generator
from contextlib import contextmanager
from threading import Event, Thread
from typing import Any

import pytest

from registry.db import Connection, Database
from registry.intervals.service import score_plant
from registry.planning import solver
from registry.planning.changes import BundleKey, JobOver, JobUnknown, PlanJob
from registry.planning.job_service import CUT_OFF, newest_job, read_job, start_job, started_job, stop_job
from registry.planning.model import NotPlanned, PlanBusy, PlanRequest, PlanUnfit
from registry.planning.moving_service import let_go, move_bundle
from registry.planning.problem import Answer, Problem
from registry.planning.service import Progress, current_plan, summary
from registry.policy.versions import PolicyUnknown
from tests.conftest import new_site
from tests.database.planned_site import MONDAY, fill_planned_site, places, planned
from tests.database.small_site import AS_OF, fill_site

WANTED = PlanRequest(MONDAY, 12)


@pytest.fixture(scope="module")
def site_id(module_database: Database) -> int:
    """A site with a plan."""
    found = new_site(module_database, "planned")
    with module_database.transaction(found) as connection:
        fill_planned_site(connection, 80)
        planned(connection, weeks=8)
    return found


class Held:
    """The solver at work, waiting to be let on: what a large plant's is for half a minute."""

    def __init__(self) -> None:
        self.reached, self.let_on = Event(), Event()
        self.solved = solver.solved

    def __call__(self, problem: Problem, *, progress: Progress | None = None) -> Answer:
        self.reached.set()
        assert self.let_on.wait(30)
        return self.solved(problem, progress=progress)


@contextmanager
def held_job(
    database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> Generator[tuple[PlanJob, Thread, Held]]:
    """A job that has come as far as the solver; it is over when the block ends."""
    held = Held()
    monkeypatch.setattr(solver, "solved", held)
    job, thread = started_job(database, site_id, WANTED, AS_OF, "P. Planner")
    try:
        assert held.reached.wait(30)
        yield job, thread, held
    finally:
        held.let_on.set()
        thread.join(30)
        assert not thread.is_alive()
        monkeypatch.setattr(solver, "solved", held.solved)


def standing(database: Database, site_id: int) -> tuple[int, dict[tuple[int, int], Any]]:
    """The newest plan's number, and where it has its checks."""
    with database.transaction(site_id) as connection:
        return current_plan(connection).plan_run_id, places(connection)


def job_of(database: Database, site_id: int, plan_job_id: int) -> PlanJob:
    with database.transaction(site_id) as connection:
        return read_job(connection, plan_job_id)


def test_a_job_makes_the_plan_and_says_how_far_it_is(
    module_database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = standing(module_database, site_id)
    with held_job(module_database, site_id, monkeypatch) as (job, _, _):
        seen = job_of(module_database, site_id, job.plan_job_id)
        assert (seen.state, seen.over, seen.asked_by) == ("running", False, "P. Planner")
        assert seen.stage.startswith("placing ")
        assert 0 < seen.share_done < 1
        assert standing(module_database, site_id) == before
    done = job_of(module_database, site_id, job.plan_job_id)
    assert (done.state, done.share_done, done.failure) == ("done", 1.0, None)
    assert done.finished_at is not None
    number, _ = standing(module_database, site_id)
    assert number == done.plan_run_id
    assert number > before[0]
    with module_database.transaction(site_id) as connection:
        plan = current_plan(connection)
        assert (plan.weeks, plan.made_by) == (12, "P. Planner")
        assert summary(connection, plan).checks
        assert newest_job(connection) == done
        with pytest.raises(JobOver, match="done"):
            stop_job(connection, job.plan_job_id)


def test_a_second_job_is_refused_by_name_and_so_is_changing_the_plan(
    module_database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    with held_job(module_database, site_id, monkeypatch) as (job, _, _):
        with pytest.raises(PlanBusy, match=rf"plan job {job.plan_job_id} of P\. Planner is running"):
            start_job(module_database, site_id, WANTED, AS_OF, "somebody else")
        with pytest.raises(PlanBusy), module_database.transaction(site_id) as connection:
            planned(connection)
        with pytest.raises(PlanBusy), module_database.transaction(site_id) as connection:
            let_go(connection, [1])
        key = BundleKey(standing(module_database, site_id)[0], MONDAY, 1)
        with pytest.raises(PlanBusy), module_database.transaction(site_id) as connection:
            move_bundle(connection, key, MONDAY, 1, "why", "who", AS_OF)


def test_a_stopped_job_leaves_the_plan_before(
    module_database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = standing(module_database, site_id)
    with (
        held_job(module_database, site_id, monkeypatch) as (job, _, _),
        module_database.transaction(site_id) as connection,
    ):
        assert stop_job(connection, job.plan_job_id).stop_asked
    stopped = job_of(module_database, site_id, job.plan_job_id)
    assert (stopped.state, stopped.plan_run_id) == ("stopped", None)
    assert standing(module_database, site_id) == before
    started, thread = started_job(module_database, site_id, WANTED, AS_OF, "P. Planner")
    thread.join(30)
    assert job_of(module_database, site_id, started.plan_job_id).state == "done"


def test_a_job_that_was_cut_off_is_told_so_and_another_can_begin(
    module_database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = standing(module_database, site_id)
    with held_job(module_database, site_id, monkeypatch) as (job, _, _):
        with module_database.owner() as owner:
            ended = owner.execute(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_locks WHERE locktype = 'advisory'"
                " AND database = (SELECT oid FROM pg_database WHERE datname = current_database()) AND objid = %s"
                " AND classid::bigint = (hashtext('plan_job')::bigint & 4294967295)",
                [job.plan_job_id],
            ).fetchall()
        assert ended == [(True,)]
        seen = job_of(module_database, site_id, job.plan_job_id)
        assert (seen.state, seen.over, seen.failure) == ("cut off", True, CUT_OFF)
        with module_database.transaction(site_id) as connection, pytest.raises(JobOver, match="cut off"):
            stop_job(connection, job.plan_job_id)
    assert job_of(module_database, site_id, job.plan_job_id).state == "cut off"
    assert standing(module_database, site_id) == before
    _, thread = started_job(module_database, site_id, WANTED, AS_OF, "P. Planner")
    thread.join(30)
    kept = job_of(module_database, site_id, job.plan_job_id)
    assert (kept.state, kept.failure) == ("failed", CUT_OFF)


def test_a_job_that_fails_says_why(module_database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    bare = new_site(module_database, "bare")
    with pytest.raises(PolicyUnknown):
        start_job(module_database, bare, WANTED, AS_OF, "P. Planner")
    with module_database.transaction(bare) as connection:
        fill_site(connection, 5)
        score_plant(connection, AS_OF)
    with pytest.raises(PlanUnfit):
        start_job(module_database, bare, PlanRequest(AS_OF), AS_OF, "P. Planner")
    job, thread = started_job(module_database, bare, WANTED, AS_OF, "P. Planner")
    thread.join(30)
    failed = job_of(module_database, bare, job.plan_job_id)
    assert failed.state == "failed"
    assert "needs a crew" in str(failed.failure)


def test_a_fault_of_ours_ends_the_job_and_leaves_the_plan(
    module_database: Database, site_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = standing(module_database, site_id)

    def broken(problem: Problem, *, progress: Progress | None = None) -> Answer:
        raise ZeroDivisionError

    monkeypatch.setattr(solver, "solved", broken)
    job, thread = started_job(module_database, site_id, WANTED, AS_OF, "P. Planner")
    thread.join(30)
    failed = job_of(module_database, site_id, job.plan_job_id)
    assert (failed.state, failed.failure) == ("failed", "a fault of the program: ZeroDivisionError")
    assert standing(module_database, site_id) == before


def test_another_site_sees_neither_plan_nor_job_nor_deferral(module_database: Database, site_id: int) -> None:
    other = new_site(module_database, "other")
    tables = ("plan_run", "planned_check", "plan_capacity", "plan_move", "plan_pin", "deferral", "plan_job")
    with module_database.transaction(site_id) as connection:
        seen = newest_job(connection)
        assert seen is not None
        assert count(connection, "planned_check") > 0
    with module_database.transaction(other) as connection:
        assert [count(connection, table) for table in tables] == [0] * len(tables)
        with pytest.raises(NotPlanned):
            current_plan(connection)
        with pytest.raises(JobUnknown):
            read_job(connection, seen.plan_job_id)
        assert newest_job(connection) is None


def count(connection: Connection, table: str) -> int:
    row = connection.execute(f"SELECT count(*) FROM {table}".encode()).fetchone()
    assert row is not None
    return int(row[0])
