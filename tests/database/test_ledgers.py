"""Ledgers refuse change even from their owner, chain every row to the one before, and show it where one was changed."""

import threading
from concurrent.futures import ThreadPoolExecutor
from uuid import uuid4

import psycopg
import pytest

from registry.db import Connection, Database
from registry.setup.model import LEDGERS, Break
from registry.setup.store import read_ledger_state
from tests.conftest import new_site
from tests.database.small_ledger import add_joint, add_row

pytestmark = pytest.mark.each_server

CHANGED, UNCHAINED = "changed", "unchained"
APPEND_ONLY = (
    *LEDGERS,
    "joint_change",
    "policy_version",
    "interval_override",
    "procedure_version",
    "qualification",
    "calibration",
    "make_up_tool",
    "make_up_lot",
    "recall",
    "recall_joint",
    "work_pack_step",
)


@pytest.fixture
def site_id(module_database: Database) -> int:
    return new_site(module_database, f"ledger-{uuid4().hex[:8]}")


@pytest.fixture
def joint_id(module_database: Database, site_id: int) -> int:
    with module_database.transaction(site_id) as connection:
        return add_joint(connection, site_id, "TAG")


@pytest.mark.parametrize("change", ["UPDATE {} SET site_id = site_id", "DELETE FROM {}", "TRUNCATE {} CASCADE"])
@pytest.mark.parametrize("ledger", APPEND_ONLY)
def test_a_ledger_refuses_change_even_from_its_owner(module_database: Database, ledger: str, change: str) -> None:
    with (
        pytest.raises(psycopg.errors.RestrictViolation, match="append-only") as refused,
        # Not database.owner(), which turns what a capability has named into that capability's error.
        psycopg.connect(module_database.url) as owner,
    ):
        owner.execute(change.format(ledger).encode())
    assert refused.value.diag.constraint_name == "ledger_append_only"


@pytest.mark.parametrize("ledger", LEDGERS)
def test_the_chain_holds_over_transactions_rows_and_sites(module_database: Database, ledger: str) -> None:
    sites = [new_site(module_database, f"ledger-{uuid4().hex[:8]}") for _ in range(2)]
    joints: dict[int, int] = {}
    for site_id in sites:
        with module_database.transaction(site_id) as connection:
            joints[site_id] = add_joint(connection, site_id, "TAG")
    for number in range(6):
        for site_id in sites:
            with module_database.transaction(site_id) as connection:
                for step in range(3):
                    add_row(connection, ledger, site_id, joints[site_id], 3 * number + step)
    for site_id in sites:
        with module_database.transaction(site_id) as connection:
            state = read_ledger_state(connection, ledger)
            assert (state.rows, state.breaks) == (18, ())
            first = connection.execute(
                f"SELECT previous_hash FROM {ledger} ORDER BY {ledger}_id LIMIT 1".encode()
            ).fetchone()
            assert first == (bytes(32),)


def test_the_chain_holds_for_many_rows_of_one_statement(module_database: Database, site_id: int, joint_id: int) -> None:
    with module_database.transaction(site_id) as connection:
        for _ in range(2):
            connection.execute(
                "INSERT INTO check_result (site_id, joint_id, observed_at, result, screening_ppmv)"
                " SELECT %s, %s, timestamptz '2026-01-01' + g * interval '7 seconds', 'tight', g / 3.0"
                " FROM generate_series(1, 2000) g",
                [site_id, joint_id],
            )
        state = read_ledger_state(connection, "check_result")
    assert (state.rows, state.breaks) == (4000, ())


@pytest.mark.parametrize("ledger", LEDGERS)
def test_eight_writers_at_once_make_one_unbroken_chain(
    module_database: Database, site_id: int, joint_id: int, ledger: str
) -> None:
    together = threading.Barrier(8)

    def write(writer: int) -> None:
        together.wait(timeout=30)
        for number in range(12):
            with module_database.transaction(site_id) as connection:
                add_row(connection, ledger, site_id, joint_id, 100 * writer + number)
                if number % 4 == 3:
                    connection.rollback()

    with ThreadPoolExecutor(8) as writers:
        list(writers.map(write, range(8)))
    with module_database.transaction(site_id) as connection:
        state = read_ledger_state(connection, ledger)
    assert (state.rows, state.breaks) == (8 * 9, ())


