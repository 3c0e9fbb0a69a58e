"""`jointwright check-setup` says what is good and what is not, and its exit status can be relied on."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from registry.cli import main
from registry.db import Database
from registry.migration import migrate_back, newest_revision, revision_of
from registry.setup.service import check_folders, check_packages, check_python
from tests.conftest import new_site
from tests.database.small_ledger import add_joint, add_row

Answer = Callable[..., tuple[int, dict[str, Any]]]


@pytest.fixture
def answer(database: Database, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Answer:
    """Run the command on the test's database; its exit status, and what it says as JSON."""
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)

    def run(*arguments: str) -> tuple[int, dict[str, Any]]:
        status = main(["check-setup", "--json", *arguments])
        return status, json.loads(capsys.readouterr().out)

    return run


def test_a_sound_installation_is_good_throughout(database: Database, answer: Answer) -> None:
    for code in ("one", "two"):
        site_id = new_site(database, code)
        with database.transaction(site_id) as connection:
            add_row(connection, "leak_step", site_id, add_joint(connection, site_id, "TAG"))
    status, said = answer()
    assert (status, said["good"]) == (0, True), said
    names = [finding["name"] for finding in said["findings"]]
    assert names[:5] == ["python", "packages", "server", "schema", "role"]
    assert len([name for name in names if name.startswith("ledger ")]) == 2 * 4
    found = {finding["name"]: finding["found"] for finding in said["findings"]}
    assert found["ledger leak of one"] == "1 rows, unbroken"


def test_a_changed_ledger_is_told_by_row_with_exit_status_1(database: Database, answer: Answer) -> None:
    site_id = new_site(database, "one")
    with database.transaction(site_id) as connection:
        row = add_row(connection, "leak", site_id, add_joint(connection, site_id, "TAG"))
    with database.owner() as owner:
        owner.execute("ALTER TABLE leak DISABLE TRIGGER USER")
        owner.execute("UPDATE leak SET severity = 'drip'")
        owner.execute("ALTER TABLE leak ENABLE TRIGGER USER")
    status, said = answer()
    assert status == 1
    bad = [finding for finding in said["findings"] if not finding["good"]]
    assert [(finding["name"], finding["found"]) for finding in bad] == [("ledger leak of one", f"row {row} changed")]
    assert bad[0]["advice"]


def test_an_old_schema_is_told_and_left_alone_until_asked(database: Database, answer: Answer) -> None:
    migrate_back(database.url)
    status, said = answer()
    assert status == 1
    assert [finding["name"] for finding in said["findings"] if not finding["good"]] == ["schema"]
    assert revision_of(database) is None
    status, said = answer("--migrate")
    assert (status, said["good"]) == (0, True), said
    assert revision_of(database) == newest_revision()


@pytest.mark.parametrize(
    ("statement", "complaint"),
    [
        ("ALTER ROLE jointwright_app BYPASSRLS", "passes row-level security"),
        (
            "GRANT CREATE ON SCHEMA public TO jointwright_app; SET ROLE jointwright_app; CREATE TABLE mine (x int)",
            "owns",
        ),
    ],
)
def test_a_role_with_too_many_rights_is_told(
    database: Database, answer: Answer, statement: str, complaint: str
) -> None:
    try:
        with database.owner() as owner:
            owner.execute(statement.encode())
        status, said = answer()
        assert status == 1
        assert complaint in next(finding["found"] for finding in said["findings"] if finding["name"] == "role")
    finally:
        # The role belongs to the whole server, and other tests work under it.
        with database.owner() as owner:
            owner.execute("ALTER ROLE jointwright_app NOBYPASSRLS")


def test_no_database_is_exit_status_3(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", "postgresql://nobody@127.0.0.1:1/nothing")
    assert main(["check-setup", "--json"]) == 3
    said = json.loads(capsys.readouterr().out)
    assert said["findings"][-1]["name"] == "database"
    assert main(["check-setup"]) == 3
    assert "BAD   database: " in capsys.readouterr().out


def test_folders_open_to_others_are_told(tmp_path: Path) -> None:
    folders = {"data": tmp_path, "cluster": tmp_path / "postgresql", "socket": tmp_path / "socket"}
    for folder in folders.values():
        folder.mkdir(exist_ok=True)
        folder.chmod(0o700)
    assert check_folders(folders).good
    folders["cluster"].chmod(0o750)
    folders["data"].chmod(0o777)
    finding = check_folders(folders)
    assert not finding.good
    assert finding.found == f"{tmp_path} has mode 777; {folders['cluster']} has mode 750"


def test_an_old_python_or_package_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    assert check_python().good
    assert check_packages().good, check_packages().found
    monkeypatch.setattr("registry.setup.service.OLDEST_PYTHON", (99, 0))
    assert not check_python().good
    wanted = ["numpy>=999.0", "no-such-package>=1.0", "psycopg[binary]>=3.0", 'pytest>=99; extra == "test"']
    monkeypatch.setattr("registry.setup.service.metadata.requires", lambda _: wanted)
    assert check_packages().found.endswith("is older than 999.0; no-such-package is missing")
    assert "numpy" in check_packages().found
