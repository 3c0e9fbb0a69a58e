"""A published version of the policy, the draft beside it, and what can be wrong with changing them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from registry.errors import Conflict, Invalid, NotFound

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class PolicyVersion:
    """A policy as a named person published it; nobody edits it afterwards."""

    policy_version: int
    document: dict[str, Any]
    published_by: str
    note: str
    published_at: datetime


@dataclass(frozen=True, slots=True)
class PolicyPublication:
    """Who published which version, when and why."""

    policy_version: int
    published_by: str
    note: str
    published_at: datetime


@dataclass(frozen=True, slots=True)
class PolicyDraft:
    """The document that may become the next version; `revision` counts how often it was saved."""

    based_on: int
    document: dict[str, Any]
    revision: int
    edited_at: datetime


@dataclass(frozen=True, slots=True)
class Difference:
    """One value that stands otherwise in two documents; None where one of them has none."""

    path: str
    old: Any
    new: Any


class PolicyUnknown(NotFound):
    """There is no such version of the policy"""

    slug = "policy-unknown"


class DraftUnknown(NotFound):
    """There is no draft of the policy"""

    slug = "draft-unknown"


class DraftOvertaken(Conflict):
    """The draft is not what it was taken to be"""

    slug = "draft-overtaken"


class DraftSavedSince(DraftOvertaken):
    """Somebody saved the draft in between"""

    slug = "draft-saved-since"


class PublisherUnnamed(Invalid):
    """A policy is published by a named person who says why"""

    slug = "publisher-unnamed"


def differences(old: Any, new: Any, path: str = "") -> list[Difference]:
    """Every value in which two documents differ, by its path; rows of a table are matched by name, not by place.

    >>> differences({"a": {"b": 1}}, {"a": {"b": 2}})
    [Difference(path='a.b', old=1, new=2)]
    """
    if isinstance(old, dict) and isinstance(new, dict):
        old_table, new_table = cast(Document, old), cast(Document, new)
        return [
            difference
            for key in _keys_of_both(old_table, new_table)
            for difference in differences(old_table.get(key), new_table.get(key), f"{path}.{key}" if path else key)
        ]
    old_rows, new_rows = _by_name(old), _by_name(new)
    if old_rows is not None and new_rows is not None:
        return [
            difference
            for name in _keys_of_both(old_rows, new_rows)
            for difference in differences(old_rows.get(name), new_rows.get(name), f"{path}[{name}]")
        ]
    return [] if old == new else [Difference(path, old, new)]


def in_the_order_of(document: Any, model: Any) -> Any:
    """The document with its keys in the order of a model document; the database keeps no order of keys."""
    if isinstance(document, dict):
        table = cast(Document, document)
        known = cast(Document, model) if isinstance(model, dict) else {}
        return {key: in_the_order_of(table[key], known.get(key)) for key in _keys_of_both(known, table) if key in table}
    if isinstance(document, list):
        row: Document = {}
        for example in cast(list[Any], model) if isinstance(model, list) else []:
            if isinstance(example, dict):
                row = {**cast(Document, example), **row}
        return [in_the_order_of(item, row) for item in cast(list[Any], document)]
    return document


def _keys_of_both(first: Document, second: Document) -> list[str]:
    return [*first, *(key for key in second if key not in first)]


def _by_name(rows: Any) -> Document | None:
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in cast(list[Any], rows)):
        return None
    tables = cast(list[Document], rows)
    for key in ("code", "name", "number", "method", "pressure_barg"):
        names = [str(row.get(key)) for row in tables]
        if all(key in row for row in tables) and len(set(names)) == len(names):
            return dict(zip(names, tables, strict=True))
    return None
