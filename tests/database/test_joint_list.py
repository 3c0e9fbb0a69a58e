"""Joint lists into the register: all or none, the good rows, differences, the same again."""

import datetime as dt
from collections import Counter
from pathlib import Path

import polars as pl
import pytest

from registry.db import Connection
from registry.errors import Issue
from registry.intake.mapping_file import read_mapping
from registry.intake.model import FileMapping, IntakeReport
from registry.intake.refused import refused_file
from registry.intake.store import list_intakes
from registry.intake.tables import read_table
from registry.joints import store
from registry.joints.model import JointFilter, JointUnknown, RegisterNotReady
from registry.joints.service import import_list, joint_of_tag, list_columns, preview_list
from registry.plant.service import import_plan_file
from registry.plant.store import read_plan
from registry.policy.service import publish_first
from tests.database.small_site import number

pytestmark = pytest.mark.each_server

FIXTURES = Path(__file__).parents[1] / "fixtures"
TODAY = dt.date(2026, 11, 25)
HEAD = "tag,family,service,east_m,north_m,pressure_barg"


@pytest.fixture
def site(connection: Connection) -> Connection:
    """A transaction in a new site that has the shipped policy."""
    publish_first(connection)
    return connection


def load(site: Connection, text: str, *, keep_valid: bool = False, mapping: FileMapping | None = None) -> IntakeReport:
    mapping = mapping or FileMapping()
    return import_list(site, read_table(text.encode(), mapping, "list.csv"), mapping, keep_valid, TODAY)


def preview(site: Connection, text: str, *, keep_valid: bool = False) -> IntakeReport:
    mapping = FileMapping()
    return preview_list(site, read_table(text.encode(), mapping, "list.csv"), mapping, keep_valid, TODAY)


def count(site: Connection, table: str) -> int:
    return number(site, f"SELECT count(*) FROM {table}")


def counts(report: IntakeReport) -> tuple[int, int, int, int]:
    return report.added, report.changed, report.unchanged, report.refused


def with_outline(site: Connection, name: str, west: float, east: float) -> None:
    """A plot plan with one more area, 100 m deep."""
    intake = number(
        site,
        "INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)"
        " VALUES (current_site(), 'plot_plan', 'here', '\\x00', 1, 1, 0) RETURNING intake_id",
    )
    area = number(site, "INSERT INTO area (site_id, name) VALUES (current_site(), %s) RETURNING area_id", name)
    ring = f"[[{west},0],[{east},0],[{east},100],[{west},100],[{west},0]]"
    site.execute(
        "INSERT INTO plan_feature (site_id, intake_id, kind, name, area_id, geometry)"
        " VALUES (current_site(), %s, 'area', %s, %s, %s)",
        [intake, name, area, f'{{"type": "Polygon", "coordinates": [{ring}]}}'],
    )


def test_the_sample_loads_its_2808_good_rows_and_names_its_72_bad_ones(site: Connection) -> None:
    mapping = read_mapping(FIXTURES / "joint_schedule.toml")
    table = read_table(FIXTURES / "joint_schedule.xlsx", mapping)

    refused = import_list(site, table, mapping, keep_valid=False, today=TODAY)
    assert not refused.loaded
    assert (refused.rows_read, *counts(refused)) == (2880, 0, 0, 0, 72)
    assert count(site, "joint") == 0

    loaded = import_list(site, table, mapping, keep_valid=True, today=TODAY)
    assert loaded.loaded
    assert counts(loaded) == (2808, 0, 0, 72)
    assert count(site, "joint") == 2808
    assert loaded.issues == refused.issues
    assert len(loaded.issues) == len({issue.row for issue in loaded.issues}) == 72
    assert Counter(kind_of(issue) for issue in loaded.issues) == {
        "repeated tag": 13, "no tag": 9, "words in a coordinate": 10, "below absolute vacuum": 8, "unknown family": 12,
        "in the future": 12, "no pressure": 8,
    }  # fmt: skip
    assert all(issue.column and issue.reason for issue in loaded.issues)
    rows = [issue.row or 0 for issue in loaded.issues]
    assert rows == sorted(rows)
    assert 5 <= rows[0] <= rows[-1] <= 2884
    assert all(
        f"row {(issue.row or 0) - 40} " in issue.reason for issue in loaded.issues if kind_of(issue) == "repeated tag"
    )

    again = import_list(site, table, mapping, keep_valid=True, today=TODAY)
    assert counts(again) == (0, 0, 2808, 72)
    assert any("nothing to change" in note for note in again.notes)
    assert count(site, "joint_change") == 0
    assert count(site, "intake") == 1


