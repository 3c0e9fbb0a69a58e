"""Scoring the plant: what is stored, what is swapped, and that a single joint follows."""

import numpy as np
import pytest

from registry.db import Connection, Database
from registry.intervals import store
from registry.intervals.decisions import DueFilter, NotScored
from registry.intervals.scores import scores
from registry.intervals.service import current_run, due_page, due_pages, read_inputs, reschedule_joints, score_plant
from registry.policy.service import current_policy, policy_of, publish_first
from tests.conftest import new_site
from tests.database.small_site import AS_OF, fill_site, number

pytestmark = pytest.mark.each_server


def test_a_run_stores_what_the_model_says_of_every_joint(connection: Connection) -> None:
    tags = fill_site(connection, 300)
    summary = score_plant(connection, AS_OF)
    assert summary.joints == len(tags)
    policy = current_policy(connection)
    inputs = read_inputs(connection, policy, AS_OF)
    said = scores(inputs, policy, AS_OF)
    stored = connection.execute(
        "SELECT joint_id, defect_rate_per_year, interval_days, due_on, risk_rank, location[0], elevation_m"
        " FROM score WHERE site_id = current_site() ORDER BY joint_id"
    ).fetchall()
    assert [row[0] for row in stored] == said.joint_id.tolist()
    assert [row[1] for row in stored] == said.defect_rate_per_year.tolist()
    assert [row[2] for row in stored] == said.interval_days.tolist()
    assert [row[3] for row in stored] == said.due_on.tolist()
    assert sorted(row[4] for row in stored) == list(range(1, len(tags) + 1))
    assert [row[5] for row in stored] == inputs.joints.east_m.tolist()
    assert np.array_equal([row[6] for row in stored], inputs.joints.elevation_m, equal_nan=True)
    assert summary.beyond_checking == int(said.beyond_checking.sum())
    assert summary.overdue == int((said.due_on < np.datetime64(AS_OF)).sum())


def test_a_new_run_takes_the_place_of_the_one_before(connection: Connection) -> None:
    fill_site(connection, 40)
    first = score_plant(connection, AS_OF)
    second = score_plant(connection, AS_OF)
    assert second.score_run_id > first.score_run_id
    assert current_run(connection).score_run_id == second.score_run_id
    assert number(connection, "SELECT count(*) FROM score WHERE site_id = current_site()") == 40


def test_an_unscored_site_says_so(connection: Connection) -> None:
    with pytest.raises(NotScored, match="jointwright score"):
        due_page(connection, DueFilter())


def test_rescheduling_everything_changes_nothing_when_nothing_happened(connection: Connection) -> None:
    fill_site(connection, 200)
    score_plant(connection, AS_OF)
    before = connection.execute("SELECT * FROM score WHERE site_id = current_site() ORDER BY joint_id").fetchall()
    ids = [row[2] for row in before]
    assert reschedule_joints(connection, ids[:2]) == 2
    assert reschedule_joints(connection, ids) == 200
    after = connection.execute("SELECT * FROM score WHERE site_id = current_site() ORDER BY joint_id").fetchall()
    assert repr(after) == repr(before)


@pytest.mark.parametrize("joints", [1, 2, 3, 4, 25])
def test_rescheduling_agrees_with_scoring_the_whole_plant(connection: Connection, joints: int) -> None:
    fill_site(connection, 200)
    score_plant(connection, AS_OF)
    rows = connection.execute("SELECT joint_id FROM joint WHERE site_id = current_site() ORDER BY 1").fetchall()
    ids = [row[0] for row in rows][::7][:joints]
    connection.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " SELECT current_site(), unnest(%s::int[]), '2026-11-24 12:00+00', 'tight'",
        [ids],
    )
    reschedule_joints(connection, ids)
    chosen = (
        "SELECT joint_id, due_on, due_reason, interval_days, last_satisfactory_on, leak_rate_now_per_year, risk_now,"
        " risk_rank FROM score WHERE site_id = current_site() AND joint_id = ANY(%s) ORDER BY joint_id"
    )
    alone = connection.execute(chosen, [ids]).fetchall()
    assert {row[4].isoformat() for row in alone} == {"2026-11-24"}
    score_plant(connection, AS_OF)
    assert connection.execute(chosen, [ids]).fetchall() == alone


