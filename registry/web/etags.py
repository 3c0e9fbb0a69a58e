"""Revisions of what people edit, as entity tags (RFC 9110): who changes it says which one they saw."""

import re

from fastapi import HTTPException

_ETAG = re.compile(r'^"(\d+)"$')


def etag(revision: int) -> str:
    """The entity tag of a revision."""
    return f'"{revision}"'


def revision_in(if_match: str | None, if_none_match: str | None = None) -> int | None:
    """The revision that a request says it saw: 0 for 'none was there' (If-None-Match: *), None for 'any' (If-Match: *).

    Raises HTTPException 428 where it says nothing, 400 where it says something that was never given out.
    """
    if if_match is None and if_none_match is not None and if_none_match.strip() == "*":
        return 0
    if if_match is None:
        raise HTTPException(428, "say which revision you saw: If-Match with its ETag, or If-None-Match: * for a first")
    if if_match.strip() == "*":
        return None
    found = _ETAG.match(if_match.strip())
    if found is None:
        raise HTTPException(400, "If-Match holds one ETag, as it was given")
    return int(found[1])
