"""Readings and histories from files: units, all rows or none, the same file twice, what contradicts."""

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest

from registry.checks.service import import_checks
from registry.commands.load_history import HISTORY, READINGS
from registry.db import Connection
from registry.exposure.service import import_temperatures, import_vibration
from registry.intake.model import ColumnsMissing, FileMapping, IntakeReport, Table
from registry.intake.tables import read_table
from registry.intervals.service import rescore, score_plant
from registry.joints.service import joint_of_tag
from registry.leaks.service import import_leaks
from registry.leaks.store import list_leaks
from registry.makeup.service import import_make_ups
from tests.database.small_site import AS_OF, fill_site, number

Import = Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]


def take_in(
    connection: Connection, take: Import, text: str, *, keep_valid: bool = False, mapping: FileMapping | None = None
) -> IntakeReport:
    mapping = mapping or FileMapping()
    return take(connection, read_table(text.encode(), mapping, "list.csv"), mapping, keep_valid, AS_OF)


@pytest.fixture
def site(connection: Connection) -> Connection:
    fill_site(connection, 12, lines=2)
    return connection


VIBRATION = """tag;line;easting_ft;northing_ft;velocity_in_s_pk;frequency_cpm;observed_at
J-00001;;;;0.5;1500;2026-11-01 10:00
;L-001;100;200;0.25;3000;2026-11-01
;L-001;120;200;0.25;3000;2026-11-01
"""


def test_vibration_readings_come_in_peak_velocity_cycles_a_minute_and_feet(site: Connection) -> None:
    mapping = FileMapping(columns={"east_ft": "easting_ft", "north_ft": "northing_ft"} | {
        name: name for name in ("tag", "line", "velocity_in_s_pk", "frequency_cpm", "observed_at")
    })  # fmt: skip
    report = take_in(site, import_vibration, VIBRATION, mapping=mapping)
    assert (report.added, report.unchanged, report.issues) == (3, 0, ())
    rows = site.execute(
        "SELECT joint_id IS NULL, location[0], velocity_mm_s, frequency_hz, observed_at FROM vibration_reading"
        " WHERE intake_id = %s ORDER BY joint_id NULLS LAST, location[0]",
        [report.intake_id],
    ).fetchall()
    assert rows[0][2] == pytest.approx(0.5 * 25.4 / 2**0.5, rel=1e-12)
    assert rows[0][3] == pytest.approx(25.0, rel=1e-12)
    assert rows[0][4] == datetime(2026, 11, 1, 10, tzinfo=UTC)
    assert rows[1][1] == pytest.approx(30.48, rel=1e-12)
    again = take_in(site, import_vibration, VIBRATION, mapping=mapping)
    assert (again.added, again.changed, again.unchanged, again.intake_id) == (0, 0, 3, None)


def test_the_newest_reading_of_a_joint_moves_its_score(site: Connection) -> None:
    score_plant(site, AS_OF)
    factor = "SELECT vibration_factor FROM score JOIN joint USING (site_id, joint_id) WHERE tag = 'J-00001'"
    take_in(site, import_vibration, "tag,velocity_mm_s,frequency_hz,observed_at\nJ-00001,60,20,2026-11-25 08:00\n")
    rescore(site)
    assert site.execute(factor).fetchone()[0] > 2


def test_a_reading_without_a_subject_or_a_place_is_refused_and_nothing_is_loaded(site: Connection) -> None:
    text = (
        "tag,line,east_m,north_m,velocity_mm_s,observed_at\n"
        "J-00001,,,,3,2026-11-01\n,,,,3,2026-11-01\n,L-001,5,,3,2026-11-01\nNO-SUCH,,,,3,2026-11-01\n"
        ",L-999,1,1,3,2026-11-01\nJ-00002,,,,-3,2026-11-01\nJ-00002,,,,x,2027-11-01\n"
    )
    before = number(site, "SELECT count(*) FROM vibration_reading")
    report = take_in(site, import_vibration, text)
    assert not report.loaded
    assert [(issue.row, issue.column) for issue in report.issues] == [
        (3, "tag"),
        (4, "north_m"),
        (5, "tag"),
        (6, "line"),
        (7, "velocity_mm_s"),
        (8, "velocity_mm_s"),
        (8, "observed_at"),
    ]
    assert number(site, "SELECT count(*) FROM vibration_reading") == before
    kept = take_in(site, import_vibration, text, keep_valid=True)
    assert (kept.loaded, kept.added, kept.refused) == (True, 1, 6)


