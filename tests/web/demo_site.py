"""The invented plant, small, with the whole application over it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from fastapi import FastAPI

from dashboards.app import create_app
from registry.db import Database
from registry.demo.service import build_demo
from tests.conftest import cloned_database

TODAY = date(2026, 3, 4)
JOINTS = 600
SEED = 7


@dataclass(frozen=True, slots=True)
class DemoSite:
    """A built demo plant: its database, its site, and the application at noon of its day."""

    database: Database
    site_id: int
    code: str
    app: FastAPI

    @property
    def root(self) -> str:
        """Where its pages are."""
        return f"/sites/{self.code}"


def noon() -> datetime:
    """The clock of these tests."""
    return datetime.combine(TODAY, time(12), UTC)


@contextmanager
def demo_site(server_url: str, template_name: str) -> Iterator[DemoSite]:
    """The demo plant in a database of its own."""
    with cloned_database(server_url, template_name) as database:
        site, _ = build_demo(database, JOINTS, SEED, TODAY)
        yield DemoSite(database, site.site_id, site.code, create_app(database, clock=noon))
