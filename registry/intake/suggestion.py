"""A mapping drafted from a file: where the headings stand, which of our columns each is, and in which unit.

It is a draft for a person to confirm. Whatever was taken on trust (a pressure that does not say gauge, a length
without a unit, a word that only looks like one of ours) stands in it as a remark.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import polars as pl

from registry.intake.bindings import column_of, stem_of
from registry.intake.mapping_file import mapping_text
from registry.intake.model import Column, FileMapping, FileUnreadable, Table
from registry.intake.tables import Top, contents, read_table, tops
from registry.intake.words import nearest, plain_words
from registry.units import UNITS, Unit, unit_at_end, unit_spelling

_IN_BRACKETS: Final = re.compile(r"^(.*?)[\s,]*[(\[]([^()\[\]]+(?:\([^()]*\))?)[)\]]\s*$")
_BEHIND_SLASH: Final = re.compile(r"^(.*\w)\s*/\s*(yr|year|a|month|week|day)$", re.IGNORECASE)
_GAUGE_LEFT_OPEN: Final = frozenset({"bar", "mbar", "psi", "pa", "kpa", "mpa", "kg_cm2", "kgf_cm2"})
_COMMA_NUMBER: Final = r"^[+-]?\d+,\d+$"
_DIGIT_DATE: Final = re.compile(r"^(\d{1,2})([\s./-])(\d{1,2})\2(\d{4}|\d{2})\b")
_WELL_MATCHED: Final = 0.34


@dataclass(frozen=True, slots=True)
class _Match:
    column: Column
    name: str  # ours, with the file's unit
    score: float
    remark: str | None


@dataclass(frozen=True, slots=True)
class Draft:
    """A drafted mapping: the file's text with its remarks, the mapping in it, and the required columns it lacks."""

    text: str
    mapping: FileMapping
    missing: tuple[str, ...]


def suggested_mapping(source: Path | bytes, columns: Sequence[Column], name: str | None = None) -> Draft:
    """A mapping for this file, with remarks to confirm. Raises FileUnreadable if no row looks like headings."""
    data, name = contents(source, name)
    top, row = _heading_row(tops(data, name), columns, name)
    headings = [" ".join(heading.split()) for heading in top.rows[row]]
    matches = _one_to_one(headings, columns)
    mapping = FileMapping(
        sheet=top.sheet, header_row=row + 1, columns={match.name: headings[at] for at, match in matches.items()}
    )
    remarks = {match.name: match.remark for match in matches.values() if match.remark}
    table = read_table(data, mapping, name)
    places = {match.column.name: at for at, match in matches.items()}
    mapping = _with_numbers_and_dates(mapping, table, columns, places, remarks)
    mapping = _with_values(mapping, table, columns, places, remarks)
    left = [heading for at, heading in enumerate(headings) if heading and at not in matches]
    missing = [column.name for column in columns if column.required and column.name not in places]
    head = [f"Drafted from {name}: confirm every line, then load with --mapping."]
    head += [f"Not matched, and not loaded: {', '.join(left)}"] if left else []
    head += [f"STILL MISSING, and needed: {', '.join(missing)}"] if missing else []
    return Draft(mapping_text(mapping, remarks, head), mapping, tuple(missing))


def _heading_row(found: Sequence[Top], columns: Sequence[Column], name: str) -> tuple[Top, int]:
    best: tuple[float, Top, int] | None = None
    for top in found:
        for row, cells in enumerate(top.rows):
            score = sum(match.score for match in _one_to_one(cells, columns).values())
            if best is None or score > best[0]:
                best = (score, top, row)
    if best is None or best[0] < 1:
        raise FileUnreadable(
            f"{name}: none of the first rows looks like headings of {', '.join(c.name for c in columns)}"
        )
    return best[1], best[2]


def _one_to_one(headings: Sequence[str], columns: Sequence[Column]) -> dict[int, _Match]:
    """The best match of each heading's place, no column twice; in the order of the columns."""
    candidates = [
        (match.score, -at, match)
        for at, heading in enumerate(headings)
        if heading.strip()
        for column in columns
        if (match := _match(heading, column)) is not None
    ]
    taken: dict[int, _Match] = {}
    for _, minus_at, match in sorted(candidates, key=lambda candidate: candidate[:2], reverse=True):
        if -minus_at not in taken and all(match.column is not other.column for other in taken.values()):
            taken[-minus_at] = match
    order = {column.name: number for number, column in enumerate(columns)}
    return dict(sorted(taken.items(), key=lambda item: order[item[1].column.name]))


