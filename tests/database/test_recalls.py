"""Recalls: which joints are called in, when, and what closes them."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest

from registry.checks.model import CheckReport, Result
from registry.checks.service import record_result
from registry.db import Connection
from registry.intervals.service import agrees, rescore, score_plant, why
from registry.intervals.store import read_due
from registry.joints.service import joint_of_tag
from registry.recalls.model import (
    DAYS_BY_CLASS,
    NothingToRecall,
    RaisedRecall,
    RecallRequest,
    RecallUnfit,
    RecallUnknown,
    SubjectUnknown,
)
from registry.recalls.service import raise_recall, read_recall, suspects
from registry.recalls.store import list_recall_areas, list_recalled_joints, list_suspects
from tests.database.made_up import add_tool, make_up
from tests.database.small_site import AS_OF, fill_site

GOOD = ("2025-03-01", "2026-02-28", "in tolerance")
BAD = ("2026-10-01", "2027-09-30", "out of tolerance")
WRENCH = RecallRequest(kind="tool", subject="TW-014")


@pytest.fixture
def tags(connection: Connection) -> list[str]:
    """Joints of a site that is not scored yet and has no make-up but those of a test."""
    fill_site(connection, 40)
    rows = connection.execute(
        "SELECT tag FROM joint j WHERE site_id = current_site()"
        " AND NOT EXISTS (SELECT FROM make_up m WHERE m.joint_id = j.joint_id) ORDER BY tag"
    ).fetchall()
    return [row[0] for row in rows]


def raised(connection: Connection, request: RecallRequest = WRENCH, today: date = AS_OF) -> RaisedRecall:
    return raise_recall(connection, request, reason="out of calibration", raised_by="E. Engineer", today=today)


def called_in(connection: Connection, recall_id: int) -> dict[str, str]:
    return {row.tag: row.state(AS_OF) for row in list_recalled_joints(connection, recall_id)}


def test_a_wrench_is_recalled_from_its_last_good_calibration_to_the_bad_one(
    connection: Connection, tags: list[str]
) -> None:
    wrench = add_tool(connection, "TW-014", ("2024-03-01", "2025-02-28", "in tolerance"), GOOD, BAD)
    other = add_tool(connection, "TW-015", GOOD)
    days = ("2025-02-28", "2025-03-01", "2026-05-04", "2026-10-01", "2026-10-02")
    for tag, day in zip(tags, days, strict=False):
        make_up(connection, tag, day, tools=[wrench])
    make_up(connection, tags[5], "2026-05-04", tools=[other])
    score_plant(connection, AS_OF)
    found = suspects(connection, RecallRequest(kind="tool", subject="tw-014"), AS_OF)
    assert (found.from_on, found.until_on) == (date(2025, 3, 1), date(2026, 10, 1))
    assert "found out of tolerance on 2026-10-01" in found.why
    listed = list_suspects(connection, found.joint_ids, 10)
    assert sorted(joint.tag for joint in listed) == tags[1:4]
    assert [joint.consequence_class for joint in listed] == sorted((j.consequence_class for j in listed), reverse=True)


def test_a_wrench_that_was_never_found_out_is_recalled_up_to_today(connection: Connection, tags: list[str]) -> None:
    wrench = add_tool(connection, "TW-014", GOOD)
    make_up(connection, tags[0], "2026-11-01", tools=[wrench])
    found = suspects(connection, WRENCH, AS_OF)
    assert (found.from_on, found.until_on, len(found.joint_ids)) == (date(2025, 3, 1), AS_OF, 1)


def test_a_joint_that_was_made_again_and_accepted_is_left_out(connection: Connection, tags: list[str]) -> None:
    wrench, other = add_tool(connection, "TW-014", GOOD, BAD), add_tool(connection, "TW-015", GOOD)
    for tag in tags[:3]:
        make_up(connection, tag, "2026-05-04", tools=[wrench])
    make_up(connection, tags[0], "2026-11-01", tools=[other])
    make_up(connection, tags[1], "2026-11-01", tools=[other], verdict="not accepted")
    found = raised(connection)
    assert (found.joints, found.made_again) == (2, 1)
    assert sorted(called_in(connection, found.recall_id)) == tags[1:3]


def test_a_corrected_make_up_counts_as_it_was_corrected(connection: Connection, tags: list[str]) -> None:
    wrench = add_tool(connection, "TW-014", GOOD, BAD)
    wrong = make_up(connection, tags[0], "2026-05-04", tools=[wrench])
    connection.execute(
        "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict, supersedes, reason)"
        " SELECT site_id, joint_id, made_up_on, verdict, make_up_id, 'another wrench' FROM make_up"
        " WHERE site_id = current_site() AND make_up_id = %s",
        [wrong],
    )
    with pytest.raises(NothingToRecall):
        raised(connection)


@pytest.mark.parametrize("kind", ["person", "lot"])
def test_a_fitter_or_a_lot_is_recalled(connection: Connection, tags: list[str], kind: str) -> None:
    make_up(connection, tags[0], "2026-05-04", fitter="B. Fitter", lots=[("gasket", "G-77")])
    make_up(connection, tags[1], "2026-06-04", fitter="B. Fitter", lots=[("ferrule_set", "G-77"), ("tube", "T-1")])
    make_up(connection, tags[2], "2026-06-04", fitter="C. Fitter", lots=[("gasket", "G-78")])
    subject = {"person": "B. Fitter", "lot": "G-77"}[kind]
    found = suspects(connection, RecallRequest(kind=kind, subject=subject), AS_OF)
    assert (found.from_on, found.until_on) == (date(2026, 5, 4), AS_OF)
    assert sorted(j.tag for j in list_suspects(connection, found.joint_ids, 10)) == tags[:2]
    later = RecallRequest(kind=kind, subject=subject, from_on=date(2026, 6, 1))
    assert sorted(j.tag for j in list_suspects(connection, suspects(connection, later, AS_OF).joint_ids, 10)) == [
        tags[1]
    ]


def test_a_procedure_is_recalled_in_one_version_or_in_all(connection: Connection, tags: list[str]) -> None:
    for version, tag in ((1, tags[0]), (2, tags[1])):
        connection.execute(
            "INSERT INTO procedure_version (site_id, code, version, document, published_by, note)"
            " VALUES (current_site(), 'plant-own', %s, '{}', 'E. Engineer', 'made here')",
            [version],
        )
        connection.execute(
            "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict, procedure_code, procedure_version)"
            " SELECT site_id, joint_id, '2026-05-04', 'accepted', 'plant-own', %s FROM joint"
            " WHERE site_id = current_site() AND tag = %s",
            [version, tag],
        )
    for subject, tagged in (("plant-own/2", tags[1:2]), ("plant-own", tags[:2])):
        found = suspects(connection, RecallRequest(kind="procedure", subject=subject), AS_OF)
        assert sorted(j.tag for j in list_suspects(connection, found.joint_ids, 10)) == tagged


def test_checks_are_raised_by_consequence_and_the_due_dates_move_as_a_new_score_would_have_them(
    connection: Connection, tags: list[str]
) -> None:
    wrench = add_tool(connection, "TW-014", GOOD, ("2026-11-24", "2027-11-23", "out of tolerance"))
    for tag in tags[:15]:
        make_up(connection, tag, "2026-11-23", tools=[wrench])
    score_plant(connection, AS_OF)
    query = (
        "SELECT j.tag, s.due_on, s.due_reason, s.consequence_class FROM score s JOIN joint j USING (site_id, joint_id)"
        " WHERE s.site_id = current_site() AND s.score_run_id = current_score_run() ORDER BY j.tag"
    )
    before = {row[0]: row[1:] for row in connection.execute(query).fetchall()}
    found = raised(connection)
    after = {row[0]: row[1:] for row in connection.execute(query).fetchall()}
    joints = list_recalled_joints(connection, found.recall_id)
    for joint in joints:
        old_due_on, old_reason, consequence_class = before[joint.tag]
        assert joint.raised_due_on == AS_OF + timedelta(days=DAYS_BY_CLASS[consequence_class - 1])
        moved = old_due_on > joint.raised_due_on
        assert after[joint.tag][:2] == ((joint.raised_due_on, 5) if moved else (old_due_on, old_reason))
    assert found.moved == sum(row[:2] != before[tag][:2] for tag, row in after.items()) > 0
    assert found.first_due_on == min(joint.raised_due_on for joint in joints)
    told = next(tag for tag, row in after.items() if row[1] == 5)
    account = why(connection, told)
    assert account.due_reason == "recall"
    assert "a recall calls for a check" in account.as_text()
    assert agrees(connection, account)
    rescore(connection)
    assert {row[0]: row[1:] for row in connection.execute(query).fetchall()} == after


def test_a_recall_of_an_unscored_site_takes_its_joints_as_the_worst(connection: Connection, tags: list[str]) -> None:
    make_up(connection, tags[0], "2026-09-20", tools=[add_tool(connection, "TW-014", GOOD, BAD)])
    found = raised(connection)
    assert (found.first_due_on, found.moved) == (AS_OF + timedelta(days=DAYS_BY_CLASS[-1]), 0)


@pytest.mark.parametrize(
    ("result", "state"),
    [("tight", "checked"), ("retightened", "checked"), ("weeping", "open"), ("not_reached", "open")],
)
def test_a_satisfactory_check_closes_a_recall_and_gives_the_due_date_back(
    connection: Connection, tags: list[str], result: Result, state: str
) -> None:
    make_up(connection, tags[0], "2026-09-20", tools=[add_tool(connection, "TW-014", GOOD, BAD)])
    score_plant(connection, AS_OF)
    recall_id = raised(connection, today=date(2026, 11, 24)).recall_id
    joint = joint_of_tag(connection, tags[0])
    moment = datetime.now(UTC) + timedelta(minutes=1)
    record_result(
        connection, CheckReport(tag=tags[0], observed_at=moment, result=result, client_uuid=uuid4()), moment.date()
    )
    assert called_in(connection, recall_id)[tags[0]] == state
    recall = read_recall(connection, recall_id, AS_OF)
    assert (recall.joints, recall.closed) == (1, int(state == "checked"))
    due = read_due(connection, joint.joint_id)
    assert due is not None
    assert (due[1] != 5) or state == "open"
    if state == "checked":
        assert due[0] > moment.date()


def test_a_check_from_before_the_recall_closes_nothing(connection: Connection, tags: list[str]) -> None:
    make_up(connection, tags[0], "2026-09-20", tools=[add_tool(connection, "TW-014", GOOD, BAD)])
    recall_id = raised(connection).recall_id
    seen = datetime.now(UTC) - timedelta(hours=2)
    record_result(connection, CheckReport(tag=tags[0], observed_at=seen, result="tight", client_uuid=uuid4()), AS_OF)
    assert called_in(connection, recall_id) == {tags[0]: "open"}


def test_progress_is_counted_by_area_and_what_is_late_is_said(connection: Connection, tags: list[str]) -> None:
    wrench = add_tool(connection, "TW-014", GOOD, BAD)
    for tag in tags[:12]:
        make_up(connection, tag, "2026-09-20", tools=[wrench])
    recall_id = raised(connection).recall_id
    late = AS_OF + timedelta(days=100)
    areas = list_recall_areas(connection, recall_id, late)
    assert sum(area.joints for area in areas) == 12
    assert sum(area.overdue for area in areas) == 12 == read_recall(connection, recall_id, late).overdue
    pages, after = [], None
    while page := list_recalled_joints(connection, recall_id, after=after, limit=5):
        pages += [joint.tag for joint in page]
        after = (page[-1].raised_due_on, page[-1].joint_id)
    assert sorted(pages) == tags[:12]


def test_what_cannot_be_recalled_is_refused(connection: Connection, tags: list[str]) -> None:
    add_tool(connection, "TW-014", GOOD)
    with pytest.raises(SubjectUnknown):
        raised(connection, RecallRequest(kind="tool", subject="TW-099"))
    with pytest.raises(NothingToRecall):
        raised(connection)
    with pytest.raises(RecallUnfit) as refused:
        raise_recall(connection, WRENCH, reason=" ", raised_by="", today=AS_OF)
    assert [issue.column for issue in refused.value.issues] == ["reason", "raised_by"]
    for unfit in (
        RecallRequest(kind="tool", subject="TW-014", days_by_class=(1, 2, 3)),
        RecallRequest(kind="tool", subject="TW-014", from_on=AS_OF, until_on=AS_OF - timedelta(days=1)),
        RecallRequest(kind="lot", subject=" "),
    ):
        with pytest.raises(RecallUnfit):
            raised(connection, unfit)
    with pytest.raises(RecallUnknown):
        read_recall(connection, 4711, AS_OF)
