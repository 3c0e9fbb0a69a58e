"""Mapping files read and drafted, and refused rows written so that they load again."""

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from registry.intake.columns import typed_rows
from registry.intake.mapping_file import mapping_text, read_mapping
from registry.intake.model import FileMapping, FileUnreadable, MappingUnusable
from registry.intake.refused import refused_file
from registry.intake.suggestion import suggested_mapping
from registry.intake.tables import read_table
from registry.joints.model import Known, joint_columns
from registry.policy.document import default_policy

FIXTURES = Path(__file__).parents[1] / "fixtures"
TODAY = dt.date(2026, 11, 25)
POLICY = default_policy(1)
COLUMNS = joint_columns(
    [Known(at, family.code, (family.label, *family.aliases)) for at, family in enumerate(POLICY.families, 1)],
    [Known(at, service.name, service.aliases) for at, service in enumerate(POLICY.services, 1)],
)
SOME = FileMapping(
    columns={"tag": "Joint No.", "pressure_psig": "P", "east_m": "X"},
    values={"family": {"flanged": ("RF flg", "3/4\" 'odd'")}},
    defaults={"access": "grade"},
    blank=("N/A",),
    sheet="Joints",
    header_row=4,
    date_formats=("DD/MM/YYYY",),
    decimal_comma=True,
    time_zone="Europe/Oslo",
    delimiter=";",
    encoding="windows-1252",
)


def test_a_mapping_written_is_the_mapping_read() -> None:
    assert read_mapping(mapping_text(SOME).encode()) == SOME
    assert read_mapping(mapping_text(FileMapping()).encode()) == FileMapping()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tag = 1\n[", "is not TOML"),
        ("colour = 1", "'colour' is no entry of a mapping; known are sheet"),
        ("header_row = 0", "should be 1 or more"),
        ("header_row = true", "should be a number"),
        ("sheet = 1.5", "should be text or a number"),
        ("decimal_comma = 'yes'", "should be true or false"),
        ("delimiter = 'ab'", "should be one sign"),
        ("date_format = 'DD/MM'", "does not say where"),
        ("date_format = 3", "should be a text or a list of texts"),
        ("columns = 'tag'", "should hold lines such as tag"),
        ("[columns]\ntag = ['a']", "should hold lines such as tag"),
        ("[values]\nfamily = 'a'", "should hold lines such as flanged"),
        ("[values.family]\nflanged = [1]", "flanged in"),
    ],
)
def test_a_mapping_that_cannot_be_used_says_which_entry_and_what_it_should_be(text: str, says: str) -> None:
    with pytest.raises(MappingUnusable, match=says):
        read_mapping(text.encode())


def test_a_missing_mapping_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(MappingUnusable, match="there is no mapping file"):
        read_mapping(tmp_path / "nowhere.toml")


def test_the_samples_mapping_is_short() -> None:
    assert len((FIXTURES / "joint_schedule.toml").read_text().splitlines()) <= 40


def test_the_samples_mapping_is_drafted_from_the_sample_but_for_one_word() -> None:
    drafted = suggested_mapping(FIXTURES / "joint_schedule.xlsx", COLUMNS).text
    confirmed = read_mapping(FIXTURES / "joint_schedule.toml")
    made = read_mapping(drafted.encode())
    assert dict(made.columns) == dict(confirmed.columns)
    assert (made.sheet, made.header_row) == ("Joints", 4)
    assert "nothing like: 'TBC'" in drafted
    assert "STILL MISSING" not in drafted
    rows = typed_rows(read_table(FIXTURES / "joint_schedule.xlsx", made), COLUMNS, made, today=TODAY)
    assert {issue.value for issue in rows.issues if issue.column == "Type"} == {"TBC"}