def kind_of(issue: Issue) -> str:
    if issue.column == "Joint No.":
        return "no tag" if issue.value is None else "repeated tag"
    if issue.column == "Op Press (psig)":
        return "below absolute vacuum" if "vacuum" in issue.reason else "no pressure"
    kinds = {"X (ft)": "words in a coordinate", "Type": "unknown family", "Date made up": "in the future"}
    return kinds[issue.column or ""]


def test_a_row_of_the_sample_stands_in_the_register_in_our_units(site: Connection) -> None:
    mapping = read_mapping(FIXTURES / "joint_schedule.toml")
    import_list(site, read_table(FIXTURES / "joint_schedule.xlsx", mapping), mapping, keep_valid=True, today=TODAY)
    # 1167.1 psig, 0.011 in/s peak, 2970 cpm, 216 degF, 'HYDROGEN', '09-Jul-2022'
    joint = joint_of_tag(site, "20-TW-00002")
    assert (joint.family, joint.service, joint.line, joint.area) == (
        "twin_ferrule", "hydrogen", "20-HY-131", "Hydrogen compression",
    )  # fmt: skip
    assert joint.size_mm == pytest.approx(9.525)
    assert (joint.east_m, joint.north_m) == (248.110248, 116.03736)
    assert joint.pressure_barg == pytest.approx(80.4687, abs=5e-5)
    assert joint.vibration_mm_s == pytest.approx(0.011 * 25.4 / 2**0.5)
    assert joint.vibration_hz == pytest.approx(49.5)
    assert joint.thermal_range_degc == pytest.approx(120)
    assert joint.made_up_on == dt.date(2022, 7, 9)
    assert (joint.thermal_cycles_per_year, joint.requires_outage, joint.notes) == (None, None, None)
    assert joint_of_tag(site, "80-FL-02879").tag == "80-FL-02879"  # blanks round it in the file


def test_the_refused_rows_of_the_sample_load_once_corrected(site: Connection) -> None:
    mapping = read_mapping(FIXTURES / "joint_schedule.toml")
    table = read_table(FIXTURES / "joint_schedule.xlsx", mapping)
    first = import_list(site, table, mapping, keep_valid=True, today=TODAY)
    written = refused_file(table, first.issues, mapping, as_workbook=False).decode("utf-8-sig")
    corrected = written.replace("TBC", "Flange").replace("2061-03-04", "2016-03-04")
    again = read_table(corrected.encode(), mapping, "corrected.csv")
    report = import_list(site, again, mapping, keep_valid=True, today=TODAY)
    assert report.rows_read == 72
    assert report.added == 12 + 12


def test_a_list_with_our_headings_loads_without_a_mapping(site: Connection) -> None:
    report = load(site, f"{HEAD}\nA,flanged,hydrogen,1,2,3\n")
    assert counts(report) == (1, 0, 0, 0)
    joint = joint_of_tag(site, "A")
    assert (joint.line, joint.area, joint.size_mm, joint.access, joint.requires_outage) == (None,) * 5
    (intake,) = list_intakes(site, 10)
    assert (intake.kind, intake.rows_read, intake.rows_loaded, intake.rows_refused) == ("joints", 1, 1, 0)


def test_services_and_families_go_by_the_policys_aliases(site: Connection) -> None:
    report = load(site, f"{HEAD}\nA,RF flg,H2,1,2,3\nB,Flanged joint,anhydrous ammonia,1,2,3\n")
    assert report.issues == ()
    assert joint_of_tag(site, "A").service == "hydrogen"
    assert joint_of_tag(site, "B").service == "ammonia"


def test_a_changed_row_shows_its_difference_first_and_keeps_what_stood(site: Connection) -> None:
    load(
        site,
        f"{HEAD},line,made_up_on,requires_outage\nA,flanged,hydrogen,1,2,3,L-1,2020-01-02,yes\nB,union,steam,1,2,3,,,\n",
    )
    changed = f"{HEAD},line,made_up_on,requires_outage\nA,union,steam,1.5,2,4,L-2,2021-01-02,\nB,union,steam,1,2,3,,,\n"
    expected = {
        "family": ("flanged", "union"), "service": ("hydrogen", "steam"), "east_m": (1, 1.5), "pressure_barg": (3, 4),
        "line": ("L-1", "L-2"), "made_up_on": ("2020-01-02", "2021-01-02"), "requires_outage": (True, None),
    }  # fmt: skip

    report = preview(site, changed)
    assert not report.loaded
    assert counts(report) == (0, 1, 1, 0)
    assert {d.column: (d.old, d.new) for d in report.differences} == expected
    assert {(d.row, d.key) for d in report.differences} == {(2, "A")}
    assert report.differences_total == 7
    assert joint_of_tag(site, "A").family == "flanged"
    assert count(site, "line") == 1

    report = load(site, changed)
    assert counts(report) == (0, 1, 1, 0)
    joint = joint_of_tag(site, "A")
    assert (joint.family, joint.line, joint.east_m, joint.requires_outage) == ("union", "L-2", 1.5, None)
    (change,) = store.list_joint_changes(site, joint.joint_id, 10)
    assert {column: tuple(values) for column, values in change.changes.items()} == expected
    assert counts(load(site, changed)) == (0, 0, 2, 0)