def test_a_reading_that_contradicts_is_refused(site: Connection) -> None:
    head = "tag,velocity_mm_s,frequency_hz,observed_at\n"
    take_in(site, import_vibration, head + "J-00001,3,20,2026-11-01\n")
    report = take_in(site, import_vibration, head + "J-00001,4,20,2026-11-01\nJ-00001,3,20,2026-11-01\n")
    assert [(issue.row, issue.column) for issue in report.issues] == [(2, "velocity_mm_s"), (3, "velocity_mm_s")]
    within = take_in(site, import_vibration, head + "J-00002,4,20,2026-11-01\nJ-00002,5,20,2026-11-01\n")
    assert [(issue.row, issue.column) for issue in within.issues] == [(3, "velocity_mm_s")]


def test_a_table_without_velocities_is_no_list_of_readings(site: Connection) -> None:
    with pytest.raises(ColumnsMissing, match="velocity"):
        take_in(site, import_vibration, "tag,observed_at\nJ-00001,2026-11-01\n")


# The example series of ASTM E1049-85 (2017), clause 5.4.4, as temperatures an hour apart, with one time given twice.
SERIES = (-2, 1, -3, 5, -1, 3, -4, 4, -2)
HISTORY_TEXT = "tag,observed_at,temperature_degf\n" + "".join(
    f"J-00003,2026-10-0{day + 1} 06:00,{32 + 1.8 * value}\n" for day, value in reversed(list(enumerate(SERIES)))
)


def test_a_temperature_history_is_counted_by_rainflow_at_load(site: Connection) -> None:
    report = take_in(site, import_temperatures, HISTORY_TEXT + "J-00003,2026-10-01 06:00,28.4\n")
    assert (report.added, report.issues) == (10, ())
    ranges, counts, began_at, ended_at = site.execute(
        "SELECT cycle_range_degc, cycle_count, began_at, ended_at FROM temperature_history WHERE intake_id = %s",
        [report.intake_id],
    ).fetchone()
    counted: dict[int, float] = {}
    for size, count in zip(ranges, counts, strict=True):
        counted[round(size, 6)] = counted.get(round(size, 6), 0.0) + count
    assert counted == {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}
    assert (ended_at - began_at).days == 8
    again = take_in(site, import_temperatures, HISTORY_TEXT)
    assert (again.added, again.unchanged, again.intake_id) == (0, 9, None)


def test_a_history_is_refused_as_a_whole_and_the_others_are_kept(site: Connection) -> None:
    text = (
        "tag,line,observed_at,temperature_degc\n"
        "J-00003,,2026-10-01,20\nJ-00003,,2026-10-02,hot\nJ-00003,,2026-10-03,20\n"
        ",L-000,2026-10-01,20\n,L-000,2026-10-09,80\n"
        "J-00004,,2026-10-01,20\n"
        "J-00005,L-001,2026-10-01,20\n,,2026-10-01,20\n"
        "J-00006,,2026-10-01,20\nJ-00006,,2026-10-01,21\nJ-00006,,2026-10-02,21\n"
    )
    report = take_in(site, import_temperatures, text, keep_valid=True)
    assert {issue.row for issue in report.issues} == {2, 3, 4, 7, 8, 9, 10, 11, 12}
    assert (report.added, report.unchanged) == (2, 0)
    assert number(site, "SELECT count(*) FROM temperature_history WHERE intake_id = %s", report.intake_id) == 1


def test_a_history_that_contradicts_is_refused(site: Connection) -> None:
    take_in(site, import_temperatures, HISTORY_TEXT)
    report = take_in(site, import_temperatures, HISTORY_TEXT.replace(",37.4\n", ",37.5\n"))
    assert not report.loaded
    assert len(report.issues) == 9


