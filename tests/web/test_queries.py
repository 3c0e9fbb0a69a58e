"""How many statements each page sends to the database: a number that somebody decided."""

from typing import Any

import psycopg
import pytest
from fastapi.testclient import TestClient

from tests.web.demo_site import DemoSite

# Four come before any page's own: the site is found in a transaction (set, list), then set for the page's, then the
# title block is read. The pool's look whether a connection is alive is left out.
PAGES = {
    "plan": 10,
    "plan?area=Jetty&due=overdue": 10,
    "plan-figure.json": 5,
    "due": 8,
    "due?area=Jetty": 8,
    "weeks": 15,
    "weeks/unplaced": 7,
    "weeks/moves": 7,
    "weeks/deferrals": 5,
    "crews": 10,
    "crews/1": 7,
    "outages/1": 6,
    "routes": 11,
    "routes/1": 9,
    "routes/1/mend": 15,
    "leaks": 7,
    "intervals": 8,
    "joints?tag=TW": 5,
    "joints/{tag}": 24,
    "joints/{tag}/make-up": 11,
    "joints/{tag}/tag": 6,
    "make-up": 7,
}


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    statements: list[str] = []
    execute, copy = psycopg.Cursor.execute, psycopg.Cursor.copy

    def counted_execute(self: Any, query: Any, *arguments: Any, **named: Any) -> Any:
        if query:
            statements.append(str(query))
        return execute(self, query, *arguments, **named)

    def counted_copy(self: Any, statement: Any, *arguments: Any, **named: Any) -> Any:
        statements.append(str(statement))
        return copy(self, statement, *arguments, **named)

    monkeypatch.setattr(psycopg.Cursor, "execute", counted_execute)
    monkeypatch.setattr(psycopg.Cursor, "copy", counted_copy)
    return statements


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_as_often_as_was_decided(pages: TestClient, demo: DemoSite, sent: list[str], page: str) -> None:
    address = f"{demo.root}/{page}".format(tag=pages.get(f"{demo.root}/due.csv").text.split("\r\n")[1].split(",")[0])
    pages.get(address)  # connections, statistics and caches stand
    sent.clear()
    assert pages.get(address).status_code == 200
    assert len(sent) == PAGES[page], "\n".join(statement[:90] for statement in sent)


def test_a_list_asks_no_more_for_more_rows(pages: TestClient, demo: DemoSite, sent: list[str]) -> None:
    counts = []
    for page in ("due?area=Jetty", "due?area=Hydrogen+compression", "due?family=flanged"):
        pages.get(f"{demo.root}/{page}")
        sent.clear()
        pages.get(f"{demo.root}/{page}")
        counts.append(len(sent))
    assert len(set(counts)) == 1
