"""Typed columns: what each kind of cell may be, and what is said of one that is not."""

import datetime as dt
import math

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.intake.columns import typed_rows
from registry.intake.model import Column, ColumnsMissing, FileMapping, MappingUnusable, TypedRows
from registry.intake.tables import read_table

TODAY = dt.date(2026, 11, 25)
TAG = Column(name="tag", required=True)
EAST = Column(name="east_m", kind="number", quantity="length")
PRESSURE = Column(
    name="pressure_barg", kind="number", quantity="pressure", required=True, at_least=-1.01325, slack=0.001,
    below_says="lies below absolute vacuum",
)  # fmt: skip
SIZE = Column(name="size_mm", kind="number", quantity="length", above=0)
MADE = Column(name="made_up_on", kind="date", not_in_future=True)
SEEN = Column(name="observed_at", kind="time", not_in_future=True)
OUTAGE = Column(name="requires_outage", kind="yes_no")
FAMILY = Column(name="family", kind="choice", choices={"flanged": ("RF flg",), "taper_thread": ("NPT",)})
NOTES = Column(name="notes", longest=10)


def rows_of(text: str, *columns: Column, mapping: FileMapping | None = None) -> TypedRows:
    mapping = mapping or FileMapping()
    return typed_rows(read_table(text.encode(), mapping, "list.csv"), columns, mapping, today=TODAY)


def column(cells: list[str], what: Column, mapping: FileMapping | None = None) -> TypedRows:
    lines = "\n".join(f'T{number},"{cell}"' for number, cell in enumerate(cells))
    return rows_of(f"tag,{what.name}\n{lines}\n", TAG, what, mapping=mapping)


def reason(cell: str, what: Column, mapping: FileMapping | None = None) -> str:
    (issue,) = column([cell], what, mapping).issues
    assert (issue.row, issue.column, issue.value) == (2, what.name, cell)
    return issue.reason


def value(cell: str, what: Column, mapping: FileMapping | None = None) -> object:
    rows = column([cell], what, mapping)
    assert rows.issues == ()
    return rows.frame[what.name][0]


@pytest.mark.parametrize(
    ("cell", "number"),
    [("12", 12.0), ("-3.25", -3.25), ("+5", 5.0), ("1e3", 1000.0), (".5", 0.5), ("1,234.5", 1234.5),
     ("1,234,567", 1234567.0), ("1 234.5", 1234.5), ("1'234", 1234.0), ("−7", -7.0)],
)  # fmt: skip
def test_numbers_are_read(cell: str, number: float) -> None:
    assert value(cell, EAST) == number


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("see iso", "is not a number"), ("NaN", "is not a finite number"), ("inf", "is not a finite number"),
        ("-Infinity", "is not a finite number"), ("1e999", "is not a finite number"), ("1,5", "decimal comma"),
        ("1,234", "may be thousands or decimals"), ("12 m", "is more than a number"),
        ("1_000", "finite"), ("0x10", "number"),
    ],
)  # fmt: skip
def test_what_is_no_number_is_said(cell: str, says: str) -> None:
    assert says in reason(cell, EAST)


@pytest.mark.parametrize(("cell", "number"), [("1,5", 1.5), ("12", 12.0), ("1.234,5", 1234.5), ("-0,25", -0.25)])
def test_a_decimal_comma_is_read_where_the_mapping_says_so(cell: str, number: float) -> None:
    assert value(cell, EAST, FileMapping(decimal_comma=True)) == number


def test_a_point_before_three_digits_is_not_guessed_under_a_decimal_comma() -> None:
    assert "may be thousands or decimals" in reason("1.234", EAST, FileMapping(decimal_comma=True))


@pytest.mark.parametrize(
    ("cell", "mm"), [("1/2", 12.7), ("1 1/2", 38.1), ("1-1/2", 38.1), ('3/4""', 19.05), ("2", 50.8)]
)
def test_inches_may_be_fractions(cell: str, mm: float) -> None:
    rows = rows_of(f'tag,size_in\nA,"{cell}"\n', TAG, SIZE)
    assert rows.issues == ()
    assert rows.frame["size_mm"][0] == pytest.approx(mm, rel=1e-12)


def test_a_fraction_is_no_number_in_other_units() -> None:
    assert "number" in reason("1/2", EAST)


