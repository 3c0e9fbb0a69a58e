"""The published versions of a site's policy and its draft, read and written."""

from typing import Any, TypeVar

import orjson
from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.policy.versions import PolicyDraft, PolicyPublication, PolicyVersion

SQL = queries_beside(__file__)
Row = TypeVar("Row")


def take_policy_lock(connection: Connection) -> None:
    """Hold the site's policy until the transaction ends."""
    connection.execute(SQL["take_policy_lock"])


def read_current_policy(connection: Connection) -> PolicyVersion | None:
    """The newest published version."""
    return _one(connection, "read_current_policy", PolicyVersion)


def read_policy(connection: Connection, policy_version: int) -> PolicyVersion | None:
    """One published version."""
    return _one(connection, "read_policy", PolicyVersion, policy_version=policy_version)


def read_stamp(connection: Connection, policy_version: int | None = None) -> tuple[int, str] | None:
    """Number of a published version, the newest by default, and the hash of its document."""
    row = connection.execute(SQL["read_stamp"], {"policy_version": policy_version}).fetchone()
    return None if row is None else (int(row[0]), str(row[1]))


def list_policies(connection: Connection) -> list[PolicyPublication]:
    """Every published version, newest first."""
    with connection.cursor(row_factory=class_row(PolicyPublication)) as cursor:
        return cursor.execute(SQL["list_policies"]).fetchall()


def add_policy(connection: Connection, document: dict[str, Any], published_by: str, note: str) -> PolicyVersion:
    """Publish a document as the next version."""
    added = _one(
        connection, "add_policy", PolicyVersion, document=_json(document), published_by=published_by, note=note
    )
    assert added is not None, "INSERT … RETURNING gives its row"
    return added


def read_draft(connection: Connection) -> PolicyDraft | None:
    """The draft as last saved."""
    return _one(connection, "read_draft", PolicyDraft)


def save_draft(connection: Connection, based_on: int, document: dict[str, Any]) -> PolicyDraft:
    """Put a document in the draft's place, or begin one."""
    saved = _one(connection, "save_draft", PolicyDraft, based_on=based_on, document=_json(document))
    assert saved is not None, "INSERT … RETURNING gives its row"
    return saved


def drop_draft(connection: Connection) -> bool:
    """Throw the draft away; False where there was none."""
    return connection.execute(SQL["drop_draft"]).rowcount > 0


def list_names_in_use(connection: Connection) -> list[tuple[str, str]]:
    """('family' or 'service', name) of all that joints of the register stand under."""
    return [(kind, name) for kind, name in connection.execute(SQL["list_names_in_use"]).fetchall()]


def _one(connection: Connection, query: str, kind: type[Row], **parameters: Any) -> Row | None:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[query], parameters).fetchone()


def _json(document: dict[str, Any]) -> str:
    return orjson.dumps(document).decode()
