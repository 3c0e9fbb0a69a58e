"""Past make-ups from a list: judged in retrospect by what they say, never refused for that, and loaded once."""

from datetime import date

import pytest

from registry.assembly.service import record_make_up
from registry.db import Connection
from registry.intake.model import IntakeReport
from registry.makeup.model import MakeUp
from registry.makeup.service import import_make_ups, make_ups_of_joint
from registry.papers.service import import_calibrations
from registry.setup.store import read_ledger_state
from tests.database.make_up_papers import prepared, sent, take_in
from tests.database.small_site import AS_OF

HEAD = "tag,made_up_on,fitter,witness,method,verdict,procedure,torque_n_m,turns,tools,ferrule_lot\n"
ACCEPTED = "H2-0001,2026-05-04,Ann Fitter,W. Witness,torque,accepted,ferrule-mp-half-inch-torque,150,1.0,TW-014,FL-1\n"


@pytest.fixture
def site(connection: Connection) -> Connection:
    prepared(connection)
    return connection


def loaded(site: Connection, row: str, head: str = HEAD) -> tuple[IntakeReport, MakeUp]:
    report = take_in(site, import_make_ups, head + row)
    assert report.issues == ()
    return report, make_ups_of_joint(site, row.split(",")[0])[-1]


def codes(make_up: MakeUp, kind: str) -> set[str]:
    return {reason["code"] for reason in make_up.reasons or () if reason["kind"] == kind}


def test_a_whole_old_record_is_accepted_with_its_tools_and_lots(site: Connection) -> None:
    report, found = loaded(site, ACCEPTED)
    assert (report.added, report.notes) == (1, ())
    assert (found.verdict, found.judged) == ("accepted", "in retrospect")
    assert (found.tools, found.lots) == (["TW-014"], ["ferrule_set:FL-1"])
    assert (found.procedure_code, found.procedure_version) == ("ferrule-mp-half-inch-torque", 1)
    assert found.answers == {
        "torqued": 150,
        "turned-by-torque": 1,
        "torque-wrench": "TW-014",
        "ferrule-lot": "FL-1",
    }
    # What nobody asked at that time is passed over, and said so.
    assert codes(found, "passed over") == {"steps-not-asked"}


@pytest.mark.parametrize(
    ("old", "new", "kind", "code"),
    [
        ("1.0,TW-014", "0.4,TW-014", "questioned", "turns-disagree-with-torque"),
        ("torque,150", "torque,120", "refused", "torque-off"),
        ("TW-014", "TW-015", "refused", "tool-out-of-calibration"),
        ("TW-014", "", "refused", "torque-wrench-missing"),
        ("Ann Fitter", "Ben Lapsed", "refused", "fitter-not-qualified"),
        ("Ann Fitter", "", "refused", "fitter-missing"),
        ("W. Witness", "ann fitter", "refused", "witness-is-fitter"),
        (",accepted", ",failed", "refused", "said-not-accepted"),
    ],
)
def test_what_stands_against_an_old_record_is_a_reason_and_refuses_no_row(
    site: Connection, old: str, new: str, kind: str, code: str
) -> None:
    row = ACCEPTED.replace(old, new)
    assert row != ACCEPTED
    report, found = loaded(site, row)
    assert report.added == 1
    assert found.verdict == "not accepted"
    assert code in codes(found, kind)
    assert bool(report.notes) == (code != "said-not-accepted")
    assert all("in retrospect" in note for note in report.notes)
    again = take_in(site, import_make_ups, HEAD + row)
    assert (again.added, again.unchanged, again.issues) == (0, 1, ())


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("TW-014", "TW-777", "tool-unknown"),
        ("2026-05-04", "2019-05-04", "tool-without-calibration"),
        ("2026-05-04", "2019-05-04", "fitter-not-qualified"),
        ("Ann Fitter", "Long Gone", "fitter-not-qualified"),
        (",ferrule-mp-half-inch-torque,150,1.0", ",,,", "procedure-missing"),
    ],
)
def test_what_an_old_record_could_not_hold_is_passed_over_and_said_so(
    site: Connection, old: str, new: str, code: str
) -> None:
    _, found = loaded(site, ACCEPTED.replace(old, new))
    assert found.verdict == "accepted"
    assert code in codes(found, "passed over")


