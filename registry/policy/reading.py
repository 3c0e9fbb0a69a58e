"""Reading a nested document of numbers and text, keeping a list of everything that is wrong with it.

A fault never stops the reading: the value is replaced by a stand-in, the fault is noted with its path, and the caller
refuses the document once with all faults together.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from registry.errors import Issue

Word = TypeVar("Word", bound=str)
Kept = TypeVar("Kept")


@dataclass
class TableReader:
    """One table of a document: typed access to its keys, and at the end a look for keys that nobody asked for."""

    table: Mapping[str, object]
    path: str
    issues: list[Issue]
    asked: set[str] = field(default_factory=set[str])

    def number(self, key: str, low: float, high: float, *, open_low: bool = False) -> float:
        """Return a finite number within [low, high], or ]low, high] with `open_low`."""
        value = self._value(key)
        if value is None:
            return self._refuse(key, None, "is missing", _inside(low, high))
        return self._number(key, value, low, high, open_low)

    def optional_number(self, key: str, low: float, high: float) -> float | None:
        """Return a number within [low, high], or None where the key is not given."""
        value = self._value(key)
        return None if value is None else self._number(key, value, low, high, False)

    def whole(self, key: str, low: int, high: int) -> int:
        """Return a whole number within [low, high]."""
        value = self._value(key)
        if value is None:
            return self._refuse(key, None, "is missing", low)
        return self._whole(key, value, low, high)

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self._value(key)
        if isinstance(value, bool):
            return value
        return self._refuse(key, value, "must be true or false", False)

    def text(self, key: str) -> str:
        """Return text that says something."""
        value = self._value(key)
        if isinstance(value, str) and value.strip():
            return value
        return self._refuse(key, value, "must be text", "?")

    def optional_text(self, key: str) -> str:
        """Return text, empty where the key is not given."""
        value = self._value(key)
        if value is None or isinstance(value, str):
            return value or ""
        return self._refuse(key, value, "must be text", "")

    def choice(self, key: str, allowed: Sequence[Word], *, default: Word | None = None) -> Word:
        """Return one of the allowed words."""
        value = self._value(key)
        if value is None and default is not None:
            return default
        for word in allowed:
            if value == word:
                return word
        return self._refuse(key, value, f"must be one of {', '.join(allowed)}", allowed[0])

    def texts(self, key: str, *, least: int = 0) -> tuple[str, ...]:
        """Return a list of text, of at least so many entries."""
        values = self._list(key, least)
        return tuple(
            value
            if isinstance(value, str) and value.strip()
            else self._refuse(f"{key}[{at}]", value, "must be text", "?")
            for at, value in enumerate(values)
        )

    def numbers(self, key: str, low: float, high: float, *, length: int | None = None) -> tuple[float, ...]:
        """Return a list of numbers within [low, high], of a given length."""
        values = self._list(key, 1)
        if length is not None and len(values) != length:
            self._refuse(key, len(values), f"must list {length} numbers", None)
        return tuple(self._number(f"{key}[{at}]", value, low, high, False) for at, value in enumerate(values))

    def optional_numbers(self, key: str, low: float, high: float, *, length: int) -> tuple[float, ...] | None:
        """Return a list of numbers, or None where the key is not given."""
        return None if self.table.get(key) is None else self.numbers(key, low, high, length=length)

    def matrix(self, key: str, low: int, high: int, *, rows: int, columns: int) -> tuple[tuple[int, ...], ...]:
        """Return rows x columns whole numbers within [low, high]."""
        found: list[tuple[int, ...]] = []
        for at, row in enumerate(self._list(key, 1)):
            cells = list(row) if isinstance(row, Sequence) and not isinstance(row, str) else []
            if len(cells) != columns:
                self._refuse(f"{key}[{at}]", row, f"must list {columns} numbers", None)
            found.append(tuple(self._whole(f"{key}[{at}][{i}]", cell, low, high) for i, cell in enumerate(cells)))
        if len(found) != rows:
            self._refuse(key, len(found), f"must have {rows} rows", None)
        return tuple(found)

    def inner(self, key: str) -> "TableReader":
        """Return a reader of the table under a key."""
        value = self._value(key)
        if isinstance(value, Mapping):
            return TableReader(_named(value), self._path(key), self.issues)
        self._refuse(key, value, "must be a table", None)
        return TableReader({}, self._path(key), [])  # its faults would only repeat this one

    def optional_inner(self, key: str) -> "TableReader | None":
        """Return a reader of the table under a key, or None where the key is not given."""
        return self.inner(key) if self._value(key) is not None else None

    def rows(self, key: str, *, least: int = 1) -> list["TableReader"]:
        """Return a reader for each row of a list of tables."""
        readers: list[TableReader] = []
        for at, row in enumerate(self._list(key, least)):
            if isinstance(row, Mapping):
                readers.append(TableReader(_named(row), self._path(f"{key}[{at}]"), self.issues))
            else:
                self._refuse(f"{key}[{at}]", row, "must be a table", None)
        return readers

    def refuse(self, key: str, value: object, reason: str) -> None:
        """Note a fault that only the caller can see."""
        self._refuse(key, value, reason, None)

    def finish(self) -> None:
        """Note every key that was never asked for: a slip of the pen must not pass for a setting."""
        for key in self.table:
            if key not in self.asked:
                self._refuse(key, None, "is not a key that is known here", None)

    def _path(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def _value(self, key: str) -> object:
        self.asked.add(key)
        return self.table.get(key)

    def _list(self, key: str, least: int) -> list[object]:
        value = self._value(key)
        if value is None and least == 0:
            return []
        if not isinstance(value, Sequence) or isinstance(value, str):
            return self._refuse(key, value, "must be a list", [])
        if len(value) < least:
            self._refuse(key, len(value), f"must have at least {least} entries", None)
        return list(value)

    def _number(self, key: str, value: object, low: float, high: float, open_low: bool) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            return self._refuse(key, value, "must be a number", _inside(low, high))
        if not low <= value <= high or (open_low and value == low):
            bound = f"above {low:g}" if open_low else f"at least {low:g}"
            return self._refuse(key, value, f"must be {bound} and at most {high:g}", _inside(low, high))
        return float(value)

    def _whole(self, key: str, value: object, low: int, high: int) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value % 1:
            return self._refuse(key, value, "must be a whole number", low)
        if not low <= value <= high:
            return self._refuse(key, value, f"must be from {low} to {high}", low)
        return int(value)

    def _refuse(self, key: str, value: object, reason: str, kept: Kept) -> Kept:
        self.issues.append(Issue(None, self._path(key), None if value is None else str(value), reason))
        return kept


def _inside(low: float, high: float) -> float:
    return min(max(1.0, low), high) or high


def _named(table: Mapping[object, object]) -> Mapping[str, object]:
    return {str(key): value for key, value in table.items()}
