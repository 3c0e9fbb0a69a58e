"""Mapping files: TOML that says how one file's headings, words, dates and numbers become ours."""

import codecs
import json
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from registry.intake.dates import strptime_format
from registry.intake.model import FileMapping, MappingUnusable

_KEYS: Final = (
    "sheet", "header_row", "date_format", "time_zone", "decimal_comma", "delimiter", "encoding", "blank", "columns",
    "values", "defaults",
)  # fmt: skip


def read_mapping(source: Path | bytes, name: str | None = None) -> FileMapping:
    """The mapping in a TOML file, or in its bytes. Raises MappingUnusable, saying which entry and what it should be."""
    name = name or (source.name if isinstance(source, Path) else "the mapping")
    try:
        data = source.read_bytes() if isinstance(source, Path) else source
        return mapping_from(tomllib.loads(data.removeprefix(codecs.BOM_UTF8).decode("utf-8")), name)
    except FileNotFoundError:
        raise MappingUnusable(f"there is no mapping file {source}") from None
    except OSError as exc:
        raise MappingUnusable(f"{name} cannot be read: {exc.strerror or exc}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
        raise MappingUnusable(f"{name} is not TOML: {exc}") from None


def mapping_from(document: Mapping[str, Any], name: str) -> FileMapping:
    """The mapping in a TOML document. Raises MappingUnusable."""
    for key in document:
        if key not in _KEYS:
            raise MappingUnusable(f"{name}: {key!r} is no entry of a mapping; known are {', '.join(_KEYS)}")
    reader = _Entries(document, name)
    formats = reader.texts("date_format")
    for pattern in formats:
        strptime_format(pattern)
    return FileMapping(
        columns=reader.table("columns"),
        values=reader.spellings(),
        defaults=reader.table("defaults"),
        blank=reader.texts("blank"),
        sheet=reader.one("sheet", str, int),
        header_row=reader.header_row(),
        date_formats=formats,
        decimal_comma=bool(reader.one("decimal_comma", bool)),
        time_zone=reader.one("time_zone", str) or "UTC",
        delimiter=reader.delimiter(),
        encoding=reader.one("encoding", str),
    )


def mapping_text(mapping: FileMapping, remarks: Mapping[str, str] | None = None, head: Sequence[str] = ()) -> str:
    """A mapping as TOML; `remarks` puts a comment behind a column or a table's name, `head` lines of comment on top."""
    remarks = remarks or {}
    lines = [f"# {line}" for line in head]
    for key, value, usual in (
        ("sheet", mapping.sheet, None),
        ("header_row", mapping.header_row, None),
        ("date_format", list(mapping.date_formats), []),
        ("time_zone", mapping.time_zone, "UTC"),
        ("decimal_comma", mapping.decimal_comma, False),
        ("delimiter", mapping.delimiter, None),
        ("encoding", mapping.encoding, None),
        ("blank", list(mapping.blank), []),
    ):
        if value != usual:
            lines.append(f"{key} = {_toml(value)}{_remark(remarks.get(key))}")
    lines += ["", "[columns]"]
    lines += [f"{name} = {_toml(heading)}{_remark(remarks.get(name))}" for name, heading in mapping.columns.items()]
    for name, spellings in mapping.values.items():
        lines += ["", f"[values.{name}]{_remark(remarks.get(f'values.{name}'))}"]
        lines += [f"{_key(ours)} = {_toml(list(ways))}" for ours, ways in spellings.items()]
    if mapping.defaults:
        lines += ["", "[defaults]", *(f"{name} = {_toml(value)}" for name, value in mapping.defaults.items())]
    return "\n".join(lines) + "\n"


class _Entries:
    """A TOML document's entries, each checked for what it may be."""

    def __init__(self, document: Mapping[str, Any], name: str) -> None:
        self.document = document
        self.name = name

    def one(self, key: str, *kinds: type[Any]) -> Any:
        value = self.document.get(key)
        if value is None or (isinstance(value, kinds) and (not isinstance(value, bool) or bool in kinds)):
            return value
        wanted = " or ".join(
            {"str": "text", "int": "a number", "bool": "true or false"}[kind.__name__] for kind in kinds
        )
        raise MappingUnusable(f"{self.name}: {key} = {value!r} should be {wanted}")

    def header_row(self) -> int:
        row = self.one("header_row", int)
        if row is not None and row < 1:
            raise MappingUnusable(f"{self.name}: header_row = {row} should be 1 or more, as a spreadsheet counts")
        return row or 1

    def delimiter(self) -> str | None:
        mark = self.one("delimiter", str)
        if mark is not None and (len(mark) != 1 or not mark.isascii() or mark in '"\r\n'):
            raise MappingUnusable(f"{self.name}: delimiter = {mark!r} should be one sign, such as ';' or '\\t'")
        return mark

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.document.get(key, [])
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(item, str) for item in listed):
            raise MappingUnusable(f"{self.name}: {key} should be a text or a list of texts")
        return tuple(listed)

    def table(self, key: str) -> dict[str, str]:
        value = self.document.get(key, {})
        if not isinstance(value, dict) or not all(
            isinstance(item, str | int | float | bool) for item in value.values()
        ):
            raise MappingUnusable(f'{self.name}: [{key}] should hold lines such as tag = "Joint No."')
        return {str(name): item if isinstance(item, str) else str(item).lower() for name, item in value.items()}

    def spellings(self) -> dict[str, dict[str, tuple[str, ...]]]:
        value = self.document.get("values", {})
        example = '[values.family] should hold lines such as flanged = ["Flange", "RF flg"]'
        if not isinstance(value, dict) or not all(isinstance(table, dict) for table in value.values()):
            raise MappingUnusable(f"{self.name}: {example}")
        made: dict[str, dict[str, tuple[str, ...]]] = {}
        for name, table in value.items():
            made[name] = {}
            for ours, ways in table.items():
                listed = [ways] if isinstance(ways, str) else ways
                if not isinstance(listed, list) or not all(isinstance(way, str) for way in listed):
                    raise MappingUnusable(f"{self.name}, {ours} in [values.{name}]: {example}")
                made[name][ours] = tuple(listed)
        return made


def _toml(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else _toml(name)


def _remark(text: str | None) -> str:
    return f"  # {' '.join(text.split())}" if text else ""
