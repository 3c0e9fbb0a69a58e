"""Recording a make-up: judged on its day, kept in order, corrected with a reason, followed by the due date."""

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from registry.assembly.model import MakeUpReportedOtherwise
from registry.assembly.service import record_make_up
from registry.db import Connection, Database
from registry.intervals.store import read_due
from registry.joints.model import JointUnknown
from registry.joints.service import joint_of_tag
from registry.makeup.model import MakeUpCorrectedBefore, MakeUpUnfit, MakeUpUnknown, ProcedureVersionUnknown
from registry.makeup.procedures import ProcedureUnknown
from registry.makeup.service import (
    make_ups_of_joint,
    publish_first_procedures,
    publish_procedures,
)
from registry.papers.service import (
    import_calibrations,
)
from registry.setup.store import read_ledger_state
from tests.conftest import new_site
from tests.database.make_up_papers import CALIBRATIONS, HALF_INCH, codes, own_procedure, prepared, sent, take_in
from tests.database.small_site import AS_OF, number


@pytest.fixture
def tag(connection: Connection) -> str:
    return prepared(connection)


def test_a_good_make_up_is_accepted_and_moves_the_due_date(connection: Connection, tag: str) -> None:
    answer = record_make_up(connection, sent(tag), AS_OF)
    assert (answer.verdict, answer.reasons, answer.earlier) == ("accepted", [], ())
    assert (answer.procedure, answer.procedure_version) == ("ferrule-mp-half-inch-torque", 1)
    due = read_due(connection, answer.joint_id)
    assert due is not None
    assert answer.new_due_on == due[0]
    assert answer.new_due_on > AS_OF
    assert answer.old_due_on != answer.new_due_on
    # The settling check of its family follows the make-up, unless the periodic one comes before it.
    assert answer.new_due_on <= AS_OF + timedelta(days=30)
    kept = make_ups_of_joint(connection, tag)[0]
    assert (kept.tools, kept.lots, kept.torque_n_m, kept.turns) == (["TW-014"], ["ferrule_set:FL-2207"], 150.0, 1.0)
    assert (kept.judged, kept.kind, kept.method) == ("at make-up", "first", "torque")
    assert kept.answers is not None
    assert kept.answers["gap-gauge"] is False
    assert kept.answers["torque-wrench"] == "TW-014"


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"answers": {"torque-wrench": "TW-015"}}, ("refused", "tool-out-of-calibration")),
        ({"answers": {"torque-wrench": "TW-016"}}, ("refused", "tool-without-calibration")),
        ({"answers": {"torque-wrench": "TW-999"}}, ("refused", "tool-unknown")),
        ({"answers": {"torque-wrench": "GG-001"}}, ("refused", "tool-wrong-kind")),
        ({"tools": ["TW-015"]}, ("refused", "tool-out-of-calibration")),
        ({"fitter": "Ben Lapsed"}, ("refused", "fitter-not-qualified")),
        ({"fitter": "Nobody Known"}, ("refused", "fitter-not-qualified")),
        ({"fitter": None}, ("refused", "fitter-missing")),
        ({"witness": "ann FITTER"}, ("refused", "witness-is-fitter")),
        ({"answers": {"gap-gauge": "yes"}}, ("refused", "gap-gauge-failed")),
        ({"answers": {"depth-mark": True}}, ("refused", "depth-mark-failed")),
        ({"answers": {"inserted": ""}}, ("refused", "inserted-missing")),
        ({"answers": {"torqued": 120}}, ("refused", "torque-off")),
        ({"answers": {"turned-by-torque": "0.4"}}, ("questioned", "turns-disagree-with-torque")),
    ],
)
def test_what_is_wrong_is_kept_and_not_accepted(
    connection: Connection, tag: str, changed: dict[str, Any], reason: tuple[str, str]
) -> None:
    before = read_due(connection, joint_of_tag(connection, tag).joint_id)
    answer = record_make_up(connection, sent(tag, **changed), AS_OF)
    assert answer.verdict == "not accepted"
    assert reason in codes(answer.reasons)
    assert make_ups_of_joint(connection, tag)[0].reasons == answer.reasons
    # What is not accepted counts for no satisfactory state: the joint stays due as it was.
    assert read_due(connection, answer.joint_id) == before


