"""The grid of letters and numbers round the sheet, by which people name a place on the plot plan."""

import math
from dataclasses import dataclass

# ISO 5457 leaves out I and O, which read as digits.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
MOST_COLUMNS = 16
MOST_ROWS = 12
_ROUND_STEPS = (1.0, 2.0, 2.5, 5.0)


@dataclass(frozen=True, slots=True)
class SheetGrid:
    """Square fields: letters run from the top (north) down, numbers from the left (west)."""

    west_m: float
    north_m: float
    field_m: float
    columns: int
    rows: int

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north edge in metres: the plan's extent, rounded out to whole fields."""
        return (
            self.west_m,
            self.north_m - self.rows * self.field_m,
            self.west_m + self.columns * self.field_m,
            self.north_m,
        )

    @property
    def letters(self) -> tuple[str, ...]:
        """The letter of each row, from the north."""
        return tuple(LETTERS[: self.rows])

    def reference(self, east_m: float, north_m: float) -> str:
        """The field that a place lies in, letter and number; 'off plan' outside the sheet."""
        west, south, east, north = self.bounds
        if not (west <= east_m <= east and south <= north_m <= north):
            return "off plan"
        column = min(int((east_m - west) / self.field_m), self.columns - 1)
        row = min(int((north - north_m) / self.field_m), self.rows - 1)
        return f"{LETTERS[row]}{column + 1}"


def sheet_grid(west_m: float, south_m: float, east_m: float, north_m: float) -> SheetGrid:
    """The finest grid of square fields of a round size that fits a sheet of 16 x 12 fields.

    A round size is 1, 2, 2.5 or 5 times a power of ten.

    Parameters
    ----------
    west_m, south_m, east_m, north_m : edges of the plan [m].

    Returns
    -------
    SheetGrid
        Its edges lie on whole multiples of the field, outside the plan's.

    References
    ----------
    ISO 5457:1999, grid reference system: letters from the top down without I and O, numbers from left to right, and
    16 x 12 fields on an A1 sheet (from memory). Own method: fields of a round number of plant metres, instead of 50 mm
    of paper.

    >>> grid = sheet_grid(12.0, 30.0, 690.0, 300.0)
    >>> grid.field_m, grid.bounds
    (50.0, (0.0, 0.0, 700.0, 300.0))
    >>> grid.reference(160.0, 190.0)
    'C4'
    """
    width, height = max(east_m - west_m, 1.0), max(north_m - south_m, 1.0)
    exponent = math.floor(math.log10(max(width / MOST_COLUMNS, height / MOST_ROWS)))
    # A span that is no whole number of fields may need one more at either end, hence a size or two to spare.
    sizes = [step * 10.0**power for power in (exponent, exponent + 1) for step in _ROUND_STEPS]
    for size in sizes:
        west, south = math.floor(west_m / size), math.floor(south_m / size)
        columns = max(math.ceil(east_m / size), west + 1) - west
        rows = max(math.ceil(north_m / size), south + 1) - south
        if columns <= MOST_COLUMNS and rows <= MOST_ROWS:
            break
    else:  # pragma: no cover - a hundred times the smallest size always fits
        raise ValueError("no field size fits")
    return SheetGrid(west * size, (south + rows) * size, size, columns, rows)