def _match(heading: str, column: Column) -> _Match | None:
    own = column_of(heading.strip().lower().replace(" ", "_"), [column])
    if own is not None:
        unit = own[1]
        return _Match(column, column.name if unit is None else f"{stem_of(column)}_{unit.suffix}", 2.0, None)
    words, unit_text = _parts(heading)
    name, remark = column.name, None
    if column.quantity is not None:
        unit, words, remark = _unit_of(words, unit_text, column)
        if unit is None:
            return None
        name = f"{stem_of(column)}_{unit.suffix}"
    elif unit_text is not None:
        words = plain_words(f"{words} {unit_text}")
    said = set(plain_words(words).split())
    best = 0.0
    for phrase in (stem_of(column).replace("_", " "), *column.words):
        wanted = set(plain_words(phrase).split())
        if wanted and wanted <= said:
            best = max(best, len(wanted) / len(said) + 0.01 * len(wanted))
    if best < _WELL_MATCHED:
        return None
    # A heading that gives a unit of the right kind is more surely meant than one that gives none.
    return _Match(column, name, best + (0.5 if column.quantity is not None and remark is None else 0.0), remark)


def _parts(heading: str) -> tuple[str, str | None]:
    text = " ".join(heading.split())
    if found := _BEHIND_SLASH.match(text):
        return found[1], found[2]
    if found := _IN_BRACKETS.match(text):
        return found[1], found[2]
    return text, None


def _unit_of(words: str, unit_text: str | None, column: Column) -> tuple[Unit | None, str, str | None]:
    """The unit that a heading gives for a column, the words without it, and a remark if it was taken on trust."""
    assert column.quantity is not None
    if unit_text is not None:
        spelled = unit_spelling(unit_text)
        if unit := UNITS.get((column.quantity, spelled)):
            trusted = column.quantity == "velocity" and not re.search(r"rms|pk|peak", unit_text, re.IGNORECASE)
            return unit, words, "taken as RMS: the heading does not say" if trusted else None
        if column.quantity == "pressure" and spelled in _GAUGE_LEFT_OPEN:
            gauge = UNITS["pressure", spelled.replace("kgf_", "kg_") + "g"]
            return gauge, words, "taken as gauge: the heading does not say"
        return None, words, None
    plain = re.sub(r"[^\w²°]+", "_", words.strip()).strip("_")
    if found := unit_at_end(plain, column.quantity):
        return found[1], found[0].replace("_", " "), None
    head, _, last = plain.rpartition("_")
    if column.quantity == "pressure" and last.lower() in _GAUGE_LEFT_OPEN:
        return UNITS["pressure", last.lower() + "g"], head.replace("_", " "), "taken as gauge: the heading does not say"
    own = unit_at_end(column.name, column.quantity)
    assert own is not None
    return own[1], words, f"taken as {own[1].suffix}: the heading gives no unit"


def _with_numbers_and_dates(
    mapping: FileMapping, table: Table, columns: Sequence[Column], places: Mapping[str, int], remarks: dict[str, str]
) -> FileMapping:
    numeric = [f"c{places[c.name]}" for c in columns if c.kind == "number" and c.name in places]
    if table.numbers is None and numeric:
        commas = table.cells.select(pl.sum_horizontal(pl.col(*numeric).str.contains(_COMMA_NUMBER).sum())).item()
        if commas > table.cells.height // 10:
            mapping = replace(mapping, decimal_comma=True)
    first: list[int] = []
    second: list[int] = []
    shapes: set[tuple[str, int]] = set()
    for column in columns:
        if column.kind in ("date", "time") and column.name in places:
            for cell in table.cells[f"c{places[column.name]}"].drop_nulls().unique().to_list():
                if found := _DIGIT_DATE.match(cell):
                    first.append(int(found[1]))
                    second.append(int(found[3]))
                    shapes.add((found[2], len(found[4])))
    if not first:
        return mapping
    month_first = max(second) > 12 and max(first) <= 12
    if max(first) <= 12 and max(second) <= 12:
        remarks["date_format"] = "day before month is a guess: no date in the file tells"
    order = ("MM", "DD") if month_first else ("DD", "MM")
    formats = [f"{order[0]}{mark}{order[1]}{mark}{'Y' * year}" for mark, year in sorted(shapes)]
    return replace(mapping, date_formats=tuple(formats))


def _with_values(
    mapping: FileMapping, table: Table, columns: Sequence[Column], places: Mapping[str, int], remarks: dict[str, str]
) -> FileMapping:
    values: dict[str, dict[str, tuple[str, ...]]] = {}
    for column in columns:
        if column.kind != "choice" or column.name not in places:
            continue
        known = {plain_words(way): ours for ours, ways in column.choices.items() for way in (ours, *ways)}
        drafted: dict[str, list[str]] = {}
        unknown: list[str] = []
        for cell in sorted(table.cells[f"c{places[column.name]}"].drop_nulls().unique().to_list()):
            if plain_words(cell) in known:
                continue
            near = nearest(cell, known)
            if near is None:
                unknown.append(cell)
            else:
                drafted.setdefault(known[near], []).append(cell)
        if drafted or unknown:
            values[column.name] = {ours: tuple(ways) for ours, ways in drafted.items()}
            said = ["matched by likeness"] if drafted else []
            said += [f"nothing like: {', '.join(map(repr, unknown[:12]))}"] if unknown else []
            remarks[f"values.{column.name}"] = "; ".join(said)
    return replace(mapping, values=values)