LEAKS = """tag,observed_at,severity,found_by,screening_ppmv,first_attempt_at,repaired_at,repaired_by,notes
J-00001,2025-03-01 08:15,weep,A. Operator,800,2025-03-02,2025-03-09,R. Repairer,
J-00002,2025-04-01,drip,B. Operator,,,,,at the lower nut
"""


def test_leaks_come_in_with_their_repairs_and_once(site: Connection) -> None:
    before = number(site, "SELECT count(*) FROM leak")
    report = take_in(site, import_leaks, LEAKS)
    assert (report.added, report.changed, report.issues) == (2, 0, ())
    first, second = (list_leaks(site, tag=tag)[-1] for tag in ("J-00001", "J-00002"))
    assert (first.repaired_at, first.first_attempt_at) == (
        datetime(2025, 3, 9, tzinfo=UTC),
        datetime(2025, 3, 2, tzinfo=UTC),
    )
    assert (first.found_during, first.screening_ppmv, second.repaired_at) == ("operation", 800.0, None)
    again = take_in(site, import_leaks, LEAKS)
    assert (again.added, again.changed, again.unchanged, again.intake_id) == (0, 0, 2, None)
    assert number(site, "SELECT count(*) FROM leak") == before + 2


def test_a_repair_that_came_later_is_added_to_its_leak(site: Connection) -> None:
    take_in(site, import_leaks, LEAKS)
    report = take_in(site, import_leaks, LEAKS.replace("B. Operator,,,,", "B. Operator,,,2025-04-20,"))
    assert (report.added, report.changed, report.unchanged) == (0, 1, 1)
    assert list_leaks(site, tag="J-00002")[-1].repaired_at == datetime(2025, 4, 20, tzinfo=UTC)


def test_a_leak_that_contradicts_the_ledger_is_refused(site: Connection) -> None:
    take_in(site, import_leaks, LEAKS)
    other = LEAKS.replace(",drip,", ",spray,").replace("2025-03-09", "2025-03-10")
    report = take_in(site, import_leaks, other)
    assert not report.loaded
    assert [(issue.row, issue.column) for issue in report.issues] == [(2, "repaired_at"), (3, "severity")]
    assert "'drip'" in report.issues[1].reason
    early = take_in(site, import_leaks, "tag,observed_at,severity,repaired_at\nJ-00003,2025-03-02,drip,2025-03-01\n")
    assert "before the leak was found" in early.issues[0].reason


CHECKS = """tag,observed_at,result,screening_ppmv,checked_by
J-00001,2026-11-20 08:00,OK,12,C. Checker
J-00002,2026-11-20 09:00,weeping,900,C. Checker
J-00002,2026-11-21 09:00,leaking,1900,C. Checker
J-00003,2026-11-20 10:00,no access,,C. Checker
J-00004,2026-11-20 10:00,weeping,,C. Checker
J-00004,2026-11-21 10:00,tight,,C. Checker
J-00004,2026-11-22 10:00,weeping,,C. Checker
"""


def test_checks_come_in_once_and_open_each_leak_once(site: Connection) -> None:
    for tag in ("J-00001", "J-00002", "J-00003", "J-00004"):
        for leak in list_leaks(site, tag=tag, only_open=True):
            site.execute(
                "INSERT INTO leak_step (site_id, leak_id, step, observed_at)"
                " VALUES (current_site(), %s, 'repaired', '2026-11-01 00:00+00')",
                [leak.leak_id],
            )
    score_plant(site, AS_OF)
    report = take_in(site, import_checks, CHECKS)
    assert (report.added, report.issues) == (7, ())
    assert report.notes == ("3 leaks were opened by what was found",)
    opened = site.execute(
        "SELECT j.tag FROM leak l JOIN joint j USING (site_id, joint_id) WHERE l.intake_id = %s ORDER BY 1",
        [report.intake_id],
    ).fetchall()
    assert [row[0] for row in opened] == ["J-00002", "J-00004", "J-00004"]
    rescore(site)
    due = "SELECT last_satisfactory_on FROM score WHERE joint_id = %s"
    assert site.execute(due, [joint_of_tag(site, "J-00001").joint_id]).fetchone() == (date(2026, 11, 20),)
    again = take_in(site, import_checks, CHECKS)
    assert (again.added, again.unchanged, again.intake_id) == (0, 7, None)


