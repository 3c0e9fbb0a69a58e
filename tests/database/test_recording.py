"""Recording what was found: once, in order, with the due date and the leak ledger following."""

import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest

from registry.checks.model import (
    CheckReport,
    CheckReportedOtherwise,
    CheckRouteUnknown,
    CheckUnfit,
    JointUnnamed,
    Result,
)
from registry.checks.service import record_result, report_leak
from registry.db import Connection, Database
from registry.intervals.decisions import OverrideRequest, OverrideUnfit
from registry.intervals.service import override_interval, overrides_in_force, score_plant
from registry.intervals.store import read_due
from registry.joints.model import JointUnknown
from registry.joints.service import joint_of_tag
from registry.leaks.model import InTheFuture, LeakClosed, LeakReport, LeakReportedOtherwise, LeakUnfit, StepReport
from registry.leaks.service import read_leak, record_step
from registry.leaks.store import list_leaks
from tests.conftest import new_site
from tests.database.small_site import AS_OF, fill_site, number

pytestmark = pytest.mark.each_server

NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


def found(tag: str, result: Result, at: datetime = NOW) -> CheckReport:
    return CheckReport(tag=tag, observed_at=at, result=result, client_uuid=uuid4(), checked_by="C. Checker")


@pytest.fixture
def tags(connection: Connection) -> list[str]:
    """Joints of a scored site that nothing has happened to yet."""
    fill_site(connection, 60)
    score_plant(connection, AS_OF)
    rows = connection.execute(
        "SELECT tag FROM joint j WHERE site_id = current_site()"
        " AND NOT EXISTS (SELECT FROM check_result c WHERE c.joint_id = j.joint_id)"
        " AND NOT EXISTS (SELECT FROM leak l WHERE l.joint_id = j.joint_id) ORDER BY tag"
    ).fetchall()
    return [row[0] for row in rows]


@pytest.mark.parametrize("result", ["tight", "retightened"])
def test_a_satisfactory_check_moves_the_due_date(connection: Connection, tags: list[str], result: Result) -> None:
    joint = joint_of_tag(connection, tags[0])
    before = read_due(connection, joint.joint_id)
    answer = record_result(connection, found(tags[0], result), AS_OF)
    assert before is not None
    assert answer.old_due_on == before[0]
    assert answer.new_due_on == read_due(connection, joint.joint_id)[0]
    assert answer.new_due_on is not None
    assert answer.new_due_on > AS_OF
    assert answer.leak_id is None
    assert not answer.repeated


@pytest.mark.parametrize(("result", "severity"), [("weeping", "weep"), ("leaking", "drip")])
def test_a_leak_found_opens_a_leak_and_leaves_the_joint_due(
    connection: Connection, tags: list[str], result: Result, severity: str
) -> None:
    answer = record_result(connection, replace(found(tags[0], result), screening_ppmv=900.0), AS_OF)
    assert answer.leak_id is not None
    leak = read_leak(connection, answer.leak_id)
    assert (leak.tag, leak.severity, leak.found_during, leak.found_by) == (tags[0], severity, "check", "C. Checker")
    assert (leak.observed_at, leak.screening_ppmv) == (NOW, 900.0)
    assert answer.new_due_on == answer.old_due_on


def test_the_crew_may_say_how_bad_a_leak_is(connection: Connection, tags: list[str]) -> None:
    answer = record_result(connection, replace(found(tags[0], "leaking"), severity="spray"), AS_OF)
    assert answer.leak_id is not None
    assert read_leak(connection, answer.leak_id).severity == "spray"


def test_a_leak_seen_twice_is_one_leak_until_it_is_repaired(connection: Connection, tags: list[str]) -> None:
    first = record_result(connection, found(tags[0], "weeping", NOW - timedelta(days=9)), AS_OF)
    second = record_result(connection, found(tags[0], "leaking", NOW - timedelta(days=5)), AS_OF)
    assert first.leak_id is not None
    assert second.leak_id == first.leak_id
    repaired = StepReport(
        leak_id=first.leak_id, step="repaired", observed_at=NOW - timedelta(days=4), client_uuid=uuid4()
    )
    record_step(connection, repaired, AS_OF)
    third = record_result(connection, found(tags[0], "weeping"), AS_OF)
    assert third.leak_id not in (None, first.leak_id)


