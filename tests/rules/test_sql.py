"""SQL stands where it can be read, writes only what its capability owns, and fits the schema that we have."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest

from registry.db import Connection, Database
from registry.named_sql import Queries
from tests.conftest import new_site
from tests.rules.project import PROJECT, modules, read, tracked_files
from tests.rules.sql import tables_written, temporary_tables

pytestmark = pytest.mark.each_server

# These three own the driver: they set the role and the site, and make databases. Nothing of the plant is in their SQL.
WITH_SQL_OF_THEIR_OWN = ("registry/db.py", "registry/columns.py", "registry/embedded.py", "registry/migration.py")
_SQL = re.compile(
    r"""^\s*(?:SELECT\s|INSERT\s+INTO\s|UPDATE\s+\S+\s+SET\s|DELETE\s+FROM\s|MERGE\s+INTO\s|WITH\s+(?:RECURSIVE\s+)?\w+\s+AS\s
        |COPY\s+\S+.*\s(?:FROM|TO)\s|TRUNCATE\s|CREATE\s+(?:TEMP|TABLE|INDEX|FUNCTION|ROLE)|ALTER\s+TABLE\s|DROP\s+TABLE\s
        |SET\s+(?:LOCAL|ROLE)\s|LOCK\s+TABLE\s)""",
    re.VERBOSE | re.DOTALL,
)
QUERY_FILES = sorted(name for name in tracked_files() if name.endswith("queries.sql"))
QUERIES = [(name, query) for name in QUERY_FILES for query in Queries(PROJECT / name)]
PREPARED = re.compile(r"^(SELECT|INSERT|UPDATE|DELETE|MERGE|VALUES|WITH)\b", re.IGNORECASE)


def test_sql_stands_only_in_queries_sql_and_migrations() -> None:
    assert not [
        f"{name}:{line}"
        for name in modules("registry", "dashboards")
        if name not in WITH_SQL_OF_THEIR_OWN
        for line in lines_with_sql(read(name))
    ]


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ('x = "SELECT tag FROM joint"', True),
        ('x = f"""\n  UPDATE {table} SET tag = 1"""', True),
        ('connection.execute("select 1")', True),
        ('connection.execute(b"vacuum")', True),
        ('cursor.copy(f"copy {table} from stdin")', True),
        ('connection.execute(SQL["read_joints"])', False),
        ('"""SELECT a joint FROM the list."""', False),
        ('x = "Select a joint from the list"', False),
    ],
)
def test_sql_in_code_is_seen(text: str, seen: bool) -> None:
    assert bool(list(lines_with_sql(text))) is seen


@pytest.mark.parametrize("name", QUERY_FILES)
def test_queries_write_only_what_their_capability_owns(name: str) -> None:
    owned = Queries(PROJECT / name).owned_tables
    written = tables_written(read(name)) - temporary_tables(read(name))
    assert written <= owned, f"{name} writes {sorted(written - owned)} and owns {sorted(owned)}"


def test_no_table_has_two_owners_and_every_owned_table_exists() -> None:
    owners = [(table, name) for name in QUERY_FILES for table in Queries(PROJECT / name).owned_tables]
    assert len({table for table, _ in owners}) == len(owners), sorted(owners)
    exist = set(re.findall(r"^CREATE TABLE (\w+)", read("migrations/schema.sql"), re.MULTILINE))
    assert {table for table, _ in owners} <= exist
    # What triggers keep is written by nobody's queries.
    kept_by_triggers = {"joint_last_make_up", "joint_last_check", "joint_last_vibration"}
    assert not exist - {table for table, _ in owners} - kept_by_triggers


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("INSERT INTO leak (site_id) VALUES (1)", {"leak"}),
        ("insert into public.leak select * from joint", {"leak"}),
        ("UPDATE ONLY joint j SET tag = 'UPDATE line SET'", {"joint"}),
        ("DELETE FROM plan_feature -- DELETE FROM joint", {"plan_feature"}),
        ("INSERT INTO a (x) VALUES (1) ON CONFLICT (x) DO UPDATE SET x = 2", {"a"}),
        ("SELECT * FROM joint FOR UPDATE", set[str]()),
        ("SELECT * FROM joint FOR NO KEY UPDATE SKIP LOCKED", set[str]()),
        ("TRUNCATE a, public.b CASCADE", {"a", "b"}),
        ("COPY route_stop (x, y) FROM STDIN", {"route_stop"}),
        ("COPY joint TO STDOUT", set[str]()),
        ("MERGE INTO line USING given ON true WHEN MATCHED THEN UPDATE SET code = 1", {"line"}),
        ("CREATE TEMP TABLE given (x int) ON COMMIT DROP; INSERT INTO given VALUES (1)", set[str]()),
        ("WITH gone AS (DELETE FROM a RETURNING x) INSERT INTO b SELECT x FROM gone", {"a", "b"}),
        ("ANALYZE x; LOCK TABLE pg_temp.given; UPDATE pg_temp.given SET a = 1", set[str]()),
        ("LOCK TABLE joint IN EXCLUSIVE MODE", {"joint"}),
    ],
)
def test_what_a_statement_writes_is_seen(text: str, written: set[str]) -> None:
    assert tables_written(text) == written


@pytest.mark.parametrize(("name", "query"), QUERIES, ids=lambda value: str(value))
def test_every_query_says_in_a_sentence_what_it_is_for(name: str, query: str) -> None:
    first = Queries(PROJECT / name)[query].decode().splitlines()[0]
    assert re.match(r"^-- [A-Z].{10,}", first), f"{query} begins without a sentence: {first}"


def test_every_named_query_fits_the_migrated_schema(database: Database) -> None:
    site_id = new_site(database, "query-site")
    faults: list[str] = []
    for name in QUERY_FILES:
        queries = Queries(PROJECT / name)
        for query in queries:
            # The making of sites is the owner's; all the rest must work in the application's role.
            opened = (
                database.owner()
                if tables_written(queries[query].decode()) == {"site"}
                else database.transaction(site_id)
            )
            with opened as connection:
                faults += [f"{name}, {query}: {fault}" for fault in _faults_of(connection, queries, query)]
                connection.rollback()
    assert not faults, "\n".join(faults)


def test_a_query_that_does_not_fit_is_seen(database: Database, tmp_path: Path) -> None:
    file = tmp_path / "queries.sql"
    file.write_text(
        "-- owns: nothing\n-- name: fits\n-- Tags.\nSELECT tag FROM joint WHERE tag = %(tag)s;\n"
        "-- name: no_such_column\n-- None.\nSELECT tagg FROM joint;\n"
        "-- name: no_cast\n-- None.\nSELECT tag FROM joint WHERE %(tag)s IS NULL;\n"
        "-- name: not_allowed\n-- None.\nDELETE FROM make_up;\n"
    )
    queries = Queries(file)
    seen: list[str] = []
    for query in queries:
        with database.transaction(new_site(database, f"s-{query.replace('_', '-')}")) as connection:
            seen += [query for _ in _faults_of(connection, queries, query)]
            connection.rollback()
    assert seen == ["no_such_column", "no_cast", "not_allowed"]


def lines_with_sql(text: str) -> Iterator[int]:
    """The lines of a module where a literal is SQL by its look, or is handed to the driver as SQL."""
    tree = ast.parse(text)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        literal = isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in docstrings
        if literal and _SQL.match(_said(node)):
            yield node.lineno
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args:
            given = node.args[0]
            written_out = isinstance(given, ast.JoinedStr) or (
                isinstance(given, ast.Constant) and isinstance(given.value, str | bytes)
            )
            if written_out and node.func.attr in ("execute", "executemany", "copy", "stream"):
                yield node.lineno


def _said(node: ast.AST) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(_said(part) if isinstance(part, ast.Constant) else "something" for part in node.values)
    value = node.value if isinstance(node, ast.Constant) else ""
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)


def _faults_of(connection: Connection, queries: Queries, query: str) -> Iterator[str]:
    """Prepare a query and plan it, as the role that will run it; a temporary table that it needs is made before."""
    text = re.sub(r"(?m)^\s*--.*$", "", queries[query].decode()).strip()
    try:
        for other in queries.values():
            if temporary_tables(other.decode()):
                connection.execute(other)
        if temporary_tables(text):
            return
        if not PREPARED.match(text):
            # COPY and the like cannot be prepared: the server says by running them whether they fit.
            with connection.cursor() as cursor:
                if text.upper().startswith("COPY"):
                    with cursor.copy(text.encode()):
                        return
                cursor.execute(text.encode())
            return
        names = list(dict.fromkeys(re.findall(r"%\((\w+)\)[sbt]?", text)))
        numbered = re.sub(r"%\((\w+)\)[sbt]?", lambda found: f"${names.index(found.group(1)) + 1}", text)
        name = f"fits_{uuid4().hex}"
        connection.execute(f"PREPARE {name} AS {numbered.replace('%%', '%')}".encode())
        # Planning with nothing given also asks whether the role may: PREPARE alone does not.
        nulls = ", ".join(["NULL"] * len(names))
        connection.execute(f"EXPLAIN EXECUTE {name}{f' ({nulls})' if nulls else ''}".encode())
    except psycopg.Error as exc:
        yield str(exc).splitlines()[0]
