"""ISO 5457:1999, sizes and layout of drawing sheets: the grid reference system (from memory, standard not at hand)."""

import string

from registry.plant.sheet_grid import LETTERS, MOST_COLUMNS, MOST_ROWS, SheetGrid


def test_letters_leave_out_i_and_o() -> None:
    assert "".join(letter for letter in string.ascii_uppercase if letter not in "IO") == LETTERS


def test_an_a1_sheet_has_sixteen_by_twelve_fields() -> None:
    assert (MOST_COLUMNS, MOST_ROWS) == (16, 12)


def test_letters_run_from_the_top_down_and_numbers_from_left_to_right() -> None:
    grid = SheetGrid(west_m=0, north_m=120, field_m=10, columns=16, rows=12)
    assert grid.reference(1, 119) == "A1"
    assert grid.reference(159, 119) == "A16"
    assert grid.reference(1, 1) == "M1"
    assert grid.reference(1, 31) == "J1"