def test_not_reached_leaves_everything_as_it_is(connection: Connection, tags: list[str]) -> None:
    answer = record_result(connection, found(tags[0], "not_reached"), AS_OF)
    assert answer.new_due_on == answer.old_due_on
    assert answer.leak_id is None
    assert number(connection, "SELECT count(*) FROM check_result WHERE result = 'not_reached'") == 1


@pytest.mark.parametrize("result", ["tight", "weeping"])
def test_the_same_report_again_adds_nothing(connection: Connection, tags: list[str], result: Result) -> None:
    report = found(tags[0], result)
    first = record_result(connection, report, AS_OF)
    again = record_result(connection, report, AS_OF)
    assert again.repeated
    assert (again.check_result_id, again.leak_id) == (first.check_result_id, first.leak_id)
    assert again.new_due_on == first.new_due_on
    assert number(connection, "SELECT count(*) FROM check_result WHERE client_uuid = %s", report.client_uuid) == 1


def test_the_same_uuid_with_other_content_is_a_conflict(connection: Connection, tags: list[str]) -> None:
    report = found(tags[0], "tight")
    record_result(connection, report, AS_OF)
    for other in (
        replace(report, result="weeping"),
        replace(report, tag=tags[1]),
        replace(report, notes="other"),
        replace(report, observed_at=NOW - timedelta(seconds=1)),
    ):
        with pytest.raises(CheckReportedOtherwise):
            record_result(connection, other, AS_OF)


def test_a_joint_may_be_named_by_its_number(connection: Connection, tags: list[str]) -> None:
    joint = joint_of_tag(connection, tags[3])
    answer = record_result(connection, replace(found("", "tight"), tag=None, joint_id=joint.joint_id), AS_OF)
    assert answer.tag == tags[3]


def test_what_cannot_be_is_refused(connection: Connection, tags: list[str]) -> None:
    report = found(tags[0], "tight")
    with pytest.raises(JointUnknown):
        record_result(connection, replace(report, tag="NO-SUCH"), AS_OF)
    with pytest.raises(JointUnknown):
        record_result(connection, replace(report, tag=None, joint_id=999_999_999), AS_OF)
    for named in (replace(report, tag=None), replace(report, joint_id=1)):
        with pytest.raises(JointUnnamed):
            record_result(connection, named, AS_OF)
    with pytest.raises(CheckRouteUnknown):
        record_result(connection, replace(report, route_id=999_999), AS_OF)
    with pytest.raises(CheckUnfit, match="below zero"):
        record_result(connection, replace(report, screening_ppmv=-1.0), AS_OF)
    with pytest.raises(CheckUnfit, match="no leak"):
        record_result(connection, replace(report, severity="weep"), AS_OF)
    with pytest.raises(CheckUnfit, match="no result"):
        record_result(connection, replace(report, result="fine"), AS_OF)
    assert number(connection, "SELECT count(*) FROM check_result WHERE client_uuid IS NOT NULL") == 0


def test_the_future_is_refused_by_the_calendar_of_utc(connection: Connection, tags: list[str]) -> None:
    with pytest.raises(InTheFuture):
        record_result(connection, found(tags[0], "tight", datetime(2026, 11, 26, 0, 0, tzinfo=UTC)), AS_OF)
    # Eight in the morning of the 26th in the east is still the 25th by UTC.
    east = datetime.fromisoformat("2026-11-26T08:00:00+10:00")
    assert record_result(connection, found(tags[0], "tight", east), AS_OF).new_due_on is not None