def test_a_calibration_is_judged_on_the_day_of_the_make_up(connection: Connection, tag: str) -> None:
    early = sent(tag, made_up_on=date(2026, 2, 1), answers={"torque-wrench": "TW-015"})
    assert record_make_up(connection, early, AS_OF).verdict == "accepted"
    late = sent(tag, made_up_on=date(2026, 3, 2), answers={"torque-wrench": "TW-015"})
    assert record_make_up(connection, late, AS_OF).verdict == "not accepted"


def test_a_tool_found_out_later_questions_what_is_recorded_since(connection: Connection, tag: str) -> None:
    head = CALIBRATIONS.partition("\n")[0]
    take_in(connection, import_calibrations, f"{head}\nTW-014,2026-11-20,2027-11-19,out of tolerance,C-20\n")
    answer = record_make_up(connection, sent(tag, made_up_on=date(2026, 10, 1)), AS_OF)
    assert codes(answer.reasons) == {("questioned", "tool-found-out-of-tolerance")}


def test_the_same_report_again_adds_nothing_and_another_under_its_uuid_is_refused(
    connection: Connection, tag: str
) -> None:
    report = sent(tag, answers={"gap-gauge": "yes"}, notes=" looked twice ")
    first = record_make_up(connection, report, AS_OF)
    second = record_make_up(connection, report, AS_OF)
    assert second.repeated
    assert not first.repeated
    assert (second.make_up_id, second.verdict, second.reasons) == (first.make_up_id, first.verdict, first.reasons)
    assert len(make_ups_of_joint(connection, tag)) == 1
    with pytest.raises(MakeUpReportedOtherwise):
        record_make_up(connection, replace(report, answers={**report.answers, "torqued": 151}), AS_OF)


def test_a_report_sent_again_after_a_new_version_was_published_is_still_the_same(
    connection: Connection, tag: str
) -> None:
    report = sent(tag)
    first = record_make_up(connection, report, AS_OF)
    publish_procedures(connection, own_procedure(), "E. Engineer", "wider band")
    again = record_make_up(connection, report, AS_OF)
    assert (again.repeated, again.make_up_id, again.procedure_version) == (True, first.make_up_id, 1)
    assert record_make_up(connection, sent(tag), AS_OF).procedure_version == 2


def test_a_correction_takes_the_place_of_a_record_and_says_why(connection: Connection, tag: str) -> None:
    wrong = record_make_up(connection, sent(tag, answers={"torque-wrench": "TW-015"}), AS_OF)
    with pytest.raises(MakeUpUnfit, match="refused"):
        record_make_up(connection, sent(tag, supersedes=wrong.make_up_id), AS_OF)
    right = record_make_up(connection, sent(tag, supersedes=wrong.make_up_id, reason="the serial was misread"), AS_OF)
    assert (wrong.verdict, right.verdict) == ("not accepted", "accepted")
    first, second = make_ups_of_joint(connection, tag)
    assert (first.superseded_by, second.supersedes, second.reason) == (
        right.make_up_id,
        wrong.make_up_id,
        "the serial was misread",
    )
    accepted = connection.execute(
        "SELECT make_up_id, accepted FROM joint_last_make_up WHERE joint_id = %s", [right.joint_id]
    ).fetchall()
    assert accepted == [(right.make_up_id, True)]
    with pytest.raises(MakeUpCorrectedBefore):
        record_make_up(connection, sent(tag, supersedes=wrong.make_up_id, reason="again"), AS_OF)
    with pytest.raises(MakeUpUnknown):
        record_make_up(connection, sent(tag, supersedes=2**40, reason="?"), AS_OF)