def test_a_converted_number_is_the_decimal_it_means() -> None:
    assert rows_of("tag,east_ft\nA,393.75\n", TAG, EAST).frame["east_m"][0] == 120.015


def test_units_come_from_the_name_and_bounds_are_said_in_the_files_unit() -> None:
    rows = rows_of("tag,pressure_psig,size_in\nA,14.5,1\nB,-30,1\nC,-14.7,0\n", TAG, PRESSURE, SIZE)
    assert rows.frame["pressure_barg"][0] == pytest.approx(0.99974, abs=5e-6)
    assert rows.frame["pressure_barg"][2] == -1.01325  # full vacuum, rounded outwards by whoever wrote it
    assert [(issue.row, issue.value, issue.reason[:26]) for issue in rows.issues] == [
        (3, "-30", "lies below absolute vacuum"),
        (4, "0", "is not more than 0 in: cor"),
    ]


def test_a_bad_cell_is_null_in_the_frame_and_its_row_is_not_good() -> None:
    rows = column(["1", "x", "3"], EAST)
    assert rows.frame["east_m"].to_list() == [1.0, None, 3.0]
    assert rows.good["tag"].to_list() == ["T0", "T2"]
    assert rows.admitted(keep_valid=False).is_empty()
    assert rows.admitted(keep_valid=True)["row"].to_list() == [2, 4]


@pytest.mark.parametrize(
    "cell",
    ["2022-07-09", "2022-07-09 00:00:00", "2022-07-09T10:30", "09-Jul-2022", "9 July 2022", "09/JUL/2022",
     "Jul 9, 2022", "2022/07/09", "2022.7.9"],
)  # fmt: skip
def test_dates_that_can_be_read_one_way_only_are_read(cell: str) -> None:
    assert value(cell, MADE) == dt.date(2022, 7, 9)


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("09/07/2022", "could be read two ways"), ("9.7.22", "could be read two ways"), ("45116", "is a bare number"),
        ("20220709", "is a bare number"), ("last summer", "is not a date"), ("31-Feb-2022", "no day of the calendar"),
        ("2022-13-01", "is not a date"), ("0202-01-01", "is the year 202"), ("2061-03-04", "lies in the future"),
        ("2026-11-26", "lies in the future (today is 2026-11-25)"),
    ],
)  # fmt: skip
def test_what_is_no_date_is_said(cell: str, says: str) -> None:
    assert says in reason(cell, MADE)


def test_a_date_format_settles_which_is_the_day() -> None:
    assert value("09/07/2022", MADE, FileMapping(date_formats=("DD/MM/YYYY",))) == dt.date(2022, 7, 9)
    assert value("09/07/2022", MADE, FileMapping(date_formats=("MM/DD/YYYY",))) == dt.date(2022, 9, 7)
    assert value("9.7.22", MADE, FileMapping(date_formats=("DD/MM/YYYY", "DD.MM.YY"))) == dt.date(2022, 7, 9)
    with pytest.raises(MappingUnusable, match="does not say where year, month and day"):
        value("09/07/2022", MADE, FileMapping(date_formats=("DD/MM",)))


def test_times_without_a_zone_are_in_the_mappings() -> None:
    utc = dt.UTC
    assert value("2024-07-01 12:00", SEEN) == dt.datetime(2024, 7, 1, 12, tzinfo=utc)
    oslo = FileMapping(time_zone="Europe/Oslo")
    assert value("2024-07-01 12:00", SEEN, oslo) == dt.datetime(2024, 7, 1, 10, tzinfo=utc)
    assert value("2024-07-01T12:00:00+05:00", SEEN, oslo) == dt.datetime(2024, 7, 1, 7, tzinfo=utc)
    assert value("01/07/2024 12:30", SEEN, FileMapping(date_formats=("DD/MM/YYYY hh:mm",))) == dt.datetime(
        2024, 7, 1, 12, 30, tzinfo=utc
    )
    assert value("2026-11-25 23:30", SEEN, FileMapping(time_zone="America/Denver")) == dt.datetime(
        2026, 11, 26, 6, 30, tzinfo=utc
    )
    assert "is the year 1:" in reason("0001-01-01T00:00:00+05:00", SEEN, oslo)
    assert "is the year 9999" in reason("9999-12-31 23:59", SEEN, oslo)
    with pytest.raises(MappingUnusable, match="no time zone 'Mars/Olympus'"):
        value("2024-07-01 12:00", SEEN, FileMapping(time_zone="Mars/Olympus"))