def test_a_check_from_before_the_make_up_is_kept_and_moves_nothing(connection: Connection, tags: list[str]) -> None:
    connection.execute("UPDATE joint SET made_up_on = '2026-11-01' WHERE tag = %s", [tags[0]])
    score_plant(connection, AS_OF)
    answer = record_result(connection, found(tags[0], "tight", datetime(2026, 6, 1, tzinfo=UTC)), AS_OF)
    assert answer.new_due_on == answer.old_due_on


def test_without_scores_a_result_is_recorded_all_the_same(connection: Connection) -> None:
    tags = fill_site(connection, 5)
    answer = record_result(connection, found(tags[0], "tight"), AS_OF)
    assert (answer.old_due_on, answer.new_due_on, answer.due_reason) == (None, None, None)
    assert answer.check_result_id > 0


def test_a_leak_calls_its_neighbours_on_the_line_in(connection: Connection) -> None:
    tags = fill_site(connection, 6, lines=1)
    connection.execute("UPDATE joint SET location = point(10, 10), line_id = (SELECT min(line_id) FROM line)")
    for tag in tags:
        record_result(connection, found(tag, "tight", NOW - timedelta(days=1)), AS_OF)
    connection.execute("DELETE FROM joint_last_make_up")
    connection.execute("UPDATE joint SET made_up_on = NULL, pressure_barg = 1")
    score_plant(connection, AS_OF)
    reasons = "SELECT j.tag, s.due_reason FROM score s JOIN joint j USING (site_id, joint_id) ORDER BY j.tag"
    before = dict(connection.execute(reasons).fetchall())
    assert 3 not in before.values()
    report_leak(connection, LeakReport(tag=tags[0], observed_at=NOW, severity="drip", client_uuid=uuid4()), AS_OF)
    after = dict(connection.execute(reasons).fetchall())
    assert after[tags[0]] == before[tags[0]]
    assert 3 in {after[tag] for tag in tags[1:]}
    chosen = "SELECT joint_id, due_on, due_reason, interval_days, risk_now, risk_rank FROM score ORDER BY joint_id"
    stored = connection.execute(chosen).fetchall()
    score_plant(connection, AS_OF)
    assert connection.execute(chosen).fetchall() == stored


def test_leaks_and_repairs_are_recorded_once(connection: Connection, tags: list[str]) -> None:
    report = LeakReport(tag=tags[0], observed_at=NOW - timedelta(days=3), severity="drip", client_uuid=uuid4())
    leak_id = report_leak(connection, report, AS_OF)
    assert report_leak(connection, report, AS_OF) == leak_id
    with pytest.raises(LeakReportedOtherwise):
        report_leak(connection, replace(report, severity="spray"), AS_OF)
    with pytest.raises(InTheFuture):
        report_leak(connection, replace(report, observed_at=NOW + timedelta(days=1), client_uuid=uuid4()), AS_OF)
    with pytest.raises(LeakUnfit):
        report_leak(connection, replace(report, screening_ppmv=-5.0, client_uuid=uuid4()), AS_OF)
    step = StepReport(leak_id=leak_id, step="repaired", observed_at=NOW, client_uuid=uuid4(), done_by="R. Repairer")
    with pytest.raises(LeakUnfit, match="after this was done"):
        record_step(connection, replace(step, observed_at=NOW - timedelta(days=4)), AS_OF)
    assert record_step(connection, step, AS_OF) == record_step(connection, step, AS_OF)
    with pytest.raises(LeakReportedOtherwise):
        record_step(connection, replace(step, done_by="somebody else"), AS_OF)
    with pytest.raises(LeakClosed):
        record_step(connection, replace(step, client_uuid=uuid4()), AS_OF)
    assert read_leak(connection, leak_id).repaired_at == NOW
    assert leak_id not in {leak.leak_id for leak in list_leaks(connection, only_open=True)}