@pytest.mark.parametrize("ledger", LEDGERS)
def test_a_changed_row_is_found(module_database: Database, site_id: int, joint_id: int, ledger: str) -> None:
    rows = _written(module_database, site_id, joint_id, ledger)
    _as_superuser(
        module_database,
        ledger,
        f"UPDATE {ledger} SET recorded_at = recorded_at - interval '1 day' WHERE {ledger}_id = {rows[2]}",
    )
    assert _breaks(module_database, site_id, ledger) == (Break(ledger, rows[2], CHANGED),)


@pytest.mark.parametrize("ledger", LEDGERS)
def test_a_row_whose_hash_was_made_to_fit_is_found_at_the_next(
    module_database: Database, site_id: int, joint_id: int, ledger: str
) -> None:
    rows = _written(module_database, site_id, joint_id, ledger)
    _as_superuser(
        module_database,
        ledger,
        f"UPDATE {ledger} SET recorded_at = recorded_at - interval '1 day' WHERE {ledger}_id = {rows[2]}",
        f"UPDATE {ledger} l SET hash = sha256(convert_to(jsonb_strip_nulls(to_jsonb(l) - 'hash')::text, 'UTF8'))"
        f" WHERE {ledger}_id = {rows[2]}",
    )
    assert _breaks(module_database, site_id, ledger) == (Break(ledger, rows[3], UNCHAINED),)


@pytest.mark.parametrize("ledger", ["make_up", "check_result"])
def test_a_removed_row_is_found_at_the_next(
    module_database: Database, site_id: int, joint_id: int, ledger: str
) -> None:
    rows = _written(module_database, site_id, joint_id, ledger)
    _as_superuser(module_database, ledger, f"DELETE FROM {ledger} WHERE {ledger}_id = {rows[0]}")
    assert _breaks(module_database, site_id, ledger) == (Break(ledger, rows[1], UNCHAINED),)


def test_a_row_put_in_between_is_found(module_database: Database, site_id: int, joint_id: int) -> None:
    rows = _written(module_database, site_id, joint_id, "make_up")
    with module_database.owner() as owner:
        owner.execute("ALTER TABLE make_up DISABLE TRIGGER make_up_refuses_change")
        owner.execute(b"UPDATE make_up SET make_up_id = DEFAULT WHERE make_up_id = %d" % rows[1])
        owner.execute("ALTER TABLE make_up ENABLE TRIGGER make_up_refuses_change")
    assert {found.fault for found in _breaks(module_database, site_id, "make_up")} == {CHANGED, UNCHAINED}


def test_a_column_added_later_changes_no_hash(database: Database) -> None:
    site_id = new_site(database, "ledger-site")
    with database.transaction(site_id) as connection:
        joint_id = add_joint(connection, site_id, "TAG")
    _written(database, site_id, joint_id, "leak")
    with database.owner() as owner:
        owner.execute("ALTER TABLE leak ADD COLUMN cause text")
    with database.transaction(site_id) as connection:
        add_row(connection, "leak", site_id, joint_id, 9)
    assert _breaks(database, site_id, "leak") == ()


def test_the_reader_s_settings_change_no_verdict(module_database: Database, site_id: int, joint_id: int) -> None:
    _written(module_database, site_id, joint_id, "check_result")
    with module_database.transaction(site_id) as connection:
        connection.execute("SET LOCAL timezone = 'Asia/Kathmandu'")
        connection.execute("SET LOCAL bytea_output = 'escape'")
        connection.execute("SET LOCAL extra_float_digits = 0")
        assert read_ledger_state(connection, "check_result").breaks == ()


