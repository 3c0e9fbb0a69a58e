"""Which kinds of tool the checks of a family take: as a policy document says or, for an older one, the shipped one."""

import re
from collections.abc import Mapping
from typing import Final

from registry.policy.model import CHECK_REASONS, EVERY_CHECK
from registry.policy.reading import TableReader

Tools = Mapping[str, tuple[str, ...]]

_WORD: Final = re.compile(r"[a-z][a-z0-9_]*")


def check_tools(row: TableReader, shipped: Mapping[str, object]) -> Tools:
    """Read a family's `check_tools`; without any, those of the family of the same code in the shipped document."""
    table = row.optional_inner("check_tools")
    if table is None:
        code = row.table.get("code")
        known = shipped.get("family")
        rows = known if isinstance(known, list) else []
        same = [one for one in rows if isinstance(one, dict) and one.get("code") == code]
        table = TableReader(same[0], "", []).optional_inner("check_tools") if same else None
    if table is None:
        return {}
    found = {key: table.texts(key) for key in (EVERY_CHECK, *CHECK_REASONS)}
    for key, words in found.items():
        for word in words:
            if not _WORD.fullmatch(word):
                table.refuse(key, word, "must be words in small letters, joined by underscores")
    table.finish()
    return {key: words for key, words in found.items() if words}
