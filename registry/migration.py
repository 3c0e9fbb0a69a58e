"""Bringing a database to the newest schema, and asking whether it is there.

Alembic is imported where it works: every command asks for the revision, and hardly any migrates.
"""

from typing import TYPE_CHECKING

from registry.db import Connection, Database
from registry.settings import migrations_folder

if TYPE_CHECKING:
    from alembic.config import Config


def migrate(url: str, revision: str = "head") -> None:
    """Bring the database at `url` up to `revision`; a second process that migrates at the same time waits its turn."""
    from alembic import command

    command.upgrade(_config(url), revision)


def migrate_back(url: str, revision: str = "base") -> None:
    """Take the database back down to `revision`, with the loss of what later revisions hold."""
    from alembic import command

    command.downgrade(_config(url), revision)


def newest_revision() -> str:
    """The revision that this version of the program expects."""
    # A revision is called after its file and a file begins with its day, so the last by name is the newest.
    return max(path.stem for path in (migrations_folder() / "versions").glob("*.py"))


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