@pytest.mark.parametrize(("cell", "answer"), [("Y", True), ("yes", True), ("TRUE", True), ("n", False), ("0", False)])
def test_yes_and_no_are_read(cell: str, answer: bool) -> None:
    assert value(cell, OUTAGE) is answer


def test_other_words_for_yes_come_from_the_mapping() -> None:
    assert "neither yes nor no" in reason("ja", OUTAGE)
    assert value("ja", OUTAGE, FileMapping(values={"requires_outage": {"yes": ("ja",)}})) is True


def test_choices_mind_neither_case_nor_punctuation_and_know_their_aliases() -> None:
    rows = column(["FLANGED", " rf  Flg", "npt", "taper thread"], FAMILY)
    assert rows.frame["family"].to_list() == ["flanged", "flanged", "taper_thread", "taper_thread"]


def test_an_unknown_choice_names_the_nearest_or_the_known_ones() -> None:
    assert "is 'flanged' meant?" in reason("flangd", FAMILY)
    assert "known are flanged, taper_thread" in reason("TBC", FAMILY)
    assert value("TBC", FAMILY, FileMapping(values={"family": {"flanged": ("TBC",)}})) == "flanged"


def test_text_has_a_longest_length_and_no_nul() -> None:
    assert "11 characters long: shorten it to 10" in reason("x" * 11, NOTES)
    assert "NUL" in reason("a\x00b", NOTES, FileMapping(encoding="utf-8"))


def test_what_stands_for_nothing_is_null() -> None:
    mapping = FileMapping(blank=("N/A", "tba"))
    rows = column(["n/a", "TBA", "-", "–", "7"], EAST, mapping)
    assert rows.issues == ()
    assert rows.frame["east_m"].to_list() == [None, None, None, None, 7.0]


def test_a_required_cell_that_is_empty_is_a_fault_with_what_stands_there() -> None:
    rows = rows_of("tag,pressure_barg,notes\nA,,x\nB,-,y\n,1,z\n", TAG, PRESSURE, NOTES)
    assert [(issue.row, issue.column, issue.value) for issue in rows.issues] == [
        (2, "pressure_barg", None),
        (3, "pressure_barg", "-"),
        (4, "tag", None),
    ]


def test_issues_come_by_row_and_then_by_the_files_own_columns() -> None:
    rows = rows_of("notes,size_mm,tag,east_m\nx,-1,A,word\nlonger than ten,2,,1\n", TAG, EAST, SIZE, NOTES)
    assert [(issue.row, issue.column) for issue in rows.issues] == [
        (2, "size_mm"),
        (2, "east_m"),
        (3, "notes"),
        (3, "tag"),
    ]


def test_missing_columns_name_the_headings_found() -> None:
    with pytest.raises(ColumnsMissing, match=r"no column for pressure_barg.*Headings found: 'tag', 'press'"):
        rows_of("tag,press\nA,1\n", TAG, PRESSURE)
    with pytest.raises(ColumnsMissing, match="no heading 'Press' for pressure_barg"):
        rows_of("tag,pr\nA,1\n", TAG, PRESSURE, mapping=FileMapping(columns={"tag": "tag", "pressure_barg": "Press"}))


def test_a_heading_that_stands_twice_is_refused_if_it_is_used() -> None:
    with pytest.raises(MappingUnusable, match="more than once"):
        rows_of("tag,tag,east_m\nA,B,1\n", TAG, EAST)
    mapping = FileMapping(columns={"tag": "No", "east_m": "X"})
    with pytest.raises(MappingUnusable, match="has the heading 'X' 2 times"):
        rows_of("No,X,X\nA,1,2\n", TAG, EAST, mapping=mapping)
    assert rows_of("No,X,note,note\nA,1,a,b\n", TAG, EAST, mapping=mapping).issues == ()


def test_a_column_given_in_two_units_is_refused() -> None:
    with pytest.raises(MappingUnusable, match="east_m is given twice, in 'east_m' and 'east_ft'"):
        rows_of("tag,east_m,east_ft\nA,1,3\n", TAG, EAST)