def test_a_column_that_the_file_lacks_leaves_what_stands_and_an_empty_cell_clears_it(site: Connection) -> None:
    load(site, f"{HEAD},fitter,size_mm\nA,flanged,hydrogen,1,2,3,J. Novak,50\n")
    report = load(site, f"{HEAD},size_mm\nA,flanged,hydrogen,1,2,3,\n")
    assert [(d.column, d.old, d.new) for d in report.differences] == [("size_mm", 50, None)]
    joint = joint_of_tag(site, "A")
    assert (joint.fitter, joint.size_mm) == ("J. Novak", None)


def test_joints_that_a_later_list_does_not_name_stay(site: Connection) -> None:
    load(site, f"{HEAD}\nA,flanged,hydrogen,1,2,3\nB,flanged,hydrogen,1,2,3\n")
    report = load(site, f"{HEAD}\nB,flanged,hydrogen,1,2,3\nC,flanged,hydrogen,1,2,3\n")
    assert counts(report) == (1, 0, 1, 0)
    assert "1 joints of the register are not in this file; they stay as they are" in report.notes
    assert count(site, "joint") == 3


def test_one_bad_row_keeps_everything_out_unless_the_valid_ones_are_asked_for(site: Connection) -> None:
    text = f"{HEAD}\nA,flanged,hydrogen,1,2,3\nB,flanged,hydrogen,nan,2,3\nC,flanged,hydrogen,1,inf,3\n"
    assert not load(site, text).loaded
    assert count(site, "joint") + count(site, "line") + count(site, "intake") == 0
    report = load(site, text, keep_valid=True)
    assert (report.loaded, counts(report)) == (True, (1, 0, 0, 2))


def test_a_file_of_bad_rows_only_is_refused_even_when_valid_ones_are_asked_for(site: Connection) -> None:
    report = load(site, f"{HEAD}\nA,flanged,hydrogen,x,2,3\n", keep_valid=True)
    assert (report.loaded, counts(report)) == (False, (0, 0, 0, 1))


def test_every_bound_of_the_database_is_a_fault_of_the_row_first(site: Connection) -> None:
    bad = {"size_mm": "0", "temperature_degc": "-274", "vibration_mm_s": "-1", "vibration_hz": "0", "access": "rope",
           "thermal_cycles_per_year": "-2", "thermal_range_degc": "-5", "make_up_method": "glue"}  # fmt: skip
    names = list(bad)
    lines = [
        f"T{at},flanged,hydrogen,1,2,3," + ",".join(bad[name] if name == wrong else "" for name in names)
        for at, wrong in enumerate(names)
    ]
    report = load(site, f"{HEAD},{','.join(names)}\n" + "\n".join(lines) + "\n")
    assert [(issue.row, issue.column) for issue in report.issues] == [(at + 2, name) for at, name in enumerate(names)]


def test_areas_by_name_where_there_is_no_plan_are_made(site: Connection) -> None:
    load(
        site,
        f"{HEAD},area\nA,flanged,hydrogen,1,2,3,Jetty\nB,flanged,hydrogen,1,2,3,JETTY\nC,flanged,hydrogen,1,2,3,\n",
    )
    assert count(site, "area") == 1
    assert [joint_of_tag(site, tag).area for tag in "ABC"] == ["Jetty", "Jetty", None]


