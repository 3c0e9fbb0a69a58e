"""Reading a file as a table: encodings, delimiters, quotes, sheets, row numbers."""

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest

from registry.intake.delimited import LONGEST_CELL
from registry.intake.model import FileMapping, FileUnreadable, Table
from registry.intake.tables import read_table

HEADER = "tag,notes,east_m"
SAMPLE = Path(__file__).parents[1] / "fixtures" / "joint_schedule.xlsx"


def cells(table: Table) -> list[tuple[str | None, ...]]:
    return table.cells.rows()


def read(text: str | bytes, mapping: FileMapping = FileMapping()) -> Table:  # noqa: B008 - frozen
    return read_table(text if isinstance(text, bytes) else text.encode(), mapping, "list.csv")


def workbook(sheets: dict[str, list[list[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_usual_delimiters_are_found_out(delimiter: str) -> None:
    table = read(f"tag{delimiter}east_m\nA{delimiter}1\nB{delimiter}2\n")
    assert table.headings == ("tag", "east_m")
    assert cells(table) == [("A", "1"), ("B", "2")]


def test_semicolons_win_where_commas_are_decimal_marks() -> None:
    assert cells(read("tag;east_m;north_m\nA;1,5;2,5\nB;3,5;4,5\n")) == [("A", "1,5", "2,5"), ("B", "3,5", "4,5")]


@pytest.mark.parametrize(
    ("encoding", "note"),
    [("utf-8", ()), ("utf-8-sig", ()), ("utf-16", ("read as utf-16",)), ("cp1252", ("read as windows-1252",))],
)
def test_the_usual_encodings_are_found_out(encoding: str, note: tuple[str, ...]) -> None:
    table = read("tag;fitter\nÄ-1;Müller – Öst\n".encode(encoding))
    assert cells(table) == [("Ä-1", "Müller – Öst")]
    assert table.notes == note


def test_utf_16_without_a_mark_is_found_out() -> None:
    assert cells(read("tag,fitter\nA,Ö\n".encode("utf-16-le"))) == [("A", "Ö")]


def test_latin_1_reads_what_windows_1252_has_no_sign_for() -> None:
    assert cells(read(b"tag,notes\nA,\x81\xe4\n")) == [("A", "\x81ä")]


def test_a_quoted_newline_stays_in_its_cell_and_its_row() -> None:
    table = read(f'{HEADER}\nA,"two\nlines",1\nB,,2\n')
    assert cells(table) == [("A", "two\nlines", "1"), ("B", None, "2")]
    assert table.row_numbers.to_list() == [2, 3]


def test_doubled_quotes_and_quoted_delimiters_are_understood() -> None:
    assert cells(read(f'{HEADER}\n"A","3/4"" NPT, steel",1\n')) == [("A", '3/4" NPT, steel', "1")]


def test_an_inch_mark_in_the_open_is_no_quotation_mark() -> None:
    table = read(f'{HEADER}\nA,3/4" NPT,1\nB,1/2" tube,2\nC,"a, b",3\n')
    assert cells(table) == [("A", '3/4" NPT', "1"), ("B", '1/2" tube', "2"), ("C", "a, b", "3")]


def test_a_quotation_mark_never_closed_is_said() -> None:
    with pytest.raises(FileUnreadable, match="not closed"):
        read(f'{HEADER}\nA,"never closed,1\nB,,2\nC,,3\n')


def test_a_row_with_more_cells_than_headings_is_a_fault_of_that_row() -> None:
    table = read(f"{HEADER}\nA,x,1\nB,one, two,2\nC,y,3\n")
    (fault,) = table.faults
    assert fault.row == 3
    assert "beyond the headings" in fault.reason
    assert [row[0] for row in cells(table)] == ["A", "B", "C"]


def test_empty_cells_beyond_the_headings_are_no_fault() -> None:
    table = read(f"{HEADER}\nA,x,1,,\nB,y,2,,\n")
    assert table.faults == ()
    assert cells(table) == [("A", "x", "1"), ("B", "y", "2")]


def test_a_short_row_is_empty_at_its_end() -> None:
    assert cells(read(f"{HEADER}\nA\nB,x,2\n")) == [("A", None, None), ("B", "x", "2")]


def test_empty_lines_keep_the_count_of_rows() -> None:
    table = read(f"{HEADER}\n\nA,x,1\n,,\nB,y,2\n")
    assert dict(zip(table.row_numbers.to_list(), (row[0] for row in cells(table)), strict=True))[5] == "B"


def test_carriage_returns_alone_end_lines() -> None:
    assert cells(read("tag,notes\rA,1\rB,2\r")) == [("A", "1"), ("B", "2")]
    assert cells(read("tag,notes\r\nA,1\r\nB,2")) == [("A", "1"), ("B", "2")]


def test_a_separator_line_is_taken_at_its_word_and_not_counted() -> None:
    table = read("sep=|\ntag|notes\nA|1,2;3\n")
    assert cells(table) == [("A", "1,2;3")]
    assert table.row_numbers.to_list() == [2]


def test_titles_may_stand_above_the_headings() -> None:
    table = read(f'Joint list\n"rev\nC"\n{HEADER}\nA,x,1\n', FileMapping(header_row=3))
    assert table.headings == ("tag", "notes", "east_m")
    assert table.row_numbers.to_list() == [4]
    assert table.above == (("Joint list",), ("rev\nC",))


def test_blanks_round_a_cell_go_and_what_is_left_empty_is_null() -> None:
    assert cells(read(f"{HEADER}\n A\u00a0 ,  ,1\n")) == [("A", None, "1")]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b" \n \n", "is empty"),
        (b"PK\x03\x04 not a workbook at all", "broken zip"),
        (b"\xd0\xcf\x11\xe0" + bytes(2000), "no workbook"),
        (b"%PDF-1.7\n\x00\x01\x02\x03 binary", "neither a text table nor a workbook"),
        (b"tag,notes\nA," + b"x" * (LONGEST_CELL + 1) + b"\n", "a cell of 32,768 characters"),
        (b"tag,notes\nA," + b"x" * 2_000_000 + b"\n", "a line of 2,000,003 bytes"),
    ],
)
def test_what_is_no_table_is_refused_in_one_sentence(data: bytes, says: str) -> None:
    with pytest.raises(FileUnreadable, match=says) as caught:
        read(data)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="there is no file"):
        read_table(tmp_path / "nowhere.csv")
    with pytest.raises(FileUnreadable, match="cannot be read"):
        read_table(tmp_path)


