"""A database where commits matter, shared by the tests of one file, which keep apart by site; commands run on one."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from registry.cli import main
from registry.db import Database
from tests.conftest import cloned_database

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def module_database(server_url: str, template_name: str) -> Iterator[Database]:
    """One migrated database for a file's tests; nothing that they commit is seen by other files."""
    with cloned_database(server_url, template_name) as database:
        yield database


@pytest.fixture
def run_on(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Callable[..., Run]:
    """`run_on(database, "plan")` gives what runs `jointwright plan …` there, for status, output and errors."""

    def on(database: Database, *command: str) -> Run:
        monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)
        monkeypatch.delenv("JOINTWRIGHT_SITE", raising=False)
        monkeypatch.setenv("COLUMNS", "120")
        monkeypatch.chdir(tmp_path)

        def run(*arguments: str) -> tuple[int, str, str]:
            capsys.readouterr()
            status = main([*command, *arguments])
            said = capsys.readouterr()
            return status, said.out, said.err

        return run

    return on
