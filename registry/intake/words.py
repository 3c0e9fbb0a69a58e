"""Cells that should be words: free text, yes or no, or one of a list with its other spellings."""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import polars as pl

from registry.intake.model import Column

_YES: Final = ("yes", "y", "true", "t", "1", "x")
_NO: Final = ("no", "n", "false", "f", "0")
_LISTED: Final = 8

Spellings = Mapping[str, Sequence[str]]  # our value -> the ways the file writes it


def plain_words(text: str) -> str:
    """A text for comparison: lower case, every run of other signs than letters and digits one blank.

    Examples
    --------
    >>> plain_words("  Tube ftg,  2-FERRULE ")
    'tube ftg 2 ferrule'
    """
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


def texts(text: pl.Series, column: Column, spellings: Spellings) -> tuple[pl.Series, dict[str, str]]:
    """The cells as text, each spelling in the mapping replaced, and the reason of each distinct bad cell."""
    reasons: dict[str, str] = {}
    bad = text.str.contains("\x00", literal=True) | (text.str.len_chars() > column.longest)
    if bad.any():
        for cell in text.filter(bad.fill_null(value=False)).unique().to_list():
            reasons[cell] = (
                "holds a NUL sign: type the cell anew"
                if "\x00" in cell
                else f"is {len(cell):,} characters long: shorten it to {column.longest:,}"
            )
        text = pl.select(pl.when(~bad).then(text)).to_series()
    if spellings:
        told = {way: ours for ours, ways in spellings.items() for way in ways}
        text = text.replace(told)
    return text, reasons


def yes_no(text: pl.Series, spellings: Spellings) -> tuple[pl.Series, dict[str, str]]:
    """The cells as yes or no (null where empty or bad), and the reason of each distinct bad cell."""
    known = {way: True for way in _YES} | {way: False for way in _NO}
    known |= {plain_words(way): True for way in spellings.get("yes", ())}
    known |= {plain_words(way): False for way in spellings.get("no", ())}
    cells = text.drop_nulls().unique().to_list()
    found = {cell: known[plain_words(cell)] for cell in cells if plain_words(cell) in known}
    says = "is neither yes nor no: write yes or no, or add it to the mapping's values"
    return _replaced(text, found, pl.Boolean), {cell: says for cell in cells if cell not in found}


def choices(text: pl.Series, column: Column, spellings: Spellings) -> tuple[pl.Series, dict[str, str]]:
    """The cells as the column's own values (null where empty or bad), and the reason of each distinct bad cell.

    Case and punctuation do not matter; the mapping's spellings win over the column's.
    """
    known: dict[str, str] = {}
    for source in (column.choices, spellings):
        for ours, ways in source.items():
            known.update({plain_words(way): ours for way in (ours, *ways)})
    cells = text.drop_nulls().unique().to_list()
    found = {cell: known[plain_words(cell)] for cell in cells if plain_words(cell) in known}
    reasons = {
        cell: f"is no {column.name.replace('_', ' ')} known here: {_advice(cell, known, column)}"
        for cell in cells
        if cell not in found
    }
    return _replaced(text, found, pl.String), reasons


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that looks most like this one, if any looks like it at all.

    Examples
    --------
    >>> nearest("Elektrolysis hal", ["Jetty", "Electrolysis hall"]), nearest("TBC", ["Jetty"])
    ('Electrolysis hall', None)
    """
    plain = {plain_words(one): one for one in known}
    near = difflib.get_close_matches(plain_words(word), list(plain), n=1, cutoff=0.6)
    return plain[near[0]] if near else None


def _advice(cell: str, known: Mapping[str, str], column: Column) -> str:
    near = nearest(cell, known)
    if near is not None:
        return f"is '{known[near]}' meant? Correct it, or add it to the mapping under [values.{column.name}]"
    listed = ", ".join(list(column.choices)[:_LISTED]) + (", …" if len(column.choices) > _LISTED else "")
    return f"correct it, or add it to the mapping under [values.{column.name}]; known are {listed or 'none yet'}"


def _replaced(text: pl.Series, found: Mapping[str, object], kind: type[pl.DataType]) -> pl.Series:
    if not found:
        return pl.repeat(None, text.len(), dtype=kind, eager=True)
    return text.replace_strict(list(found), list(found.values()), default=None, return_dtype=kind)