def test_headings_beyond_the_end_and_empty_headings_are_refused() -> None:
    with pytest.raises(FileUnreadable, match="ends before row 9"):
        read(f"{HEADER}\nA,x,1\n", FileMapping(header_row=9))
    with pytest.raises(FileUnreadable, match="row 2 is empty"):
        read(f"{HEADER}\n,,\nA,x,1\n", FileMapping(header_row=2))


def test_an_unknown_encoding_and_a_wrong_one_are_refused() -> None:
    with pytest.raises(FileUnreadable, match="there is no encoding 'klingon'"):
        read("tag\nA\n", FileMapping(encoding="klingon"))
    with pytest.raises(FileUnreadable, match="is not in utf-8"):
        read("tag\nÄ\n".encode("cp1252"), FileMapping(encoding="utf-8"))


def test_a_workbook_keeps_numbers_exactly_and_dates_as_dates() -> None:
    data = workbook({"Joints": [["tag", "east_m", "on"], [1001, 12.0, dt.date(2022, 7, 9)], ["A", 0.1, "09-Jul-2022"]]})
    table = read_table(data, FileMapping(), "list.xlsx")
    assert cells(table) == [("1001", "12", "2022-07-09"), ("A", "0.1", "09-Jul-2022")]
    assert table.numbers is not None
    assert table.numbers["c1"].to_list() == [12.0, 0.1]


def test_a_workbook_starting_further_down_counts_rows_as_the_spreadsheet_does() -> None:
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    page["C5"], page["D5"], page["C6"], page["D6"] = "tag", "east_m", "A", 1.5
    stream = io.BytesIO()
    book.save(stream)
    table = read_table(stream.getvalue(), FileMapping(header_row=5), "list.xlsx")
    assert table.headings == ("tag", "east_m")
    assert table.row_numbers.to_list() == [6]


def test_a_sheet_is_chosen_by_name_or_by_number() -> None:
    data = workbook({"Read me": [["hello", "there"]], "Joints": [["tag"], ["A"]]})
    for chosen in ("Joints", " joints ", 2):
        assert read_table(data, FileMapping(sheet=chosen), "list.xlsx").headings == ("tag",)
    for chosen, says in (("Valves", "no sheet 'Valves'"), (3, "no sheet number 3"), (None, "name one in the mapping")):
        with pytest.raises(FileUnreadable, match=says):
            read_table(data, FileMapping(sheet=chosen), "list.xlsx")


def test_the_sample_reads_below_its_fourth_row() -> None:
    table = read_table(SAMPLE, FileMapping(sheet="Joints", header_row=4))
    assert table.headings[:3] == ("Joint No.", "Type", "Size (in)")
    assert table.row_numbers[0] == 5
    assert cells(table)[0][0] == "60-TW-00000"