def test_what_a_draft_takes_on_trust_stands_in_it_as_a_remark() -> None:
    text = (
        "Joint list\n\nTag;Type;Fluid;East;North;Op press (bar);Vib (mm/s);Made\n"
        "A;flangd;hydrogen;1,5;2;3,5;7,1;13/02/2024\nB;RF flg;Ammonia;2,5;2,5;4,5;;01.02.24\n"
    )
    drafted = suggested_mapping(text.encode(), COLUMNS, "list.csv").text
    made = read_mapping(drafted.encode())
    assert made.header_row == 3
    assert made.decimal_comma
    assert made.date_formats == ("DD.MM.YY", "DD/MM/YYYY")
    assert made.columns == {
        "tag": "Tag", "family": "Type", "service": "Fluid", "east_m": "East", "north_m": "North",
        "pressure_barg": "Op press (bar)", "made_up_on": "Made", "vibration_mm_s": "Vib (mm/s)",
    }  # fmt: skip
    assert made.values == {"family": {"flanged": ("flangd",)}}
    for remark in ("taken as m: the heading gives no unit", "taken as gauge", "taken as RMS", "matched by likeness"):
        assert remark in drafted


def test_a_draft_says_what_it_could_not_find() -> None:
    drafted = suggested_mapping(b"Tag,Easting (ft),Northing (ft),Colour\nA,1,2,red\n", COLUMNS, "list.csv").text
    assert "# STILL MISSING, and needed: family, service, pressure_barg" in drafted
    assert "# Not matched, and not loaded: Colour" in drafted
    with pytest.raises(FileUnreadable, match="looks like headings"):
        suggested_mapping(b"a,b\n1,2\n", COLUMNS, "list.csv")


def test_months_before_days_are_seen_where_a_date_tells() -> None:
    head = "tag,family,service,east_m,north_m,pressure_barg,made_up_on\n"
    drafted = suggested_mapping(f"{head}A,NPT,hydrogen,1,2,3,02/13/2024\n".encode(), COLUMNS, "list.csv").text
    assert read_mapping(drafted.encode()).date_formats == ("MM/DD/YYYY",)
    drafted = suggested_mapping(f"{head}A,NPT,hydrogen,1,2,3,02/03/2024\n".encode(), COLUMNS, "list.csv").text
    assert "day before month is a guess" in drafted


@pytest.mark.parametrize("as_workbook", [True, False])
def test_refused_rows_load_again_once_they_are_corrected(as_workbook: bool) -> None:
    mapping = read_mapping(FIXTURES / "joint_schedule.toml")
    table = read_table(FIXTURES / "joint_schedule.xlsx", mapping)
    rows = typed_rows(table, COLUMNS, mapping, today=TODAY)
    written = refused_file(table, rows.issues, mapping, as_workbook=as_workbook)
    again = read_table(written, mapping, "refused.xlsx" if as_workbook else "refused.csv")
    assert again.headings == (*table.headings, "reason")
    same = typed_rows(again, COLUMNS, mapping, today=TODAY)
    assert [(i.column, i.value, i.reason) for i in same.issues] == [(i.column, i.value, i.reason) for i in rows.issues]
    kept = ["tag", "family", "size_mm", "east_m", "north_m", "pressure_barg", "temperature_degc", "made_up_on"]
    refused = rows.frame.filter(pl.col("row").is_in(sorted(rows.refused_rows)))
    assert same.frame.select(kept).equals(refused.select(kept))
    # Refused once more, the file has the new reasons in one column still.
    once_more = read_table(refused_file(again, same.issues, mapping, as_workbook=as_workbook), mapping, "refused")
    assert once_more.headings == again.headings
    assert once_more.cells.equals(again.cells)


def test_refused_rows_keep_the_files_decimal_comma_and_delimiter() -> None:
    mapping = FileMapping(decimal_comma=True)
    text = "tag;family;service;east_m;north_m;pressure_barg\nA;NPT;hydrogen;1,5;2,25;x\nB;NPT;hydrogen;1;2;3\n"
    table = read_table(text.encode(), mapping, "list.csv")
    rows = typed_rows(table, COLUMNS, mapping, today=TODAY)
    written = refused_file(table, rows.issues, mapping, as_workbook=False).decode("utf-8-sig")
    assert written.splitlines()[1].startswith("A;NPT;hydrogen;1,5;2,25;x;")
    assert written.count("\n") == 2
