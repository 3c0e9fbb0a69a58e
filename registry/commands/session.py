"""What every command begins with: the database, migrated, and the site that is meant."""

import argparse
import os
from collections.abc import Generator
from contextlib import contextmanager

from registry.db import Database
from registry.embedded import EmbeddedServer
from registry.errors import Unavailable
from registry.migration import migrate, newest_revision, revision_of
from registry.settings import Settings, settings_from
from registry.sites.model import Site
from registry.sites.service import find_site


class SchemaNotCurrent(Unavailable):
    """The database's schema is not the one this program works with"""

    slug = "schema-not-current"


@contextmanager
def open_database(settings: Settings | None = None, *, migrate_given: bool = False) -> Generator[Database]:
    """The database of the settings, at the newest schema.

    The embedded one is started when needed and migrated at once. One that was given by URL is migrated only with
    `migrate_given`. Raises SchemaNotCurrent, or what the embedded server raises.
    """
    settings = settings or settings_from(os.environ)
    if settings.database_url is None:
        with EmbeddedServer(settings.data_folder) as server:
            with Database(server.url) as database:
                if revision_of(database) != newest_revision():
                    migrate(server.url)
            with Database(server.url) as database:
                yield database
        return
    with Database(settings.database_url) as database:
        if migrate_given:
            migrate(settings.database_url)
        elif (found := revision_of(database)) != newest_revision():
            raise SchemaNotCurrent(
                f"the database is at {found or 'no schema'}, this program works with {newest_revision()}:"
                " back it up, then run `jointwright serve --migrate` or `jointwright check-setup --migrate`"
            )
        yield database


@contextmanager
def open_site(parsed: argparse.Namespace) -> Generator[tuple[Database, Site]]:
    """The database and the site of `--site`, of JOINTWRIGHT_SITE, or the only one there is."""
    settings = settings_from(os.environ)
    with open_database(settings) as database:
        yield database, find_site(database, getattr(parsed, "site", None) or settings.site)
