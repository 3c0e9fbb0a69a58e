"""Bringing a database to the newest schema, and asking whether it is there."""

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from registry.db import Connection, Database
from registry.settings import migrations_folder


def migrate(url: str, revision: str = "head") -> None:
    """Bring the database at `url` up to `revision`; a second process that migrates at the same time waits for the first."""
    command.upgrade(_config(url), revision)


def migrate_back(url: str, revision: str = "base") -> None:
    """Take the database back down to `revision`, with the loss of what later revisions hold."""
    command.downgrade(_config(url), revision)


def newest_revision() -> str:
    """The revision that this version of the program expects."""
    head = ScriptDirectory.from_config(_config("postgresql://")).get_current_head()
    assert head is not None, "the project has migrations"
    return head


def revision_of(database: Database) -> str | None:
    """The revision that a database is at, or None if it has never been migrated."""
    with database.owner() as connection:
        return _recorded_revision(connection)


def _recorded_revision(connection: Connection) -> str | None:
    if connection.execute("SELECT to_regclass('alembic_version')").fetchone() == (None,):
        return None
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


def _config(url: str) -> Config:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    config.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    return config