def test_a_check_finds_the_leak_that_the_leak_list_brought(site: Connection) -> None:
    take_in(site, import_leaks, "tag,observed_at,severity\nJ-00005,2026-11-20 07:00,drip\n")
    report = take_in(site, import_checks, "tag,observed_at,result\nJ-00005,2026-11-20 09:00,leaking\n")
    assert report.notes == ()
    leaks = take_in(site, import_leaks, "tag,observed_at,severity\nJ-00005,2026-11-20 07:00,drip\n")
    assert leaks.unchanged == 1


def test_a_check_that_contradicts_is_refused(site: Connection) -> None:
    take_in(site, import_checks, CHECKS)
    report = take_in(site, import_checks, CHECKS.replace("OK", "retightened"))
    assert [(issue.row, issue.column) for issue in report.issues] == [(2, "result")]
    assert "'tight'" in report.issues[0].reason
    twice = "tag,observed_at,result\nJ-00007,2026-11-01,tight\nJ-00007,2026-11-01,weeping\nJ-00007,2026-11-01,tight\n"
    report = take_in(site, import_checks, twice, keep_valid=True)
    assert [(issue.row, issue.column) for issue in report.issues] == [(3, "result")]
    assert (report.added, report.unchanged) == (1, 1)


MAKE_UPS = """tag,made_up_on,fitter,witness,method,verdict
J-00001,2026-11-20,F. Fitter,W. Witness,torque,accepted
J-00002,2026-11-21,F. Fitter,,turns,failed
"""


def test_make_ups_come_in_once_and_count_in_the_score(site: Connection) -> None:
    report = take_in(site, import_make_ups, MAKE_UPS)
    assert (report.added, report.issues) == (2, ())
    score_plant(site, AS_OF)
    rows = site.execute(
        "SELECT make_up_factor, last_satisfactory_on FROM score JOIN joint USING (site_id, joint_id)"
        " WHERE tag IN ('J-00001', 'J-00002') ORDER BY tag"
    ).fetchall()
    assert rows[0][0] < rows[1][0]
    assert rows[0][1] == date(2026, 11, 20)
    again = take_in(site, import_make_ups, MAKE_UPS)
    assert (again.added, again.unchanged) == (0, 2)
    other = take_in(site, import_make_ups, MAKE_UPS.replace("failed", "accepted"))
    assert [(issue.row, issue.column) for issue in other.issues] == [(3, "verdict")]


def test_a_row_without_a_joint_leaves_the_whole_file_out(site: Connection) -> None:
    for take, text in ((import_leaks, LEAKS), (import_checks, CHECKS), (import_make_ups, MAKE_UPS)):
        before = number(site, "SELECT (SELECT count(*) FROM leak) + (SELECT count(*) FROM check_result)"
                              " + (SELECT count(*) FROM make_up)")  # fmt: skip
        report = take_in(site, take, text.replace("J-00001", "NO-SUCH"))
        assert not report.loaded
        assert [(issue.row, issue.column, issue.value) for issue in report.issues] == [(2, "tag", "NO-SUCH")]
        after = number(site, "SELECT (SELECT count(*) FROM leak) + (SELECT count(*) FROM check_result)"
                             " + (SELECT count(*) FROM make_up)")  # fmt: skip
        assert after == before


def test_every_kind_has_a_name_of_its_own_and_scores_anew(site: Connection) -> None:
    assert len({kind.name for kind in (*READINGS, *HISTORY)}) == 5
    checks = next(kind for kind in HISTORY if kind.name == "checks")
    report = checks.load(site, read_table(CHECKS.encode(), FileMapping(), "c.csv"), FileMapping(), False, AS_OF)
    assert checks.after is not None
    assert "not scored yet" in (checks.after(site, report, AS_OF) or "")
    score_plant(site, AS_OF)
    assert "12 joints were scored anew" in (checks.after(site, report, AS_OF) or "")
