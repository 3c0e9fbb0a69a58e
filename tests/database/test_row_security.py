"""The application's role sees one site, the one set for the transaction, and owns nothing that could open another."""

from datetime import date
from uuid import uuid4

import psycopg
import pytest

from registry.db import APPLICATION_ROLE, Connection, Database
from tests.conftest import new_site
from tests.database.small_ledger import add_joint

pytestmark = pytest.mark.each_server

ADD_INTAKE = (
    "INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)"
    " VALUES (%s, 'joints', 'x.csv', '\\x00', 1, 1, 0)"
)
# A score run's own table is read through its parent alone: the application may only add to it, until it is published.
TABLES = b"""
    SELECT relname FROM pg_class
    WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') AND relname <> 'alembic_version'
      AND relname !~ '^score_run_[0-9]+$'"""
WITH_SITE_FIRST = (
    TABLES
    + b"""
      AND EXISTS (SELECT FROM pg_attribute a
                  WHERE a.attrelid = pg_class.oid AND a.attname = 'site_id' AND a.attnum = 1)"""
)
KEYED_BY_SITE_FIRST = (
    TABLES
    + b"""
      AND EXISTS (SELECT FROM pg_constraint c JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attname = 'site_id'
                  WHERE c.conrelid = pg_class.oid AND c.contype = 'p' AND c.conkey[1] = a.attnum)"""
)
SECURED = b"""
    SELECT c.relname FROM pg_class c JOIN pg_policy p ON p.polrelid = c.oid
    WHERE c.relrowsecurity AND p.polcmd = '*' AND p.polpermissive
      AND pg_get_expr(p.polqual, p.polrelid) = '(site_id = ( SELECT current_site() AS current_site))'"""
WITH_A_CHECK_OF_ITS_OWN = b"SELECT polname FROM pg_policy WHERE polwithcheck IS NOT NULL"
OWNED = b"""
    SELECT count(*) FROM pg_shdepend d JOIN pg_roles r ON r.oid = d.refobjid AND d.refclassid = 'pg_authid'::regclass
    WHERE r.rolname = %s AND d.deptype = 'o'"""
FUNCTIONS_OF_THE_OWNER = b"""
    SELECT proname, has_function_privilege('public', oid, 'EXECUTE'),
           has_function_privilege(%s, oid, 'EXECUTE'), array_to_string(proconfig, ',')
    FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND prosecdef"""
A_SCORE = b"""
    SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum),
           string_agg(CASE attname WHEN 'site_id' THEN %s WHEN 'score_run_id' THEN %s ELSE
               CASE format_type(atttypid, NULL) WHEN 'point' THEN 'point(0,0)' WHEN 'boolean' THEN 'false'
                   WHEN 'date' THEN 'current_date' ELSE '1' END END, ', ' ORDER BY attnum)
    FROM pg_attribute WHERE attrelid = 'score'::regclass AND attnum > 0"""


def two_sites(database: Database) -> tuple[int, int]:
    """Two new sites, each with nothing in it."""
    name = uuid4().hex[:8]
    return new_site(database, f"first-{name}"), new_site(database, f"second-{name}")


def test_every_table_keeps_to_the_site(module_database: Database) -> None:
    with module_database.owner() as owner:
        tables, site_first, keyed, secured, lax = (
            {str(row[0]) for row in owner.execute(query)}
            for query in (TABLES, WITH_SITE_FIRST, KEYED_BY_SITE_FIRST, SECURED, WITH_A_CHECK_OF_ITS_OWN)
        )
    assert len(tables) > 20
    assert site_first == tables, "site_id stands first in every table"
    assert keyed == tables, "site_id stands first in every key"
    assert secured == tables
    assert not lax, "a policy's USING also guards what is written; a WITH CHECK of its own could be weaker"


def test_a_table_without_security_would_be_seen(database: Database) -> None:
    with database.owner() as owner:
        owner.execute("CREATE TABLE stray (site_id integer PRIMARY KEY)")
    with pytest.raises(AssertionError):
        test_every_table_keeps_to_the_site(database)


def test_a_transaction_sees_its_site_and_no_other(module_database: Database) -> None:
    first, second = two_sites(module_database)
    for site_id in (first, second):
        with module_database.transaction(site_id) as connection:
            add_joint(connection, site_id, f"TAG-{site_id}")
    for site_id in (first, second):
        with module_database.transaction(site_id) as connection:
            assert connection.execute("SELECT tag FROM joint").fetchall() == [(f"TAG-{site_id}",)]
            assert connection.execute("SELECT count(*) FROM site").fetchone() == (1,)


def test_a_transaction_without_a_site_sees_nothing(module_database: Database) -> None:
    site_id, _ = two_sites(module_database)
    with module_database.transaction(site_id) as connection:
        add_joint(connection, site_id, "TAG")
    # The pool may hand out the very connection that was set to the site a moment ago.
    for _ in range(3):
        with module_database.transaction() as connection:
            for table in ("site", "joint", "intake"):
                assert connection.execute(f"SELECT count(*) FROM {table}".encode()).fetchone() == (0,)


def test_nothing_can_be_written_for_another_site(module_database: Database) -> None:
    first, second = two_sites(module_database)
    with module_database.transaction(second) as connection:
        joint_of_second = add_joint(connection, second, "THEIRS")
    with (
        pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"),
        module_database.transaction(first) as connection,
    ):
        connection.execute(ADD_INTAKE, [second])
    with module_database.transaction(first) as connection:
        assert connection.execute("UPDATE joint SET notes = 'x'").rowcount == 0
        assert connection.execute("UPDATE joint SET notes = 'x' WHERE site_id = %s", [second]).rowcount == 0
        assert connection.execute("DELETE FROM plan_feature").rowcount == 0
    with module_database.transaction(first) as connection:
        add_joint(connection, first, "OURS")
    with pytest.raises(psycopg.errors.InsufficientPrivilege), module_database.transaction(first) as connection:
        connection.execute("UPDATE joint SET site_id = %s", [second])
    with pytest.raises(psycopg.Error), module_database.transaction(first) as connection:
        connection.execute(
            "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict) VALUES (%s, %s, %s, 'accepted')",
            [second, joint_of_second, date(2026, 1, 1)],
        )


