"""What a window of the map answers with: far out, square cells with counts; close in, the joints."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from registry.overview.model import WindowUnfit, due_state

Row = tuple[Any, ...]

MOST_JOINTS = 4000
"""A window with more joints than this is answered in cells."""
CELLS_ACROSS = 64
"""Most cells along the longer edge of a window; a small screen asks for fewer."""
RISKIEST = 50
"""So many joints go with cells by name, so that a list can stand beside them."""


@dataclass(frozen=True, slots=True)
class Window:
    """A piece of the plant grid, in metres."""

    west_m: float
    south_m: float
    east_m: float
    north_m: float

    def __post_init__(self) -> None:
        edges = (self.west_m, self.south_m, self.east_m, self.north_m)
        if not all(math.isfinite(edge) and abs(edge) < 1e7 for edge in edges):
            raise WindowUnfit("the edges of a window are plant-grid metres")
        if self.east_m <= self.west_m or self.north_m <= self.south_m:
            raise WindowUnfit("east lies east of west, and north north of south")

    @property
    def area_m2(self) -> float:
        """Its area."""
        return (self.east_m - self.west_m) * (self.north_m - self.south_m)

    def out_to(self, cell_m: float) -> "Window":
        """The window, grown to whole cells, so that no cell is counted in part."""
        return Window(
            math.floor(self.west_m / cell_m) * cell_m,
            math.floor(self.south_m / cell_m) * cell_m,
            math.ceil(self.east_m / cell_m) * cell_m,
            math.ceil(self.north_m / cell_m) * cell_m,
        )

    def edges(self) -> tuple[float, float, float, float]:
        """West, south, east, north."""
        return self.west_m, self.south_m, self.east_m, self.north_m


def cell_size(window: Window, across: int = CELLS_ACROSS) -> float:
    """Side of the cells of a window [m]: 1, 2 or 5 times a power of ten, at most `across` along its longer edge.

    >>> cell_size(Window(0.0, 0.0, 640.0, 400.0))
    10.0
    """
    longest = max(window.east_m - window.west_m, window.north_m - window.south_m)
    least = max(longest / across, 0.1)
    power = 10.0 ** math.floor(math.log10(least))
    return next(size for step in (1.0, 2.0, 5.0, 10.0) if (size := step * power) >= least * (1.0 - 1e-9))


def summed(cells: Sequence[Row]) -> dict[str, int]:
    """Joints of all cells, and how many of them are overdue and due soon."""
    return {
        "joints": sum(cell[2] for cell in cells),
        "overdue": sum(cell[4] for cell in cells),
        "due_soon": sum(cell[5] for cell in cells),
    }


def cell_columns(cells: Sequence[Row], cell_m: float) -> dict[str, Sequence[Any]]:
    """Cells as columns: their middle, count, worst band, overdue and due soon. There is at least one."""
    cell_east, cell_north, joints, band, overdue, due_soon = zip(*cells, strict=True)
    return {
        "east_m": [round((cell + 0.5) * cell_m, 3) for cell in cell_east],
        "north_m": [round((cell + 0.5) * cell_m, 3) for cell in cell_north],
        "joints": joints,
        "band": band,
        "overdue": overdue,
        "due_soon": due_soon,
    }


def joint_columns(rows: Sequence[Row], today: date) -> dict[str, Sequence[Any]]:
    """Joints as columns, with the due state of each."""
    names = ("tag", "east_m", "north_m", "elevation_m", "band", "due_on", "risk_rank")
    listed: list[Sequence[Any]] = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    columns: dict[str, Sequence[Any]] = dict(zip(names, listed, strict=True))
    columns["state"] = [due_state(due_on, today) for due_on in columns["due_on"]]
    return columns
