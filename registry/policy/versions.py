"""A published version of the policy, the draft beside it, and what can be wrong with changing them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.errors import Conflict, Invalid, NotFound


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


class PublisherUnnamed(Invalid):
    """A policy is published by a named person who says why"""

    slug = "publisher-unnamed"


def differences(old: Any, new: Any, path: str = "") -> list[Difference]:
    """Every value in which two documents differ, by its path; rows of a table are matched by their name, not their place.

    >>> differences({"a": {"b": 1}}, {"a": {"b": 2}})
    [Difference(path='a.b', old=1, new=2)]
    """
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        found: list[Difference] = []
        for key in [*old, *(key for key in new if key not in old)]:
            found += differences(old.get(key), new.get(key), f"{path}.{key}" if path else str(key))
        return found
    old_rows, new_rows = _by_name(old), _by_name(new)
    if old_rows is not None and new_rows is not None:
        found = []
        for name in [*old_rows, *(name for name in new_rows if name not in old_rows)]:
            found += differences(old_rows.get(name), new_rows.get(name), f"{path}[{name}]")
        return found
    return [] if old == new else [Difference(path, old, new)]


def in_the_order_of(document: Any, model: Any) -> Any:
    """The document with the keys of its tables in the order of a model document; the database keeps no order of keys."""
    if isinstance(document, Mapping):
        known = model if isinstance(model, Mapping) else {}
        keys = [key for key in known if key in document] + [key for key in document if key not in known]
        return {key: in_the_order_of(document[key], known.get(key)) for key in keys}
    if isinstance(document, list):
        row: dict[str, Any] = {}
        for example in model if isinstance(model, list) else ():
            if isinstance(example, Mapping):
                row = {**row, **{key: value for key, value in example.items() if key not in row}}
        return [in_the_order_of(item, row) for item in document]
    return document


def _by_name(rows: Any) -> dict[str, Any] | None:
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        return None
    for key in ("code", "name", "number", "method", "pressure_barg"):
        names = [str(row.get(key)) for row in rows]
        if all(key in row for row in rows) and len(set(names)) == len(names):
            return dict(zip(names, rows, strict=True))
    return None