def test_areas_of_a_plan_are_known_by_name_and_found_by_outline(site: Connection) -> None:
    with_outline(site, "10 Electrolysis hall", 0, 100)
    with_outline(site, "20 Jetty", 100, 200)
    text = (
        f"{HEAD},area\nA,flanged,hydrogen,50,50,3,electrolysis hall\nB,flanged,hydrogen,150,50,3,\n"
        "C,flanged,hydrogen,500,50,3,\nD,flanged,hydrogen,50,50,3,20 Jetty\nE,flanged,hydrogen,50,50,3,Jety\n"
    )
    report = load(site, text, keep_valid=True)
    (issue,) = report.issues
    assert (issue.row, issue.column, issue.value) == (6, "area", "Jety")
    assert "is '20 Jetty' meant?" in issue.reason
    assert [joint_of_tag(site, tag).area for tag in "ABCD"] == ["10 Electrolysis hall", "20 Jetty", None, "20 Jetty"]
    assert count(site, "area") == 2
    assert counts(load(site, text, keep_valid=True)) == (0, 0, 4, 1)


def test_a_site_without_a_policy_cannot_take_a_list(connection: Connection) -> None:
    with pytest.raises(RegisterNotReady):
        list_columns(connection)


def test_families_added_by_a_later_policy_get_the_next_number(site: Connection) -> None:
    list_columns(site)
    before = {known.name: known.id for known in store.list_families(site)}
    site.execute(
        "INSERT INTO policy_version (site_id, policy_version, document, published_by, note)"
        " SELECT site_id, 2, jsonb_set(document, '{family,0,code}', '\"wafer\"'), 'E. Ngata', 'one more'"
        " FROM policy_version WHERE site_id = current_site()"
    )
    list_columns(site)
    after = {known.name: known.id for known in store.list_families(site)}
    assert after == before | {"wafer": max(before.values()) + 1}


def test_joints_are_listed_by_tag_page_by_page_and_filtered(site: Connection) -> None:
    lines = [f"T-{at:02d},{'flanged' if at % 2 else 'union'},hydrogen,{at},2,3,L-{at % 3}" for at in range(10)]
    load(site, f"{HEAD},line\n" + "\n".join(reversed(lines)) + "\n")
    everything = JointFilter()
    first = store.list_joints(site, everything, None, 4)
    assert [joint.tag for joint in first] == ["T-00", "T-01", "T-02", "T-03"]
    assert [joint.tag for joint in store.list_joints(site, everything, "T-07", 4)] == ["T-08", "T-09"]
    assert [j.tag for j in store.list_joints(site, JointFilter(family="union", line="L-0"), None, 9)] == [
        "T-00",
        "T-06",
    ]
    assert [j.tag for j in store.list_joints(site, JointFilter(tag_contains="t-1"), None, 9)] == []
    assert [j.tag for j in store.list_joints(site, JointFilter(tag_contains="-09"), None, 9)] == ["T-09"]
    with pytest.raises(JointUnknown):
        joint_of_tag(site, "T-99")


def test_text_of_every_kind_comes_back_as_it_was(site: Connection) -> None:
    odd = pl.DataFrame(
        {
            "tag": ['10/A "x" 1', "\\.", "Ä, ö; 漢", "a'b"],
            "family": ["flanged"] * 4,
            "service": ["hydrogen"] * 4,
            "east_m": ["0.1", "1e-300", "-123456.789012345", "1e15"],
            "north_m": ["0"] * 4,
            "pressure_barg": ["0.30000000000000004"] * 4,
            "notes": ["two\nlines", "\\N", "tab\there", "NULL"],
        }
    )
    load(site, odd.write_csv())
    for tag, east, notes in odd.select("tag", "east_m", "notes").rows():
        joint = joint_of_tag(site, tag)
        assert (joint.east_m, joint.pressure_barg, joint.notes) == (float(east), 0.30000000000000004, notes)


def test_the_sample_falls_into_the_samples_plot_plan_whichever_comes_first(site: Connection) -> None:
    mapping = read_mapping(FIXTURES / "joint_schedule.toml")
    table = read_table(FIXTURES / "joint_schedule.xlsx", mapping)
    drawing = (
        (FIXTURES / "plot_plan.dxf").read_bytes(),
        "plot_plan.dxf",
        (FIXTURES / "plot_plan_layers.toml").read_bytes(),
    )
    first = import_list(site, table, mapping, keep_valid=True, today=TODAY)
    import_plan_file(site, *drawing)
    again = import_list(site, table, mapping, keep_valid=True, today=TODAY)
    assert (counts(first), counts(again)) == ((2808, 0, 0, 72), (0, 0, 2808, 72))
    assert again.issues == first.issues
    named = {joint.area for joint in store.list_joints(site, JointFilter(), None, 3000)}
    assert named == {area.name for area in read_plan(site).areas}
    assert "10 Electrolysis hall" in named