def test_an_override_sets_the_interval_while_it_lasts(connection: Connection, tags: list[str]) -> None:
    record_result(connection, found(tags[0], "tight"), AS_OF)
    request = OverrideRequest(
        tag=tags[0], interval_days=200.5, until_on=AS_OF, decided_by="E. Engineer", reason="new gasket on trial"
    )
    override_interval(connection, request)
    chosen = (
        "SELECT interval_days, interval_limit, due_on FROM score JOIN joint j USING (site_id, joint_id)"
        " WHERE j.tag = %s"
    )
    days, limit, due_on = connection.execute(chosen, [tags[0]]).fetchone()
    assert (days, limit) == (200.5, 3)
    assert due_on <= AS_OF + timedelta(days=200)
    assert [(o.tag, o.decided_by, o.reason) for o in overrides_in_force(connection, AS_OF)] == [
        (tags[0], "E. Engineer", "new gasket on trial")
    ]
    assert overrides_in_force(connection, AS_OF + timedelta(days=1)) == []
    override_interval(connection, replace(request, until_on=AS_OF - timedelta(days=1), reason="trial ended early"))
    assert connection.execute(chosen, [tags[0]]).fetchone()[1] != 3


def test_an_override_without_a_reason_a_person_or_days_is_refused(connection: Connection, tags: list[str]) -> None:
    with pytest.raises(OverrideUnfit) as refused:
        override_interval(
            connection, OverrideRequest(tag=tags[0], interval_days=0, until_on=AS_OF, decided_by=" ", reason="")
        )
    assert {issue.column for issue in refused.value.issues} == {"interval_days", "decided_by", "reason"}


def test_a_result_sent_twice_at_once_counts_once(database: Database) -> None:
    site_id = new_site(database, "race")
    with database.transaction(site_id) as connection:
        tags = fill_site(connection, 20)
        score_plant(connection, AS_OF)
        stood = number(connection, "SELECT count(*) FROM check_result")
    report = found(tags[0], "weeping")
    answers: list[tuple[int, int | None]] = []

    def send() -> None:
        with database.transaction(site_id) as connection:
            answer = record_result(connection, report, AS_OF)
            answers.append((answer.check_result_id, answer.leak_id))

    senders = [threading.Thread(target=send) for _ in range(6)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()
    assert len(answers) == 6
    assert len(set(answers)) == 1
    with database.transaction(site_id) as connection:
        assert number(connection, "SELECT count(*) FROM check_result") == stood + 1


def test_results_recorded_while_the_plant_is_scored_are_not_lost_in_the_swap(database: Database) -> None:
    site_id = new_site(database, "swap")
    with database.transaction(site_id) as connection:
        tags = fill_site(connection, 40)
        score_plant(connection, AS_OF)
    faults: list[BaseException] = []

    def keep_scoring() -> None:
        try:
            for _ in range(6):
                with database.transaction(site_id) as connection:
                    score_plant(connection, AS_OF)
        except BaseException as exc:
            faults.append(exc)

    def record(chosen: list[str], result: Result) -> None:
        try:
            for tag in chosen:
                with database.transaction(site_id) as connection:
                    record_result(connection, found(tag, result), AS_OF)
        except BaseException as exc:
            faults.append(exc)

    at_work = [
        threading.Thread(target=keep_scoring),
        threading.Thread(target=record, args=(tags[:12], "tight")),
        threading.Thread(target=record, args=(tags[12:20], "weeping")),
        threading.Thread(target=record, args=(tags[20:32], "retightened")),
    ]
    for thread in at_work:
        thread.start()
    for thread in at_work:
        thread.join()
    assert faults == []
    with database.transaction(site_id) as connection:
        rows = connection.execute(
            "SELECT j.tag FROM score s JOIN joint j USING (site_id, joint_id) WHERE last_satisfactory_on = %s", [AS_OF]
        ).fetchall()
    assert {row[0] for row in rows} >= {*tags[:12], *tags[20:32]}


def test_today_is_given_not_read(connection: Connection, tags: list[str]) -> None:
    with pytest.raises(InTheFuture):
        record_result(connection, found(tags[0], "tight"), date(2026, 11, 24))
