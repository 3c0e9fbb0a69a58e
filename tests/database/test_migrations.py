"""Migrations lead up, down and up again to the schema that can be read in schema.sql."""

import ast
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from psycopg import sql

from registry.db import Database
from registry.migration import migrate, migrate_back, newest_revision, revision_of
from registry.settings import migrations_folder
from tests.conftest import new_site, url_of
from tests.database.catalogue import catalogue_of

pytestmark = pytest.mark.each_server

VERSIONS = sorted((migrations_folder() / "versions").glob("*.py"))
MakeDatabase = Callable[[], str]


@pytest.fixture
def empty_database(server_url: str) -> Iterator[MakeDatabase]:
    """Make databases with nothing in them, gone after the test."""
    made: list[str] = []

    def make() -> str:
        made.append(f"empty_{uuid4().hex[:12]}")
        _run(server_url, "CREATE DATABASE {}", made[-1])
        return url_of(server_url, made[-1])

    yield make
    for name in made:
        _run(server_url, "DROP DATABASE {} WITH (FORCE)", name)


def test_the_migrated_schema_is_the_one_that_can_be_read(empty_database: MakeDatabase) -> None:
    migrated, read = empty_database(), empty_database()
    migrate(migrated)
    with psycopg.connect(read) as connection:
        connection.execute((migrations_folder() / "schema.sql").read_bytes())
    assert catalogue_of(migrated) == catalogue_of(read)


@pytest.mark.parametrize(
    "change",
    [
        "ALTER TABLE joint ADD COLUMN colour text",
        "ALTER TABLE joint ALTER COLUMN notes SET NOT NULL",
        "ALTER TABLE leak DISABLE ROW LEVEL SECURITY",
        "ALTER TABLE leak DISABLE TRIGGER leak_refuses_change",
        "GRANT DELETE ON leak TO jointwright_app",
        "DROP INDEX score_due",
        "ALTER TABLE leak DROP CONSTRAINT leak_once",
        "ALTER POLICY leak_site ON leak USING (true)",
        "CREATE FUNCTION f() RETURNS integer LANGUAGE sql RETURN 1",
        "COMMENT ON TABLE leak IS 'x'",
    ],
)
def test_a_schema_that_differs_is_seen(database: Database, change: str) -> None:
    before = catalogue_of(database.url)
    with database.owner() as owner:
        owner.execute(change.encode())
    assert catalogue_of(database.url) != before


def test_up_down_and_up_again_comes_to_the_same(empty_database: MakeDatabase) -> None:
    url = empty_database()
    nothing = catalogue_of(url)
    migrate(url)
    first = catalogue_of(url)
    migrate_back(url)
    # The application's role belongs to the server and stays; what it was granted here does not.
    assert without_schema_grants(catalogue_of(url)) == without_schema_grants(nothing)
    with psycopg.connect(url) as connection:
        granted = connection.execute("SELECT nspacl::text FROM pg_namespace WHERE nspname = 'public'").fetchone()
    assert granted is not None
    assert "jointwright_app" not in str(granted[0])
    migrate(url)
    assert catalogue_of(url) == first


def without_schema_grants(facts: list[str]) -> list[str]:
    """All facts but the schema's grants, which PostgreSQL spells out once any was made and taken back."""
    return [fact for fact in facts if not fact.startswith("schema:")]


def test_down_works_on_a_plant_in_use(database: Database) -> None:
    site_id = new_site(database, "in-use")
    with database.owner() as owner:
        owner.execute("INSERT INTO policy_version VALUES (%s, 1, '{}', 'somebody', 'first')", [site_id])
    with database.transaction(site_id) as connection:
        row = connection.execute(
            "INSERT INTO score_run (site_id, policy_version, as_of) VALUES (%s, 1, %s) RETURNING score_run_id",
            [site_id, date(2026, 1, 1)],
        ).fetchone()
        assert row is not None
        connection.execute("SELECT score_partition_create(%s)", row)
        connection.execute("SELECT score_partition_publish(%s)", row)
    migrate_back(database.url)
    migrate(database.url)
    assert revision_of(database) == newest_revision()


def test_the_newest_revision_is_the_one_that_alembic_finds() -> None:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    assert ScriptDirectory.from_config(config).get_heads() == [newest_revision()]


def test_migrating_again_changes_nothing(database: Database) -> None:
    before = catalogue_of(database.url)
    migrate(database.url)
    assert catalogue_of(database.url) == before


def test_processes_that_migrate_at_once_do_it_once(empty_database: MakeDatabase) -> None:
    url = empty_database()
    program = "import sys; from registry.migration import migrate; migrate(sys.argv[1])"
    migrating = [
        subprocess.Popen([sys.executable, "-c", program, url], stderr=subprocess.PIPE, text=True) for _ in range(3)
    ]
    complaints = [process.communicate(timeout=120)[1] for process in migrating]
    assert [process.returncode for process in migrating] == [0, 0, 0], complaints
    with Database(url) as database:
        assert revision_of(database) == newest_revision()


def test_a_migration_gives_up_rather_than_hold_up_the_plant(database: Database) -> None:
    before = catalogue_of(database.url)
    with psycopg.connect(database.url) as busy:
        busy.execute("LOCK TABLE joint IN ACCESS SHARE MODE")  # as a long report does
        began = time.monotonic()
        with pytest.raises(Exception, match="lock timeout"):
            migrate_back(database.url)
        assert time.monotonic() - began < 30
        assert catalogue_of(database.url) == before
    assert revision_of(database) == newest_revision()


def test_the_ways_to_write_a_database_s_address_all_work(empty_database: MakeDatabase) -> None:
    for way in (lambda url: url.replace("postgresql://", "postgres://"), psycopg.conninfo.make_conninfo):
        url = way(empty_database())
        migrate(url)
        with Database(url) as database:
            assert revision_of(database) == newest_revision()


@pytest.mark.parametrize("version", VERSIONS, ids=lambda path: path.stem)
def test_a_migration_is_dated_and_plain_sql(version: Path) -> None:
    assert re.fullmatch(r"\d{4}_\d{2}_\d{2}_[a-z0-9_]+", version.stem)
    text = version.read_text(encoding="utf-8")
    assert f'revision = "{version.stem}"' in text
    calls = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Call)]
    of_alembic = [ast.unparse(node.func) for node in calls if ast.unparse(node.func).startswith("op.")]
    assert of_alembic
    assert set(of_alembic) == {"op.execute"}


def test_the_newest_file_by_name_is_the_head_of_the_migrations() -> None:
    assert newest_revision() == ScriptDirectory(migrations_folder()).get_current_head()


def _run(server_url: str, statement: str, name: str) -> None:
    with psycopg.connect(server_url, autocommit=True) as connection:
        connection.execute(sql.SQL(statement).format(sql.Identifier(name)))
