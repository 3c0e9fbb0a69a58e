"""A database for every test that asks: one server and one migrated template a session, a clone or a rollback a test."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from psycopg import sql

from registry.db import Connection, Database
from registry.embedded import EmbeddedServer
from registry.migration import migrate

FIXTURES = Path(__file__).parent / "fixtures"


@pytest.fixture(scope="session")
def server_url() -> Iterator[str]:
    """A PostgreSQL server: the one of JOINTWRIGHT_TEST_DATABASE_URL, else an embedded one in a folder of its own."""
    given = os.environ.get("JOINTWRIGHT_TEST_DATABASE_URL")
    if given:
        yield given
        return
    folder = Path(tempfile.mkdtemp(prefix="jointwright-test-"))
    folder.chmod(0o711)
    try:
        with EmbeddedServer(folder) as server:
            yield server.url
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def template_name(server_url: str) -> Iterator[str]:
    """An empty, migrated database, to be cloned."""
    name = f"template_{uuid4().hex[:12]}"
    with _created(server_url, name):
        migrate(url_of(server_url, name))
        yield name


@pytest.fixture
def database(server_url: str, template_name: str) -> Iterator[Database]:
    """A migrated database of the test's own, for tests where commits matter; no site in it yet."""
    with cloned_database(server_url, template_name) as database:
        yield database


@pytest.fixture(scope="session")
def shared_database(server_url: str, template_name: str) -> Iterator[Database]:
    """One migrated database for all tests that roll back."""
    name = f"shared_{uuid4().hex[:12]}"
    with _created(server_url, name, template=template_name), Database(url_of(server_url, name)) as database:
        yield database


@pytest.fixture
def connection(shared_database: Database) -> Iterator[Connection]:
    """A transaction in the application's role, inside a new site, rolled back at the end."""
    site_id = new_site(shared_database, f"site-{uuid4().hex[:8]}")
    with shared_database.transaction(site_id) as connection:
        yield connection
        connection.rollback()


@contextmanager
def cloned_database(server_url: str, template_name: str) -> Iterator[Database]:
    """A migrated database, for a fixture of a test module's own."""
    name = f"test_{uuid4().hex[:12]}"
    with _created(server_url, name, template=template_name), Database(url_of(server_url, name)) as database:
        yield database


def new_site(database: Database, code: str) -> int:
    """Make a site as the owner would, with nothing in it."""
    with database.owner() as owner:
        row = owner.execute("INSERT INTO site (code, name) VALUES (%s, %s) RETURNING site_id", [code, code]).fetchone()
    assert row is not None
    return int(row[0])


def url_of(server_url: str, name: str) -> str:
    """The URL of another database on the same server."""
    head, _, query = server_url.partition("?")
    return head.rpartition("/")[0] + f"/{name}" + (f"?{query}" if query else "")


class _created:
    def __init__(self, server_url: str, name: str, template: str = "template1") -> None:
        self.server_url, self.name, self.template = server_url, name, template

    def __enter__(self) -> None:
        self._run("CREATE DATABASE {} TEMPLATE {}", self.name, self.template)

    def __exit__(self, *_: object) -> None:
        self._run("DROP DATABASE {} WITH (FORCE)", self.name)

    def _run(self, statement: str, *names: str) -> None:
        with psycopg.connect(self.server_url, autocommit=True) as connection:
            connection.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))
