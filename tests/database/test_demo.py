"""The demo plant comes whole, once, through the services that files go through."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from registry.crews.calendar import capacity_minutes
from registry.crews.service import list_absences, list_crews, list_outages
from registry.db import Database
from registry.demo import service
from registry.demo.files import write_files
from registry.demo.joints import plant
from registry.demo.process import simulated_life
from registry.demo.service import CODE, build_demo, kept_life
from registry.intake.model import FileMapping
from registry.intake.tables import read_table
from registry.intervals.decisions import ScoreSummary
from registry.intervals.service import current_run
from registry.intervals.store import list_workload
from registry.joints.service import import_list
from registry.plant.service import import_plan_file
from registry.policy.document import default_document, policy_from
from registry.policy.service import publish_first
from registry.sites.model import Site
from registry.sites.service import time_zone
from registry.sites.store import list_sites
from tests.conftest import cloned_database

AS_OF = date(2026, 11, 25)
JOINTS = 1_500

Standing = tuple[Database, Site, ScoreSummary, list[str]]


@pytest.fixture(scope="module")
def standing(server_url: str, template_name: str) -> Iterator[Standing]:
    """The demo built once, for the tests that only look at it, with what it told while it was built."""
    told: list[str] = []
    with cloned_database(server_url, template_name) as database:
        site, summary = build(database, progress=told.append)
        yield database, site, summary, told


def build(database: Database, **changed: Any) -> tuple[Site, ScoreSummary]:
    return build_demo(database, JOINTS, 1, AS_OF, **changed)


def rows(database: Database, site: Site, query: str) -> list[tuple[Any, ...]]:
    with database.transaction(site.site_id) as connection:
        return connection.execute(query.encode()).fetchall()


def test_it_comes_with_history_scores_a_plan_and_a_route(standing: Standing) -> None:
    database, site, summary, told = standing
    assert site.code == CODE
    assert "invented" in site.name
    assert summary.joints == JOINTS
    assert 0.02 < summary.overdue / JOINTS < 0.15
    counts = {
        table: rows(database, site, f"SELECT count(*) FROM {table}")[0][0]
        for table in (
            "joint", "make_up", "check_result", "leak", "vibration_reading", "temperature_history", "score",
            "planned_check", "route_stop",
        )
    }  # fmt: skip
    assert all(counts.values()), counts
    assert counts["score"] == JOINTS
    classes = dict(rows(database, site, "SELECT consequence_class, count(*) FROM score GROUP BY 1"))
    assert set(classes) == {1, 2, 3, 4, 5}
    assert any("route" in line for line in told)


def test_its_crews_are_busy_with_a_year_of_checks_and_know_their_outages(standing: Standing) -> None:
    database, site, *_ = standing
    with database.transaction(site.site_id) as connection:
        assert time_zone(connection).key == "Europe/London"
        crews, absences, outages = list_crews(connection), list_absences(connection), list_outages(connection)
        run = current_run(connection)
        workload = list_workload(connection, run.score_run_id, AS_OF, AS_OF + timedelta(weeks=52))
    capacity = capacity_minutes(crews, absences, AS_OF - timedelta(days=AS_OF.weekday()), 52, today=AS_OF)
    assert len({crew.families for crew in crews}) == 4
    assert 0.85 < sum(work.minutes for work in workload if not work.needs_outage) / capacity.sum() < 0.95
    assert {absence.reason for absence in absences} == {"holiday", "public holiday"}
    assert [outage.areas for outage in outages] == [("Hydrogen compression",), ("Synthesis loop", "Refrigeration")]


def test_the_first_weeks_of_its_plan_are_full_and_its_route_is_for_the_next_day(standing: Standing) -> None:
    database, site, *_ = standing
    weeks = rows(
        database,
        site,
        "SELECT (SELECT sum(c.minutes) FROM planned_check c WHERE c.plan_run_id = p.plan_run_id"
        " AND c.week_starting_on = p.week_starting_on) / sum(p.minutes)"
        " FROM plan_capacity p GROUP BY p.plan_run_id, p.week_starting_on ORDER BY p.week_starting_on LIMIT 4",
    )
    assert all(0.0 < share <= 1.0 + 1e-9 for (share,) in weeks)
    assert sum(share for (share,) in weeks) > 0.6 * len(weeks)
    assert rows(database, site, "SELECT walk_on FROM route") == [(AS_OF + timedelta(days=1),)]


def test_every_leak_of_a_check_stands_once(standing: Standing) -> None:
    database, site, *_ = standing
    doubled = rows(database, site, "SELECT joint_id, observed_at FROM leak GROUP BY 1, 2 HAVING count(*) > 1")
    assert doubled == []
    unanswered = rows(
        database,
        site,
        "SELECT count(*) FROM check_result c WHERE c.result IN ('weeping', 'leaking') AND NOT EXISTS"
        " (SELECT FROM leak l WHERE (l.site_id, l.joint_id, l.observed_at) = (c.site_id, c.joint_id, c.observed_at))",
    )
    assert unanswered == [(0,)]


def test_a_dozen_people_and_forty_tools_made_it_and_one_wrench_was_found_out_when_all_was_recorded(
    standing: Standing,
) -> None:
    database, site, *_ = standing
    assert rows(database, site, "SELECT count(*) FROM person") == [(12,)]
    assert rows(database, site, "SELECT count(*) FROM tool") == [(40,)]
    bad = rows(
        database,
        site,
        "SELECT t.serial, c.calibrated_on FROM calibration c JOIN tool t USING (site_id, tool_id)"
        " WHERE c.as_found = 'out of tolerance'",
    )
    assert [(serial, day.month) for serial, day in bad] == [("TW-014", 3)]
    suspect = rows(
        database,
        site,
        "SELECT m.verdict, m.made_up_on, m.judged FROM make_up m JOIN make_up_tool USING (site_id, make_up_id)"
        " JOIN tool t USING (site_id, tool_id) WHERE t.serial = 'TW-014'"
        f" AND m.made_up_on BETWEEN '{bad[0][1] - timedelta(days=365)}' AND '{bad[0][1]}'",
    )
    assert len(suspect) >= 3
    assert {(verdict, judged) for verdict, _, judged in suspect} == {("accepted", "in retrospect")}
    assert not rows(
        database,
        site,
        "SELECT 1 FROM make_up_tool u JOIN make_up m USING (site_id, make_up_id) JOIN tool t USING (site_id, tool_id)"
        f" WHERE t.serial = 'TW-014' AND m.made_up_on >= '{bad[0][1]}'",
    )
    lots = rows(database, site, "SELECT DISTINCT kind FROM make_up_lot ORDER BY kind")
    assert lots == [("ferrule_set",), ("gasket",), ("seal_ring",)]
    # Judging in retrospect leaves nearly every record as it was kept: the demo's history is not undone by it.
    turned = rows(
        database,
        site,
        "SELECT count(*) FILTER (WHERE verdict = 'not accepted'"
        '     AND NOT reasons @> \'[{"code": "said-not-accepted"}]\'), count(*) FROM make_up',
    )[0]
    assert turned[0] <= 0.01 * turned[1]


def test_a_second_demo_changes_nothing(standing: Standing) -> None:
    database, site, first, _ = standing
    before = rows(database, site, "SELECT count(*), max(recorded_at) FROM check_result")
    told: list[str] = []
    again, second = build(database, progress=told.append)
    assert again == site
    assert second == first
    assert rows(database, site, "SELECT count(*), max(recorded_at) FROM check_result") == before
    assert "nothing was changed" in told[0]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt])
def test_a_demo_that_is_stopped_leaves_no_site(
    database: Database, monkeypatch: pytest.MonkeyPatch, error: type[BaseException]
) -> None:
    def stop(*_: object) -> None:
        raise error

    with monkeypatch.context() as patch:
        patch.setattr(service, "score_plant", stop)
        with pytest.raises(error):
            build(database)
    with database.transaction() as connection:
        assert list_sites(connection) == []
    _, summary = build(database)
    assert summary.joints == JOINTS


def test_without_history_it_has_joints_and_scores_only(database: Database) -> None:
    site, summary = build(database, history=False)
    assert summary.joints == JOINTS
    assert rows(database, site, "SELECT count(*) FROM check_result") == [(0,)]


def test_of_a_large_plant_the_newest_of_each_joint_is_kept() -> None:
    built = plant(JOINTS, 1, AS_OF)
    life = simulated_life(built, policy_from(default_document(), 1), 1, AS_OF)
    kept = kept_life(life, 500)
    assert kept_life(life, JOINTS) is life
    whole, part = life.history.checks, kept.history.checks
    assert set(part.joint.tolist()) == set(whole.joint.tolist())
    assert (part.joint < 500).sum() == (whole.joint < 500).sum()
    behind = part.joint[part.joint >= 500].tolist()
    assert len(behind) == len(set(behind))
    newest = dict(zip(life.history.checks.joint.tolist(), life.history.checks.day.tolist(), strict=True))
    assert dict(zip(kept.history.checks.joint.tolist(), kept.history.checks.day.tolist(), strict=True)) == newest


def test_its_files_load_as_a_users_would(database: Database, tmp_path: Path) -> None:
    written = {path.name: path for path in write_files(tmp_path / "files", 800, 4, AS_OF)}
    assert {"plot_plan.geojson", "joints.csv", "checks.csv", "leaks.csv", "truth.json"} <= set(written)
    assert pl.read_csv(written["joints.csv"]).height == 800
    with database.owner() as owner:
        site_id = owner.execute("INSERT INTO site (code, name) VALUES ('files', 'files') RETURNING site_id").fetchone()
    assert site_id is not None
    with database.transaction(site_id[0]) as connection:
        publish_first(connection)
        plan = import_plan_file(connection, written["plot_plan.geojson"].read_bytes(), "plot_plan.geojson")
        report = import_list(connection, read_table(written["joints.csv"]), FileMapping(), False, AS_OF)
    assert plan.faults == ()
    assert (report.added, report.refused) == (800, 0)
