"""A database where commits matter, shared by the tests of one file, which keep apart by site."""

from collections.abc import Iterator

import pytest

from registry.db import Database
from tests.conftest import cloned_database


@pytest.fixture(scope="module")
def module_database(server_url: str, template_name: str) -> Iterator[Database]:
    """One migrated database for a file's tests; nothing that they commit is seen by other files."""
    with cloned_database(server_url, template_name) as database:
        yield database
