"""One request is one transaction in one site.

`app.state.database` holds the Database. `SiteConnection` is for a path with `{site}`: it opens a transaction in the
application's role with that site set, commits before the answer is sent, and rolls back if the handler raises.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from registry.db import Connection, Database
from registry.sites.model import Site
from registry.sites.service import find_site


@dataclass(frozen=True, slots=True)
class SiteRequest:
    """The site that a request is about, and its open transaction."""

    site: Site
    connection: Connection


def database_of(request: Request) -> Database:
    """The application's database."""
    database = request.app.state.database
    assert isinstance(database, Database)
    return database


def _site_request(site: str, database: Annotated[Database, Depends(database_of)]) -> Iterator[SiteRequest]:
    found = find_site(database, site)
    with database.transaction(found.site_id) as connection:
        yield SiteRequest(found, connection)


def _site_connection(request: Annotated[SiteRequest, Depends(_site_request, scope="function")]) -> Connection:
    return request.connection


# Scope 'function': the transaction is over before the answer goes out, so that an answer of success is one.
InSite = Annotated[SiteRequest, Depends(_site_request, scope="function")]
SiteConnection = Annotated[Connection, Depends(_site_connection, scope="function")]
