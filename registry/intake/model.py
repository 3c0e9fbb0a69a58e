"""What passes between a file and an importer: the raw table, the columns wanted, the typed rows, the report.

An importer declares its columns and goes through five steps (`registry/joints/service.py` is the full example)::

    table = read_table(source, mapping)                      # tables.py: every cell as text, with its row number
    rows = typed_rows(table, COLUMNS, mapping, today=today)  # columns.py: typed, or an issue for each bad cell
    rows = rows.with_faults("tag", unknown, "is no joint of this site: load the joint list first")  # its own checks
    frame = rows.admitted(keep_valid)                        # all rows or none, or the good ones
    ...                       # store: copy_frame() into a temporary table, then INSERT … SELECT
    return rows.report("vibration", loaded=True, added=added, unchanged=unchanged, intake_id=intake_id)
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import polars as pl

from registry.errors import Invalid, Issue
from registry.units import Quantity

Kind = Literal["text", "number", "date", "time", "yes_no", "choice"]
ROW = "row"  # the column of spreadsheet row numbers in every typed frame


class FileUnreadable(Invalid):
    """The file cannot be read as a table"""

    slug = "file-unreadable"


class ColumnsMissing(Invalid):
    """The table lacks a column that must be there"""

    slug = "columns-missing"


class MappingUnusable(Invalid):
    """The mapping file cannot be used"""

    slug = "mapping-unusable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column that an importer wants: its name with the unit in it, what a cell of it is, and what it may not be.

    `choices` maps each allowed value to other ways of writing it. `quantity` lets a file give another unit by suffix
    (`pressure_psig` for `pressure_barg`). Bounds are in our unit. `words` are what headings call it, for the
    suggested mapping.
    """

    name: str
    kind: Kind = "text"
    required: bool = False
    quantity: Quantity | None = None
    choices: Mapping[str, Sequence[str]] = field(default_factory=dict[str, Sequence[str]])
    at_least: float | None = None
    above: float | None = None
    below_says: str | None = None
    slack: float = 0.0  # a value this little below `at_least` is taken as `at_least`: somebody rounded
    not_in_future: bool = False
    longest: int = 2000
    words: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FileMapping:
    """How one file's table becomes ours.

    `columns` maps our name, or our name with another unit at its end, to the heading in the file; empty means that
    the headings are ours already. `values` maps our column to our value to the ways the file writes it.
    `date_formats` are such as `DD/MM/YYYY`; ISO dates and `09-Jul-2022` need none. `time_zone` is that of times
    written without one.
    """

    columns: Mapping[str, str] = field(default_factory=dict[str, str])
    values: Mapping[str, Mapping[str, Sequence[str]]] = field(default_factory=dict[str, Mapping[str, Sequence[str]]])
    defaults: Mapping[str, str] = field(default_factory=dict[str, str])
    blank: Sequence[str] = ()
    sheet: str | int | None = None
    header_row: int = 1
    date_formats: Sequence[str] = ()
    decimal_comma: bool = False
    time_zone: str = "UTC"
    delimiter: str | None = None
    encoding: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A file's table as it stands: every cell as text (null where empty), nothing judged yet.

    `cells` has columns `c0`, `c1`, … below `headings`; `row_numbers` are those a spreadsheet shows. `numbers` holds
    the cells that a workbook keeps as numbers, so that they need not pass through text. `faults` are rows that broke
    the table's own form.
    """

    source_name: str
    content_sha256: bytes
    headings: tuple[str, ...]
    cells: pl.DataFrame
    row_numbers: pl.Series
    numbers: pl.DataFrame | None = None
    faults: tuple[Issue, ...] = ()
    above: tuple[tuple[str, ...], ...] = ()  # title rows over the headings, to write refused rows in the same layout
    sheet: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """One value that a load changes (or would change): where it came from, what stood before, what stands now."""

    row: int
    key: str
    column: str
    old: Any
    new: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeReport:
    """What became of a file: counts of its rows, what changed, every fault, in the order of the file.

    `loaded` is False for a preview and for a file refused as a whole. `refused` counts rows with a fault.
    `differences` may be cut at a stated number; `differences_total` counts them all.
    """

    kind: str
    source_name: str
    loaded: bool
    rows_read: int
    added: int
    changed: int
    unchanged: int
    refused: int
    issues: tuple[Issue, ...] = ()
    differences: tuple[Difference, ...] = ()
    differences_total: int = 0
    notes: tuple[str, ...] = ()
    intake_id: int | None = None

    @property
    def changes(self) -> int:
        """Rows added or changed."""
        return self.added + self.changed


@dataclass(frozen=True)
class TypedRows:
    """The data rows of a table, each declared column typed (null where not given), and the fault of each bad cell.

    `frame` has `row` and every declared column; `given` are those that the file or a default provides. Rows with a
    fault are in `frame` with the bad cell null; `good` leaves them out.
    """

    table: Table
    frame: pl.DataFrame
    issues: tuple[Issue, ...]
    given: frozenset[str]
    headings: Mapping[str, str]  # our column -> the heading in the file
    raw: Mapping[str, str]  # our column -> the column of table.cells
    notes: tuple[str, ...] = ()

    @cached_property
    def refused_rows(self) -> frozenset[int]:
        """Spreadsheet row numbers with at least one fault."""
        return frozenset(issue.row for issue in self.issues if issue.row is not None)

    @property
    def good(self) -> pl.DataFrame:
        """The rows without a fault."""
        if not self.refused_rows:
            return self.frame
        refused = pl.Series(sorted(self.refused_rows), dtype=pl.Int32)
        return self.frame.filter(~pl.col(ROW).is_in(refused.implode()))

    def with_faults(self, column: str, faulty: pl.Series | pl.Expr, reason: str | Sequence[str]) -> "TypedRows":
        """These rows with a fault in `column` wherever `faulty` (a mask over `frame`, null counts as no) holds.

        `reason` follows the value in a sentence and says what to do ("is no joint of this site: load the joint list
        first"); give a sequence, one for each faulty row in order, where it differs. A row that has a fault in this
        column keeps its first.
        """
        mask = self.frame.select(faulty.alias("m"))["m"] if isinstance(faulty, pl.Expr) else faulty
        rows = self.frame.filter(mask.fill_null(value=False))[ROW].to_list()
        if not rows:
            return self
        reasons = [reason] * len(rows) if isinstance(reason, str) else list(reason)
        heading = self.headings.get(column, column)
        known = {(issue.row, issue.column) for issue in self.issues}
        values = self.values_at(column, rows)
        more = [
            Issue(row, heading, value, why)
            for row, value, why in zip(rows, values, reasons, strict=True)
            if (row, heading) not in known
        ]
        return replace(self, issues=self.in_order((*self.issues, *more)))

    def with_values(self, column: str, values: pl.Series) -> "TypedRows":
        """These rows with other values in a column (found rather than read), which counts as given from now on."""
        frame = self.frame.with_columns(values.alias(column))
        return replace(self, frame=frame, given=self.given | {column})

    def values_at(self, column: str, rows: Sequence[int]) -> list[str | None]:
        """What the file says in `column` at the given row numbers (ascending)."""
        raw = self.raw.get(column)
        if raw is None or not rows:
            return [None] * len(rows)
        at = self.table.row_numbers.search_sorted(pl.Series(rows, dtype=self.table.row_numbers.dtype))
        return self.table.cells[raw].gather(at).to_list()

    def in_order(self, issues: Sequence[Issue]) -> tuple[Issue, ...]:
        """Issues by row, then by the order of columns in the file; those of the file as a whole first."""
        place = {heading: number for number, heading in enumerate(self.table.headings)}
        return tuple(sorted(issues, key=lambda i: (i.row or 0, place.get(i.column or "", len(place)))))

    def admitted(self, keep_valid: bool) -> pl.DataFrame:
        """The rows to load: all of them if none has a fault; else, with `keep_valid` the good ones, without it none."""
        if keep_valid or not self.issues:
            return self.good
        return self.frame.clear()

    def report(
        self,
        kind: str,
        *,
        loaded: bool,
        added: int = 0,
        changed: int = 0,
        unchanged: int = 0,
        differences: Sequence[Difference] = (),
        differences_total: int = 0,
        notes: Sequence[str] = (),
        intake_id: int | None = None,
    ) -> IntakeReport:
        """The report of these rows, with the counts that only the importer knows."""
        return IntakeReport(
            kind=kind,
            source_name=self.table.source_name,
            loaded=loaded,
            rows_read=self.frame.height,
            added=added,
            changed=changed,
            unchanged=unchanged,
            refused=len(self.refused_rows),
            issues=self.issues,
            differences=tuple(differences),
            differences_total=differences_total,
            notes=(*self.notes, *notes),
            intake_id=intake_id,
        )
