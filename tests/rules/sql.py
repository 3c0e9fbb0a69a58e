"""Just enough SQL to see what a statement writes."""

import re
from collections.abc import Iterator

_COMMENT = re.compile(r"--[^\n]*|/\*.*?\*/", re.DOTALL)
_QUOTED = re.compile(r"'(?:[^']|'')*'|\$(\w*)\$.*?\$\1\$", re.DOTALL)
_NAME = r'((?:"?\w+"?\s?\.\s?)?"?\w+"?)'
_WRITES = re.compile(
    rf"""\bINSERT\s+INTO\s+{_NAME}
       | \bMERGE\s+INTO\s+(?:ONLY\s+)?{_NAME}
       | \bDELETE\s+FROM\s+(?:ONLY\s+)?{_NAME}
       | (?<!\bDO\s)(?<!\bFOR\s)(?<!\bKEY\s)(?<!\bON\s)(?<!\bOR\s)(?<!\bTHEN\s)\bUPDATE\s+(?:ONLY\s+)?{_NAME}
       | \bCOPY\s+{_NAME}\s*(?:\([^)]*\))?\s*FROM\b
       | \bLOCK\s+(?:TABLE\s+)?(?:ONLY\s+)?{_NAME}
       | \b(?:ALTER|DROP)\s+TABLE\s+(?:IF\s+EXISTS\s+)?{_NAME}
    """,
    re.VERBOSE | re.IGNORECASE,
)
_TRUNCATE = re.compile(
    r"\bTRUNCATE\s+(?:TABLE\s+)?(?:ONLY\s+)?([\w\s,.\"]+?)(?:\s+(?:RESTART|CONTINUE|CASCADE|RESTRICT)\b|;|$)",
    re.IGNORECASE,
)
_TEMPORARY = re.compile(rf"\bCREATE\s+TEMP(?:ORARY)?\s+TABLE\s+(?:IF\s+NOT\s+EXISTS\s+)?{_NAME}", re.IGNORECASE)


def bare(text: str) -> str:
    """The statement without comments and quoted text, which may hold words that look like SQL."""
    return " ".join(_QUOTED.sub("''", _COMMENT.sub(" ", text)).split())


def tables_written(text: str) -> set[str]:
    """Every table that the statements insert into, change, empty, lock or drop, but the temporary ones they make."""
    statement = bare(text)
    return set(_written(statement)) - temporary_tables(statement)


def temporary_tables(text: str) -> set[str]:
    """The temporary tables that the statements make."""
    return {name for found in _TEMPORARY.finditer(bare(text)) for name in _plain(found.group(1))}


def _written(statement: str) -> Iterator[str]:
    for found in _WRITES.finditer(statement):
        yield from _plain(next(name for name in found.groups() if name is not None))
    for found in _TRUNCATE.finditer(statement):
        for name in found.group(1).split(","):
            yield from _plain(name)


def _plain(name: str) -> Iterator[str]:
    """The table's name without schema and quotes; nothing for a table of pg_temp, which is the session's own."""
    schema, _, table = name.replace('"', "").replace(" ", "").lower().rpartition(".")
    if schema != "pg_temp":
        yield table