@pytest.mark.parametrize(
    ("setting", "complaint"),
    [
        ("SET LOCAL bytea_output = 'escape'", "bytea_output"),
        ("SET LOCAL extra_float_digits = 0", "extra_float_digits"),
        ("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ", "READ COMMITTED"),
    ],
)
def test_a_writer_whose_settings_would_break_the_chain_is_refused(
    module_database: Database, site_id: int, joint_id: int, setting: str, complaint: str
) -> None:
    with module_database.owner() as owner:
        owner.execute(setting.encode())
        owner.execute("SELECT set_config('jointwright.site_id', %s, true)", [str(site_id)])
        with pytest.raises(psycopg.errors.RaiseException, match=complaint):
            add_row(owner, "check_result", site_id, joint_id)


def test_a_writer_in_another_time_zone_writes_the_same_chain(
    module_database: Database, site_id: int, joint_id: int
) -> None:
    with module_database.transaction(site_id) as connection:
        connection.execute("SET LOCAL timezone = 'America/St_Johns'")
        add_row(connection, "check_result", site_id, joint_id)
    assert _breaks(module_database, site_id, "check_result") == ()


def test_a_temporary_table_of_a_ledger_s_name_leads_the_chain_nowhere(
    module_database: Database, site_id: int, joint_id: int
) -> None:
    _written(module_database, site_id, joint_id, "leak")
    with module_database.transaction(site_id) as connection:
        connection.execute("CREATE TEMP TABLE leak (LIKE public.leak) ON COMMIT DROP")
        connection.execute(
            "INSERT INTO public.leak (site_id, joint_id, observed_at, severity, found_during)"
            " VALUES (%s, %s, now(), 'weep', 'check')",
            [site_id, joint_id],
        )
    assert _breaks(module_database, site_id, "leak") == ()


@pytest.mark.parametrize("ledger", LEDGERS)
def test_nobody_adds_to_a_ledger_without_a_site(
    module_database: Database, site_id: int, joint_id: int, ledger: str
) -> None:
    with pytest.raises(psycopg.Error, match="no site is set"), module_database.owner() as owner:
        add_row(owner, ledger, site_id, joint_id)


def test_a_row_is_corrected_once_and_with_a_reason(connection: Connection) -> None:
    found = connection.execute("SELECT current_site()").fetchone()
    assert found is not None
    site_id = int(found[0])
    joint_id = add_joint(connection, site_id, "TAG")
    wrong = add_row(connection, "make_up", site_id, joint_id)
    correct = (
        b"INSERT INTO make_up (site_id, joint_id, made_up_on, verdict, supersedes, reason)"
        b" VALUES (%s, %s, '2026-01-02', 'not accepted', %s, %s)"
    )
    with pytest.raises(psycopg.errors.CheckViolation), connection.transaction():
        connection.execute(correct, [site_id, joint_id, wrong, None])
    connection.execute(correct, [site_id, joint_id, wrong, "the wrong day was read"])
    with pytest.raises(psycopg.errors.UniqueViolation), connection.transaction():
        connection.execute(correct, [site_id, joint_id, wrong, "again"])
    assert read_ledger_state(connection, "make_up").rows == 2


def _written(database: Database, site_id: int, joint_id: int, ledger: str) -> list[int]:
    with database.transaction(site_id) as connection:
        return [add_row(connection, ledger, site_id, joint_id, number) for number in range(5)]


def _breaks(database: Database, site_id: int, ledger: str) -> tuple[Break, ...]:
    with database.transaction(site_id) as connection:
        return read_ledger_state(connection, ledger).breaks


def _as_superuser(database: Database, ledger: str, *statements: str) -> None:
    """Change a ledger behind its triggers' back, as only somebody with the owner's rights can."""
    with database.owner() as owner:
        owner.execute("SET LOCAL timezone = 'UTC'")
        owner.execute(f"ALTER TABLE {ledger} DISABLE TRIGGER USER".encode())
        for statement in statements:
            assert owner.execute(statement.encode()).rowcount == 1
        owner.execute(f"ALTER TABLE {ledger} ENABLE TRIGGER USER".encode())
