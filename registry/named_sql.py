"""SQL in sight: each capability's `queries.sql`, read into named queries.

A file begins with `-- owns: table, table` (or `-- owns: nothing`): the tables it may write. A query begins with
`-- name: what_it_does`, goes on with one sentence of comment, and ends where the next begins.
"""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

_NAME = re.compile(r"^-- name: (\w+)\s*$", re.MULTILINE)
_OWNS = re.compile(r"\A-- owns: (.+)$", re.MULTILINE)


class Queries(Mapping[str, bytes]):
    """The named queries of one file; the driver takes them as they stand.

    Raises ValueError if the file has no `-- owns:` line, or a name twice.
    """

    def __init__(self, path: Path) -> None:
        text = path.read_text(encoding="utf-8")
        owns = _OWNS.match(text)
        if owns is None:
            raise ValueError(f"{path} does not begin with '-- owns: …'")
        listed = owns.group(1).strip()
        self.owned_tables: frozenset[str] = frozenset(
            () if listed == "nothing" else (table.strip() for table in listed.split(","))
        )
        parts = _NAME.split(text)[1:]
        names = parts[0::2]
        if len(set(names)) != len(names):
            raise ValueError(f"{path} names a query twice")
        self._text = {name: body.strip().rstrip(";").encode() for name, body in zip(names, parts[1::2], strict=True)}

    def __getitem__(self, name: str) -> bytes:
        return self._text[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._text)

    def __len__(self) -> int:
        return len(self._text)


def queries_beside(module_file: str) -> Queries:
    """The `queries.sql` that stands beside a store module: `SQL = queries_beside(__file__)`."""
    return Queries(Path(module_file).with_name("queries.sql"))
