"""Bringing a database to the newest schema, and asking whether it is there."""

import re
from typing import TYPE_CHECKING

from registry.db import Connection, Database
from registry.settings import migrations_folder

if TYPE_CHECKING:
    from alembic.config import Config

_REVISION = re.compile(r'^(down_)?revision = "(\w+)"$', re.MULTILINE)


def migrate(url: str, revision: str = "head") -> None:
    """Bring the database at `url` up to `revision`; another process that migrates meanwhile waits its turn."""
    # Here and not above: loading it takes longer than most commands do, and they only ask whether it is needed.
    from alembic import command

    command.upgrade(_config(url), revision)


def migrate_back(url: str, revision: str = "base") -> None:
    """Take the database back down to `revision`, with the loss of what later revisions hold."""
    from alembic import command

    command.downgrade(_config(url), revision)


def newest_revision() -> str:
    """The revision that this version of the program expects: the one that no other follows."""
    texts = [path.read_text(encoding="utf-8") for path in (migrations_folder() / "versions").glob("*.py")]
    found = [match for text in texts for match in _REVISION.findall(text)]
    followed = {name for is_down, name in found if is_down}
    (newest,) = {name for is_down, name in found if not is_down} - followed
    return newest


def revision_of(database: Database) -> str | None:
    """The revision that a database is at, or None if it has never been migrated."""
    with database.owner() as connection:
        return _recorded_revision(connection)


def _recorded_revision(connection: Connection) -> str | None:
    if connection.execute("SELECT to_regclass('alembic_version')").fetchone() == (None,):
        return None
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


def _config(url: str) -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    config.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    return config
