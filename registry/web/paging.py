"""Cursor paging: a page knows where the next one begins, so rows that come and go move nothing else."""

import base64
import binascii
from collections.abc import Sequence
from typing import Annotated, Any

import orjson
from fastapi import Query

from registry.errors import Invalid

Limit = Annotated[int, Query(ge=1, le=1000, description="rows of a page")]
CursorText = Annotated[str | None, Query(description="the `next` of the page before")]


class CursorUnknown(Invalid):
    """The cursor was not made here"""

    slug = "cursor-unknown"


def cursor_text(keys: Sequence[Any]) -> str:
    """The sort keys of a page's last row, as a text that can stand in an address."""
    return base64.urlsafe_b64encode(orjson.dumps(list(keys))).decode().rstrip("=")


def cursor_keys(text: str | None, count: int) -> list[Any] | None:
    """The sort keys in a cursor, or None for the first page. Raises CursorUnknown."""
    if text is None:
        return None
    try:
        keys = orjson.loads(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))
    except (binascii.Error, ValueError) as exc:
        raise CursorUnknown("take `next` from the page before, as it is") from exc
    if not isinstance(keys, list) or len(keys) != count:
        raise CursorUnknown("take `next` from the page before, as it is")
    return keys
