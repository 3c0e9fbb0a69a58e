"""Procedures published by version; people, tools and calibrations from lists, and what of them runs out."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest

from registry.assembly.service import record_make_up
from registry.db import Connection, Database
from registry.intake.model import IntakeReport
from registry.makeup.model import MakeUpUnfit
from registry.makeup.procedures import ProcedureInvalid
from registry.makeup.reading_procedures import shipped_procedures
from registry.makeup.service import (
    procedure_of,
    procedures_of_joint,
    publish_first_procedures,
    publish_procedures,
)
from registry.papers.service import (
    expiring,
    import_calibrations,
    import_people,
    import_tools,
    person_named,
    tool_of_serial,
)
from tests.conftest import new_site
from tests.database.make_up_papers import CALIBRATIONS, PEOPLE, TOOLS, own_procedure, prepared, sent, take_in
from tests.database.small_site import AS_OF, number


@pytest.fixture
def tag(connection: Connection) -> str:
    return prepared(connection)


def test_the_shipped_procedures_are_version_1_once_even_when_first_asked_at_once(database: Database) -> None:
    site_id = new_site(database, "first-asked")
    together = threading.Barrier(4)

    def ask(_: int) -> int:
        together.wait(timeout=30)
        with database.transaction(site_id) as connection:
            return len(publish_first_procedures(connection))

    with ThreadPoolExecutor(4) as asking:
        assert set(asking.map(ask, range(4))) == {len(shipped_procedures())}
    with database.transaction(site_id) as connection:
        assert publish_first_procedures(connection) == tuple(sorted(shipped_procedures(), key=lambda p: p.code))
        assert number(connection, "SELECT max(version) FROM procedure_version") == 1


def test_a_plant_s_own_version_judges_from_then_on_and_the_old_one_can_still_be_named(
    connection: Connection, tag: str
) -> None:
    low = {"answers": {"torqued": 120.0}}
    assert record_make_up(connection, sent(tag, **low), AS_OF).verdict == "not accepted"
    published = publish_procedures(connection, own_procedure(), "E. Engineer", "our gaskets allow it")
    assert [(each.code, each.version) for each in published] == [("ferrule-mp-half-inch-torque", 2)]
    assert publish_procedures(connection, own_procedure(), "E. Engineer", "once more") == []
    assert record_make_up(connection, sent(tag, **low), AS_OF).verdict == "accepted"
    old = record_make_up(
        connection, sent(tag, procedure="ferrule-mp-half-inch-torque", procedure_version=1, **low), AS_OF
    )
    assert (old.verdict, old.procedure_version) == ("not accepted", 1)
    assert procedure_of(connection, "ferrule-mp-half-inch-torque").title == "Half inch, ours"
    with pytest.raises(ProcedureInvalid):
        publish_procedures(connection, {"procedure": [{"code": "x"}]}, "E. Engineer", "why")
    with pytest.raises(MakeUpUnfit):
        publish_procedures(connection, own_procedure(), " ", "why")


def test_a_joint_is_offered_the_procedures_of_its_family_and_size(connection: Connection, tag: str) -> None:
    found = procedures_of_joint(connection, tag)
    assert {each.family for each in found} == {"ferrule_mp"}
    assert {each.method for each in found} == {"turns", "torque"}
    assert "ferrule-mp-small-torque" not in {each.code for each in found}


def test_people_tools_and_calibrations_come_in_once(connection: Connection, tag: str) -> None:
    for take, text, count in (
        (import_people, PEOPLE, 4),
        (import_tools, TOOLS, 4),
        (import_calibrations, CALIBRATIONS, 2),
    ):
        again = take_in(connection, take, text)
        assert (again.added, again.unchanged, again.issues, again.intake_id) == (0, count, (), None)
    ann = person_named(connection, "ANN fitter")
    assert ann.name == "Ann Fitter"
    assert [(paper.family, paper.size_to_mm) for paper in ann.qualifications] == [
        ("ferrule_mp", None),
        ("flanged", 300),
    ]
    wrench = tool_of_serial(connection, "tw-014")
    assert wrench.low_n_m == 40
    assert wrench.high_n_m == pytest.approx(250 * 1.3558179483314004)
    assert person_named(connection, "W. Witness").qualifications == ()


@pytest.mark.parametrize(
    ("take", "text", "column"),
    [
        (import_people, "name,family\nC. New,flanged\n", "valid_from_on"),
        (import_people, "name,family,valid_from_on\nC. New,no_such,2026-01-01\n", "family"),
        (import_people, "name,valid_from_on,valid_until_on\nC. New,2026-01-02,2026-01-01\n", "valid_until_on"),
        (import_people, PEOPLE.replace("2026-12-15", "2029-12-15"), "valid_until_on"),
        (import_tools, "serial,kind\nX,hammer\n", "kind"),
        (import_tools, "serial,kind,low_n_m,high_n_m\nX,torque wrench,100,50\n", "high_n_m"),
        (import_tools, "serial,kind\ntw-014,gap gauge\n", "kind"),
        (import_calibrations, CALIBRATIONS.replace("TW-014", "TW-999"), "serial"),
        (import_calibrations, CALIBRATIONS.replace("2027-03-01", "2026-03-01"), "valid_until_on"),
        (import_calibrations, CALIBRATIONS.replace("2027-03-01", "2027-02-01"), "valid_until_on"),
    ],
)
def test_a_row_with_a_fault_keeps_the_whole_list_out(
    connection: Connection, tag: str, take: Callable[..., IntakeReport], text: str, column: str
) -> None:
    count = (
        "SELECT (SELECT count(*) FROM person) + (SELECT count(*) FROM qualification) + (SELECT count(*) FROM tool)"
        " + (SELECT count(*) FROM calibration)"
    )
    before = number(connection, count)
    report = take_in(connection, take, text)
    assert not report.loaded
    assert [issue.column for issue in report.issues] == [column]
    assert number(connection, count) == before


def test_with_keep_valid_the_good_rows_come_in(connection: Connection, tag: str) -> None:
    report = take_in(
        connection, import_tools, "serial,kind\nNEW-1,gap gauge\nNEW-2,hammer\nnew-1,gap gauge\n", keep_valid=True
    )
    assert (report.loaded, report.added, report.unchanged, report.refused) == (True, 1, 1, 1)
    assert tool_of_serial(connection, "NEW-1").kind == "gap_gauge"


def test_what_runs_out_is_listed_and_what_was_renewed_is_not(connection: Connection, tag: str) -> None:
    found = {(each.subject, each.detail): each.valid_until_on for each in expiring(connection, AS_OF, 30)}
    assert found == {
        ("Ann Fitter", "ferrule_mp"): date(2026, 12, 15),
        ("Ben Lapsed", "ferrule_mp"): date(2025, 12, 31),
        ("TW-015", "torque_wrench"): date(2026, 3, 1),
    }
    take_in(
        connection,
        import_calibrations,
        "serial,calibrated_on,valid_until_on,as_found\nTW-015,2026-11-20,2027-11-19,in tolerance\n",
    )
    take_in(
        connection,
        import_people,
        "name,family,valid_from_on,valid_until_on\nBen Lapsed,ferrule_mp,2026-11-01,2029-10-31\n",
    )
    assert [each.subject for each in expiring(connection, AS_OF, 30)] == ["Ann Fitter"]