def test_unknown_columns_and_units_in_a_mapping_are_refused() -> None:
    for name, says in (("est_m", "is no column here"), ("pressure_bar", "pressure_barg, pressure_bara")):
        with pytest.raises(MappingUnusable, match=says):
            rows_of("tag,P\nA,1\n", TAG, EAST, PRESSURE, mapping=FileMapping(columns={"tag": "tag", name: "P"}))
    for mapping in (
        FileMapping(values={"colour": {"red": ("r",)}}),
        FileMapping(values={"family": {"flange": ("r",)}}),
        FileMapping(values={"east_m": {"1": ("r",)}}),
        FileMapping(defaults={"colour": "red"}),
        FileMapping(defaults={"east_m": "red"}),
    ):
        with pytest.raises(MappingUnusable):
            rows_of("tag,family,east_m\nA,NPT,1\n", TAG, FAMILY, EAST, mapping=mapping)


def test_defaults_fill_what_is_empty_and_what_is_not_there() -> None:
    mapping = FileMapping(defaults={"pressure_barg": "5", "family": "NPT"})
    rows = rows_of("tag,family\nA,\nB,flanged\n", TAG, PRESSURE, FAMILY, mapping=mapping)
    assert rows.frame.select("pressure_barg", "family").rows() == [(5.0, "taper_thread"), (5.0, "flanged")]
    assert rows.given == {"tag", "family", "pressure_barg"}


def test_columns_not_used_are_named_in_a_note_and_the_reason_column_is_not() -> None:
    rows = rows_of("tag,colour,reason\nA,red,because\n", TAG)
    assert rows.notes == ("columns not used: colour",)


def test_an_end_line_below_an_empty_row_is_dropped_and_named() -> None:
    rows = rows_of("tag,east_m\nA,1\n,\nPrinted by somebody,\n", TAG, EAST)
    assert rows.frame["tag"].to_list() == ["A"]
    assert rows.notes == ("row 4 ('Printed by somebody') was taken as an end line",)
    assert rows_of("tag,east_m\nA,1\nEND OF LIST,\n", TAG, EAST).frame.height == 1


def test_a_last_row_with_its_tag_alone_is_no_end_line() -> None:
    rows = rows_of("tag,east_m,pressure_barg\nA,1,2\nB,,\n", TAG, EAST, PRESSURE)
    assert [(issue.row, issue.column) for issue in rows.issues] == [(3, "pressure_barg")]


def test_a_row_whose_tag_alone_is_missing_stays_to_be_found_wanting() -> None:
    rows = rows_of("tag,east_m,pressure_barg\nA,1,2\n,5,6\n,,\nEND,,\n", TAG, EAST, PRESSURE)
    assert [(issue.row, issue.column) for issue in rows.issues] == [(3, "tag")]


def test_a_row_of_too_many_cells_is_a_fault_beside_the_others() -> None:
    rows = rows_of("tag,east_m\nA,1\nB,2,3\nC,x\n", TAG, EAST)
    assert [issue.row for issue in rows.issues] == [3, 4]
    assert rows.good["tag"].to_list() == ["A"]


def test_an_importer_adds_faults_of_its_own_with_what_the_file_says() -> None:
    rows = column(["1", "x", "3"], EAST).with_faults("tag", pl.col("tag").is_in(["T1", "T2"]), "is not known")
    assert str(rows.issues[0]) == "row 3, column 'tag': is not known ('T1')"
    assert [(issue.row, issue.column) for issue in rows.issues] == [(3, "tag"), (3, "east_m"), (4, "tag")]
    again = rows.with_faults("tag", pl.col("tag") == "T1", "is wrong otherwise")
    assert again.issues == rows.issues


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20))
def test_every_finite_number_comes_back_as_it_was_written(numbers: list[float]) -> None:
    assert column([repr(number) for number in numbers], EAST).frame["east_m"].to_list() == numbers


@given(
    st.lists(
        st.text(st.characters(codec="utf-8", exclude_characters='"'), min_size=1, max_size=8), min_size=1, max_size=8
    )
)
def test_no_cell_whatever_is_in_it_raises(cells: list[str]) -> None:
    rows = column(cells, EAST, FileMapping(encoding="utf-8"))
    assert all(issue.reason for issue in rows.issues)
    assert all(number is None or math.isfinite(number) for number in rows.frame["east_m"])
