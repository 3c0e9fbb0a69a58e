"""Which heading of the file is which of our columns, and in which unit."""

from collections.abc import Sequence
from dataclasses import dataclass

from registry.intake.model import Column, ColumnsMissing, FileMapping, MappingUnusable, Table
from registry.units import Unit, suffixes, unit_at_end

REASON_HEADING = "reason"  # added to refused rows, and passed over when they come back corrected


@dataclass(frozen=True, slots=True)
class Binding:
    """A declared column found in a file: its heading there, the raw column below it, and its unit if it has one."""

    heading: str
    raw: str
    unit: Unit | None


def bindings(
    table: Table, columns: Sequence[Column], mapping: FileMapping
) -> tuple[dict[str, Binding], tuple[str, ...]]:
    """Our column names to where they stand in the file, and notes on headings that are not used.

    Raises ColumnsMissing if a required column, or a heading that the mapping names, is not there; MappingUnusable if
    the mapping names a column or a unit that does not exist, or a heading that stands there twice.
    """
    wanted = mapping.columns or _own_headings(table, columns)
    places: dict[str, list[int]] = {}
    for place, heading in enumerate(table.headings):
        places.setdefault(folded(heading), []).append(place)
    bound: dict[str, Binding] = {}
    for name, heading in wanted.items():
        column, unit = named_column(name, columns)
        at = places.get(folded(heading), [])
        if not at:
            raise ColumnsMissing(f"{table.source_name} has no heading {heading!r} for {name}. {_found(table)}")
        if len(at) > 1:
            raise MappingUnusable(
                f"{table.source_name} has the heading {heading!r} {len(at)} times: rename all but the one for {name}"
            )
        if column.name in bound:
            raise MappingUnusable(f"{column.name} is given twice, in {bound[column.name].heading!r} and {heading!r}")
        bound[column.name] = Binding(table.headings[at[0]], f"c{at[0]}", unit)
    _check_mapping(columns, mapping)
    absent = [c.name for c in columns if c.required and c.name not in bound and c.name not in mapping.defaults]
    if absent:
        raise ColumnsMissing(
            f"{table.source_name} has no column for {', '.join(absent)}. {_found(table)}; "
            "use these names as headings, or map the file's own with a mapping file (--suggest drafts one)"
        )
    used = {int(binding.raw[1:]) for binding in bound.values()}
    unused = [
        heading
        for place, heading in enumerate(table.headings)
        if heading and place not in used and folded(heading) != REASON_HEADING
    ]
    return bound, (f"columns not used: {', '.join(unused)}",) if unused else ()


def named_column(name: str, columns: Sequence[Column]) -> tuple[Column, Unit | None]:
    """The column that a name stands for, whatever unit is at its end, and that unit. Raises MappingUnusable."""
    found = column_of(name, columns)
    if found is not None:
        return found
    for column in columns:
        stem = stem_of(column)
        if column.quantity is not None and name.lower().startswith(f"{stem}_"):
            known = ", ".join(f"{stem}_{suffix}" for suffix in suffixes(column.quantity))
            raise MappingUnusable(f"{name!r} has no unit that is known for {column.name}: use one of {known}")
    raise MappingUnusable(f"{name!r} is no column here: known are {', '.join(column.name for column in columns)}")


def column_of(name: str, columns: Sequence[Column]) -> tuple[Column, Unit | None] | None:
    """As `named_column`, but None for a name that is none of ours."""
    for column in columns:
        if column.quantity is None:
            if folded(name) == folded(column.name):
                return column, None
            continue
        found = unit_at_end(name.strip().lower(), column.quantity)
        if found is not None and found[0] == stem_of(column):
            return column, found[1]
    return None


def stem_of(column: Column) -> str:
    """A column's name without its unit."""
    found = unit_at_end(column.name, column.quantity) if column.quantity is not None else None
    return column.name if found is None else found[0]


def folded(heading: str) -> str:
    """A heading for comparison: case and runs of blanks do not matter."""
    return " ".join(heading.split()).casefold()


def _own_headings(table: Table, columns: Sequence[Column]) -> dict[str, str]:
    own: dict[str, str] = {}
    for heading in table.headings:
        name = heading.strip().lower().replace(" ", "_")
        if column_of(name, columns) is not None:
            if name in own:
                raise MappingUnusable(f"{table.source_name} has the heading {heading!r} more than once: keep one")
            own[name] = heading
    return own


def _check_mapping(columns: Sequence[Column], mapping: FileMapping) -> None:
    by_name = {column.name: column for column in columns}
    for part, names in (("values", mapping.values), ("defaults", mapping.defaults)):
        for name in names:
            if name not in by_name:
                raise MappingUnusable(f"[{part}] of the mapping names {name!r}, which is no column here")
    for name, spellings in mapping.values.items():
        column = by_name[name]
        known = set(column.choices) if column.kind == "choice" else {"yes", "no"}
        if column.kind in ("choice", "yes_no"):
            for ours in spellings:
                if ours not in known:
                    listed = ", ".join(sorted(known))
                    raise MappingUnusable(f"[values.{name}] of the mapping names {ours!r}, which is none of: {listed}")
        elif column.kind != "text":
            raise MappingUnusable(f"[values.{name}] of the mapping: a {column.kind} has no other spellings")


def _found(table: Table) -> str:
    return f"Headings found: {', '.join(repr(heading) for heading in table.headings if heading)}"