def test_a_correction_to_another_joint_frees_the_first(connection: Connection, tag: str) -> None:
    before = read_due(connection, joint_of_tag(connection, tag).joint_id)
    wrong = record_make_up(connection, sent(tag), AS_OF)
    connection.execute(
        "INSERT INTO joint (site_id, tag, family_id, service_id, size_mm, location, pressure_barg, intake_id)"
        " SELECT site_id, 'H2-0002', family_id, 1, 12.7, point(6, 6), 400, intake_id FROM joint WHERE tag = %s",
        [tag],
    )
    record_make_up(connection, sent("H2-0002", supersedes=wrong.make_up_id, reason="the wrong tag was scanned"), AS_OF)
    assert read_due(connection, wrong.joint_id) == before


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"tag": "NO-SUCH"}, JointUnknown),
        ({"made_up_on": AS_OF + timedelta(days=1)}, MakeUpUnfit),
        ({"procedure": "no-such"}, ProcedureUnknown),
        ({"procedure": "ferrule-mp-half-inch-torque", "procedure_version": 7}, ProcedureVersionUnknown),
        ({"procedure": "ferrule-mp-half-inch-torque", "method": "turns"}, MakeUpUnfit),
        ({"procedure_version": 1}, MakeUpUnfit),
        ({"method": None}, MakeUpUnfit),
        ({"answers": {"no-such-step": "yes"}}, MakeUpUnfit),
        ({"answers": {"torqued": "tight"}}, MakeUpUnfit),
        ({"answers": {"torqued": True}}, MakeUpUnfit),
        ({"answers": {"torqued": "nan"}}, MakeUpUnfit),
        ({"answers": {"gap-gauge": "maybe"}}, MakeUpUnfit),
        ({"answers": {"torque-wrench": True}}, MakeUpUnfit),
        ({"answers": {"mark-reached": "yes"}}, MakeUpUnfit),
    ],
)
def test_what_cannot_be_taken_is_refused_and_nothing_is_kept(
    connection: Connection, tag: str, changed: dict[str, Any], error: type[Exception]
) -> None:
    before = number(connection, "SELECT count(*) FROM make_up")
    with pytest.raises(error):
        record_make_up(connection, sent(**{"tag": tag, **changed}), AS_OF)
    assert number(connection, "SELECT count(*) FROM make_up") == before


def test_a_joint_that_no_procedure_is_for_is_kept_and_not_accepted(connection: Connection, tag: str) -> None:
    answer = record_make_up(connection, sent(tag, method="tension", answers=dict.fromkeys(HALF_INCH, "")), AS_OF)
    assert ("refused", "procedure-missing") in codes(answer.reasons)
    assert answer.procedure is None


def test_two_at_once_on_one_joint_are_kept_in_order_and_the_later_sees_the_earlier(database: Database) -> None:
    site_id = new_site(database, "two-at-once")
    with database.transaction(site_id) as connection:
        tag = prepared(connection)
        publish_first_procedures(connection)
    together = threading.Barrier(6)

    def record(fitter: str) -> Any:
        together.wait(timeout=30)
        with database.transaction(site_id) as connection:
            return record_make_up(connection, sent(tag, fitter=fitter), AS_OF)

    with ThreadPoolExecutor(6) as fitters:
        answers = sorted(
            fitters.map(record, ["Ann Fitter", "Ben Lapsed"] * 3), key=lambda answer: int(answer.make_up_id)
        )
    for at, answer in enumerate(answers):
        seen = [each.make_up_id for each in answer.earlier]
        assert seen == [each.make_up_id for each in reversed(answers[:at])][:5]
    with database.transaction(site_id) as connection:
        kept = [each.make_up_id for each in make_ups_of_joint(connection, tag)]
        assert kept == [answer.make_up_id for answer in answers]
        assert read_ledger_state(connection, "make_up").breaks == ()
        last = connection.execute(
            "SELECT make_up_id FROM joint_last_make_up WHERE joint_id = %s", [answers[0].joint_id]
        ).fetchone()
        assert last == (kept[-1],)


def test_the_same_report_twice_at_once_is_kept_once(database: Database) -> None:
    site_id = new_site(database, "same-at-once")
    with database.transaction(site_id) as connection:
        report = sent(prepared(connection))
    together = threading.Barrier(4)

    def record(_: int) -> Any:
        together.wait(timeout=30)
        with database.transaction(site_id) as connection:
            return record_make_up(connection, report, AS_OF)

    with ThreadPoolExecutor(4) as phones:
        answers = list(phones.map(record, range(4)))
    assert sorted(answer.repeated for answer in answers) == [False, True, True, True]
    assert len({answer.make_up_id for answer in answers}) == 1


def test_rows_from_before_the_new_columns_and_rows_with_them_make_one_chain(connection: Connection, tag: str) -> None:
    assert number(connection, "SELECT count(*) FROM make_up WHERE judged IS NULL") > 0
    record_make_up(connection, sent(tag, photos=["photo 1"], notes="Ünïcode"), AS_OF)
    record_make_up(connection, sent(tag, answers={"gap-gauge": "yes", "torqued": 1 / 3 + 150}), AS_OF)
    state = read_ledger_state(connection, "make_up")
    assert state.rows > 2
    assert state.breaks == ()
