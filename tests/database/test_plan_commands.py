"""`jointwright plan` as a person runs it: what it prints, its exit status, and what an interruption leaves."""

import csv
import json
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import openpyxl
import pytest

from registry.commands import plan, plan_changes
from registry.db import Database
from registry.planning import solver
from registry.planning.answers import CHECK_COLUMNS
from registry.planning.problem import Answer, Problem
from registry.planning.service import Progress
from tests.conftest import cloned_database, new_site
from tests.database.conftest import Run
from tests.database.planned_site import MONDAY, OUTAGE_AREA, fill_planned_site
from tests.database.small_site import AS_OF


@pytest.fixture(scope="module")
def filled(server_url: str, template_name: str) -> Iterator[Database]:
    """A site to be planned."""
    with cloned_database(server_url, template_name) as database:
        with database.transaction(new_site(database, "works")) as connection:
            fill_planned_site(connection, 120)
        yield database


@pytest.fixture
def run(filled: Database, run_on: Callable[..., Run], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run `jointwright plan` on the day of the scores; gives status, output and errors."""
    for module in (plan, plan_changes):
        monkeypatch.setattr(module, "utc_today", lambda: AS_OF)
    return run_on(filled, "plan")


@pytest.fixture
def planned(run: Run) -> Run:
    """As `run`, with a plan."""
    assert run("--weeks", "20", "--by", "P. Planner")[0] == 0
    return run


def a_tag(run: Run) -> tuple[str, str]:
    """A joint's next check that needs neither outage nor scaffold, and its week."""
    for week in range(3, 20):
        monday = str(MONDAY + timedelta(weeks=week))
        for check in json.loads(run("show", "--week", monday, "--json")[1])["checks"]:
            if check["round"] == 1 and not check["requires_outage"] and not check["scaffold"]:
                return check["tag"], monday
    raise AssertionError("the plan has no such check")


def test_a_plan_is_made_with_progress_and_shown(run: Run) -> None:
    status, out, err = run("--weeks", "20", "--by", "P. Planner")
    assert status == 0
    assert out.startswith("Plan ")
    assert "20 weeks from 2026-11-23" in out
    assert "- It costs " in out
    assert out.count("\n2026-") + out.count("\n2027-") == 20
    assert "reading joints, crews and the plan before" in err
    assert "100% done" in err
    shown = json.loads(run("show", "--json")[1])
    assert shown["plan"]["made_by"] == "P. Planner"
    tubes = json.loads(run("show", "--json", "--crew", "tubes")[1])
    assert {row["crew"] for row in tubes["crew_weeks"]} == {"Tubes"}
    assert run("show", "--crew", "nobody")[0] == 1
    assert "no week that begins on" in run("show", "--week", "2026-11-24")[2]


def test_unfit_plans_get_every_fault_and_status_1(run: Run) -> None:
    status, out, err = run("--weeks", "0", "--from", "2026-11-25", "--planned", "3")
    assert (status, out) == (1, "")
    assert [line.split("'")[1] for line in err.splitlines() if line.startswith("  column")] == [
        "starts_on",
        "weeks",
        "planned_weeks",
    ]


def test_an_interruption_leaves_the_plan_before(planned: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    before = planned("show", "--json")[1]

    def interrupted(problem: Problem, *, progress: Progress | None = None) -> Answer:
        raise KeyboardInterrupt

    monkeypatch.setattr(solver, "solved", interrupted)
    status, _, err = planned("--weeks", "8")
    assert status == 1
    assert err.endswith("jointwright: stopped; nothing was half-written\n")
    assert planned("show", "--json")[1] == before


def test_a_check_is_weighed_moved_and_let_go(planned: Run) -> None:
    tag, week = a_tag(planned)
    to_week = str(MONDAY + timedelta(weeks=2))
    status, out, _ = planned("move", tag, "--to-week", to_week, "--preview")
    assert status == 0
    assert out.startswith("1 check (")
    assert f"would go from the week of {week}" in out
    assert "risk added: -" in out
    assert "column 'reason': say why" in planned("move", tag, "--to-week", to_week)[2]
    signed = ("--to-week", to_week, "--why", "the crane is there", "--by", "P. Planner", "--over-time")
    moved = json.loads(planned("move", tag, *signed, "--json")[1])
    assert (moved["from_week"], moved["to_week"]) == (week, to_week)
    listed = planned("moves", "--reason", "by_hand")[1]
    assert "put there by a person (P. Planner: the crane is there)" in listed
    assert planned("let-go", tag)[1] == "1 left to the next plan again\n"
    assert planned("let-go", tag)[1] == "nobody had put them anywhere\n"
    assert "no reason 'boredom'" in planned("moves", "--reason", "boredom")[2]


def test_the_checks_of_an_area_are_moved_together(planned: Run) -> None:
    told = json.loads(planned("show", "--json")[1])
    row = next(row for row in told["crew_weeks"] if row["checks"] and row["week_starting_on"] >= "2026-12-07")
    whose = ("--week", row["week_starting_on"], "--crew", row["crew"])
    status, _, err = planned("move", *whose, "--area", "nowhere", "--to-week", row["week_starting_on"])
    assert status == 1
    area = err.rstrip().rpartition("it has ")[2].split(", ")[0]
    out = planned("move", *whose, "--area", area, "--to-week", row["week_starting_on"], "--preview")[1]
    assert "cost added: +0.0 crew minutes" in out
    assert "say which checks" in planned("move", "--to-week", "2026-12-07")[2]


def test_a_deferral_is_weighed_and_recorded(planned: Run) -> None:
    tag, _ = a_tag(planned)
    assert "weighted leaks" in planned("defer", tag, "--until", "2028-01-03", "--preview")[1]
    assert planned("deferrals")[1] == "no check is deferred\n"
    assert "column 'decided_by': say who decided" in planned("defer", tag, "--until", "2028-01-03")[2]
    made = planned("defer", tag, "--until", "2028-01-03", "--why", "no scaffold", "--by", "I. Engineer")[1]
    assert "until 2028-01-03, decided by I. Engineer: no scaffold" in made
    assert [row["tag"] for row in json.loads(planned("deferrals", "--json")[1])["deferrals"]] == [tag]


def test_what_is_in_no_week_is_listed_with_its_reason(planned: Run) -> None:
    told = json.loads(planned("show", "--json")[1])
    out = planned("unplaced", "--limit", "1000")[1]
    assert out.splitlines()[0].startswith(f"{told['unplaced']} checks stand in no week")
    assert out.count("\n") == told["unplaced"] + 1
    listed = json.loads(planned("unplaced", "--reason", "needs_outage", "--json")[1])["checks"]
    assert {check["area"] for check in listed} <= {OUTAGE_AREA}


def test_a_plan_is_written_to_files(planned: Run, tmp_path: Path) -> None:
    told = json.loads(planned("show", "--json")[1])
    assert planned("export", "plan.csv")[0] == 0
    with (tmp_path / "plan.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == told["checks"]
    assert tuple(rows[0]) == CHECK_COLUMNS
    assert json.loads(planned("export", "plan.xlsx", "--json")[1])["checks"] == told["checks"]
    assert "Crews by week" in openpyxl.load_workbook(tmp_path / "plan.xlsx", read_only=True).sheetnames
    assert "neither .csv nor .xlsx" in planned("export", "plan.pdf")[2]
    assert "cannot be written" in planned("export", "no/such/folder/plan.csv")[2]