def test_no_row_can_point_into_another_site(module_database: Database) -> None:
    first, second = two_sites(module_database)
    with module_database.transaction(second) as connection:
        theirs = add_joint(connection, second, "THEIRS")
    with pytest.raises(psycopg.errors.ForeignKeyViolation), module_database.transaction(first) as connection:
        connection.execute(
            "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict) VALUES (%s, %s, %s, 'accepted')",
            [first, theirs, date(2026, 1, 1)],
        )


def test_a_score_run_of_another_site_can_be_neither_filled_nor_published(module_database: Database) -> None:
    first, second = two_sites(module_database)
    with module_database.owner() as owner:
        for site_id in (first, second):
            owner.execute("INSERT INTO policy_version VALUES (%s, 1, '{}', 'somebody', 'first')", [site_id])
    with module_database.transaction(second) as connection:
        run = _open_run(connection, second)
    for function in ("score_partition_create", "score_partition_publish"):
        with (
            pytest.raises(psycopg.errors.RaiseException, match="not open in this site"),
            module_database.transaction(first) as connection,
        ):
            connection.execute(f"SELECT {function}(%s)".encode(), [run])


def test_a_score_run_s_own_table_cannot_be_read(module_database: Database) -> None:
    site_id, _ = two_sites(module_database)
    with module_database.owner() as owner:
        owner.execute("INSERT INTO policy_version VALUES (%s, 1, '{}', 'somebody', 'first')", [site_id])
    with module_database.transaction(site_id) as connection:
        run = _open_run(connection, site_id)
        connection.execute("SELECT score_partition_create(%s)", [run])
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            connection.execute(f"SELECT count(*) FROM score_run_{run}".encode())
        connection.rollback()


def test_rows_of_another_site_in_a_score_run_stop_its_publication(module_database: Database) -> None:
    first, second = two_sites(module_database)
    with module_database.owner() as owner:
        owner.execute("INSERT INTO policy_version VALUES (%s, 1, '{}', 'somebody', 'first')", [first])
    with module_database.transaction(first) as connection:
        run = _open_run(connection, first)
        connection.execute("SELECT score_partition_create(%s)", [run])
        columns, values = connection.execute(A_SCORE, [str(second), str(run)]).fetchall()[0]
        connection.execute(f"INSERT INTO score_run_{run} ({columns}) VALUES ({values})".encode())
        with pytest.raises(psycopg.errors.CheckViolation):
            connection.execute("SELECT score_partition_publish(%s)", [run])
        connection.rollback()


def test_the_application_s_role_owns_nothing_and_may_not_rise(database: Database) -> None:
    with database.owner() as owner:
        role = owner.execute(
            "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb, rolcanlogin, rolreplication FROM pg_roles"
            " WHERE rolname = %s",
            [APPLICATION_ROLE],
        ).fetchone()
        assert role == (False,) * 6
        owned = owner.execute(OWNED, [APPLICATION_ROLE]).fetchone()
        assert owned == (0,)
        member_of = owner.execute("SELECT count(*) FROM pg_auth_members WHERE member = %s::regrole", [APPLICATION_ROLE])
        assert member_of.fetchone() == (0,)


@pytest.mark.parametrize(
    "statement",
    [
        "ALTER TABLE joint DISABLE ROW LEVEL SECURITY",
        "ALTER TABLE leak DISABLE TRIGGER ALL",
        "DROP POLICY leak_site ON leak",
        "CREATE TABLE stray (x integer)",
        "DROP TABLE leak",
        "TRUNCATE planned_check",
        "INSERT INTO site (code, name) VALUES ('x', 'x')",
        "UPDATE site SET name = 'x'",
        "DELETE FROM joint",
        "DELETE FROM make_up",
        "UPDATE policy_version SET note = 'x'",
        "UPDATE leak SET notes = 'x'",
        "SET session_replication_role = replica",
        "CREATE FUNCTION f() RETURNS integer LANGUAGE sql RETURN 1",
    ],
)
def test_what_only_the_owner_may_do_is_refused(connection: Connection, statement: str) -> None:
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(statement.encode())


def test_the_owner_s_functions_are_for_the_application_alone(module_database: Database) -> None:
    with module_database.owner() as owner:
        functions = owner.execute(FUNCTIONS_OF_THE_OWNER, [APPLICATION_ROLE]).fetchall()
    assert {str(name) for name, *_ in functions} == {
        "score_partition_create", "score_partition_publish", "score_window", "site_directory",
    }  # fmt: skip
    for name, anybody, application, settings in functions:
        assert not anybody, name
        assert application, name
        assert settings == "search_path=public, pg_temp", name


def test_the_directory_of_sites_is_all_that_is_seen_of_others(database: Database) -> None:
    first, _ = new_site(database, "first"), new_site(database, "second")
    with database.transaction(first) as connection:
        assert [row[1] for row in connection.execute("SELECT * FROM site_directory()")] == ["first", "second"]


def _open_run(connection: Connection, site_id: int) -> int:
    row = connection.execute(
        "INSERT INTO score_run (site_id, policy_version, as_of) VALUES (%s, 1, %s) RETURNING score_run_id",
        [site_id, date(2026, 1, 1)],
    ).fetchone()
    assert row is not None
    return int(row[0])