def test_rescheduling_keeps_the_policy_and_day_of_the_run(connection: Connection) -> None:
    fill_site(connection, 30)
    score_plant(connection, AS_OF)
    run = current_run(connection)
    connection.execute(
        "INSERT INTO policy_version (site_id, policy_version, document, published_by, note)"
        " SELECT site_id, 2, jsonb_set(document, '{make_up,no_record}', '50'), 'E. Engineer', 'try' FROM policy_version"
        " WHERE site_id = current_site()"
    )
    before = connection.execute("SELECT * FROM score WHERE site_id = current_site() ORDER BY joint_id").fetchall()
    reschedule_joints(connection, [row[2] for row in before])
    after = connection.execute("SELECT * FROM score WHERE site_id = current_site() ORDER BY joint_id").fetchall()
    assert repr(after) == repr(before)
    assert policy_of(connection, run.policy_version).make_up.no_record != 50


def test_the_due_list_pages_through_every_joint_once_in_order(connection: Connection) -> None:
    fill_site(connection, 120)
    score_plant(connection, AS_OF)
    pages = list(due_pages(connection, DueFilter(), limit=7))
    joints = [joint for page in pages for joint in page]
    assert len(joints) == len({joint.joint_id for joint in joints}) == 120
    keys = [(joint.due_on, -joint.risk_now, joint.joint_id) for joint in joints]
    assert keys == sorted(keys)


def test_the_due_list_filters(connection: Connection) -> None:
    fill_site(connection, 200)
    score_plant(connection, AS_OF)
    everything = due_page(connection, DueFilter(), limit=1000)
    overdue = due_page(connection, DueFilter(before_on=AS_OF), limit=1000)
    assert {joint.tag for joint in overdue} == {joint.tag for joint in everything if joint.due_on < AS_OF}
    jetty = due_page(connection, DueFilter(area="Jetty", family="flanged"), limit=1000)
    assert jetty
    assert {joint.tag for joint in jetty} == {
        joint.tag for joint in everything if joint.area == "Jetty" and joint.family == "flanged"
    }
    until = everything[50].due_on
    found = due_page(connection, DueFilter(until_on=until, service=everything[0].service), limit=1000)
    assert {joint.tag for joint in found} == {
        joint.tag for joint in everything if joint.due_on <= until and joint.service == everything[0].service
    }


def test_another_site_sees_nothing_of_it(connection: Connection) -> None:
    fill_site(connection, 10)
    score_plant(connection, AS_OF)
    connection.execute("SELECT set_config('jointwright.site_id', '0', true)")
    assert store.read_current_run(connection) is None
    assert connection.execute("SELECT count(*) FROM score").fetchone() == (0,)


def test_a_joint_that_came_after_the_run_is_left_for_the_next(connection: Connection) -> None:
    fill_site(connection, 20)
    score_plant(connection, AS_OF)
    new = number(
        connection,
        "INSERT INTO joint (site_id, tag, family_id, service_id, location, pressure_barg, intake_id)"
        " SELECT site_id, 'J-NEW', family_id, service_id, location, pressure_barg, intake_id FROM joint LIMIT 1"
        " RETURNING joint_id",
    )
    worst = number(connection, "SELECT joint_id FROM score ORDER BY risk_rank LIMIT 1")
    assert reschedule_joints(connection, [new, worst]) == 1
    assert number(connection, "SELECT risk_rank FROM score WHERE joint_id = %s", worst) == 1
    assert reschedule_joints(connection, [new]) == 0


def test_scoring_neither_waits_for_a_long_reader_nor_stops_others(database: Database) -> None:
    site_id = new_site(database, "readers")

    def runs_kept() -> int:
        with database.transaction(site_id) as connection:
            return number(connection, "SELECT count(*) FROM pg_inherits WHERE inhparent = 'score'::regclass")

    with database.transaction(site_id) as connection:
        fill_site(connection, 10)
        first = score_plant(connection, AS_OF)
    with database.transaction(site_id) as reader:
        assert number(reader, "SELECT count(*) FROM score") == 10
        with database.transaction(site_id) as connection:
            second = score_plant(connection, AS_OF)
        assert runs_kept() == 2
        with database.transaction(site_id) as connection:
            assert current_run(connection).score_run_id == second.score_run_id > first.score_run_id
            assert len(due_page(connection, DueFilter())) == 10
    with database.transaction(site_id) as connection:
        score_plant(connection, AS_OF)
    assert runs_kept() == 1


def test_a_site_without_joints_is_scored_all_the_same(connection: Connection) -> None:
    publish_first(connection)
    assert score_plant(connection, AS_OF).joints == 0
    assert due_page(connection, DueFilter()) == []