def test_readings_without_a_procedure_are_held_against_the_likely_one(site: Connection) -> None:
    row = ACCEPTED.replace("ferrule-mp-half-inch-torque", "").replace("1.0,TW", "0.4,TW")
    _, found = loaded(site, row)
    assert found.procedure_code == "ferrule-mp-half-inch-torque"
    assert codes(found, "questioned") == {"turns-disagree-with-torque"}


def test_a_torque_in_another_unit_comes_in_newton_metres(site: Connection) -> None:
    row = ACCEPTED.replace(",150,", ",110,")
    _, found = loaded(site, row, HEAD.replace("torque_n_m", "torque_lbf_ft"))
    assert found.torque_n_m == pytest.approx(149.14, abs=0.005)
    assert found.verdict == "accepted"


def test_an_unknown_procedure_keeps_the_whole_list_out(site: Connection) -> None:
    text = HEAD + ACCEPTED.replace("ferrule-mp-half-inch-torque", "no-such") + ACCEPTED.replace("H2-0001", "J-00001")
    report = take_in(site, import_make_ups, text)
    assert not report.loaded
    assert [(issue.row, issue.column) for issue in report.issues] == [(2, "procedure")]
    assert make_ups_of_joint(site, "H2-0001") == []


def test_another_torque_under_the_same_day_contradicts(site: Connection) -> None:
    loaded(site, ACCEPTED)
    report = take_in(site, import_make_ups, HEAD + ACCEPTED.replace(",150,", ",151,"))
    assert [(issue.row, issue.column) for issue in report.issues] == [(2, "torque_n_m")]


def test_several_tools_of_one_record_are_all_kept(site: Connection) -> None:
    _, found = loaded(site, ACCEPTED.replace("TW-014", '"tw-014; GG-001;TW-777"'))
    assert found.tools == ["GG-001", "TW-014"]
    assert codes(found, "passed over") >= {"tool-unknown"}
    assert found.answers is not None
    assert found.answers["gap-gauge-tool"] == "GG-001"
    assert found.answers["TW-777"] == "TW-777"


def test_a_calibration_that_comes_to_light_later_changes_no_verdict_that_was_given(site: Connection) -> None:
    _, found = loaded(site, ACCEPTED)
    take_in(
        site,
        import_calibrations,
        "serial,calibrated_on,valid_until_on,as_found\nTW-014,2026-11-20,2027-11-19,out of tolerance\n",
    )
    assert make_ups_of_joint(site, "H2-0001") == [found]
    assert take_in(site, import_make_ups, HEAD + ACCEPTED).unchanged == 1


def test_a_correction_of_an_old_record_is_judged_in_retrospect_too(site: Connection) -> None:
    _, found = loaded(site, ACCEPTED.replace("1.0,TW", "0.4,TW"))
    bare = sent("H2-0001", made_up_on=date(2026, 5, 4), supersedes=found.make_up_id, reason="1.0 was read as 0.4")
    for key in ("tube-end", "depth-mark", "inserted", "gap-gauge"):
        bare.answers[key] = ""  # type: ignore[index]  # a plain dictionary behind a read-only type
    answer = record_make_up(site, bare, AS_OF)
    assert answer.verdict == "accepted"
    assert make_ups_of_joint(site, "H2-0001")[-1].judged == "in retrospect"


def test_old_and_judged_rows_make_one_chain(site: Connection) -> None:
    loaded(site, ACCEPTED)
    record_make_up(site, sent("H2-0001"), AS_OF)
    state = read_ledger_state(site, "make_up")
    assert state.rows > 2
    assert state.breaks == ()
