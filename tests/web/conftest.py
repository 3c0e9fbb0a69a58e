"""Pages over the demo plant, and over a site with nothing in it."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from dashboards.app import create_app
from registry.db import Database
from tests.conftest import new_site
from tests.web.demo_site import DemoSite, demo_site, noon

HTML = {"Accept": "text/html"}


@pytest.fixture(scope="session")
def demo(server_url: str, template_name: str) -> Iterator[DemoSite]:
    """The demo plant for tests that only read."""
    with demo_site(server_url, template_name) as site:
        yield site


@pytest.fixture(scope="session")
def pages(demo: DemoSite) -> Iterator[TestClient]:
    """A browser's view of the demo plant, for tests that only read."""
    with TestClient(demo.app, base_url="http://localhost", headers=HTML, follow_redirects=False) as client:
        yield client


@pytest.fixture(scope="module")
def own_demo(server_url: str, template_name: str) -> Iterator[DemoSite]:
    """A demo plant of the module's own, for tests that record something."""
    with demo_site(server_url, template_name) as site:
        yield site


@pytest.fixture
def own_pages(own_demo: DemoSite) -> Iterator[TestClient]:
    """A browser's view of the module's own demo plant."""
    with TestClient(own_demo.app, base_url="http://localhost", headers=HTML, follow_redirects=False) as client:
        yield client


@pytest.fixture(scope="session")
def written_demo(server_url: str, template_name: str) -> Iterator[DemoSite]:
    """A demo plant whose plan and crews several modules change: each looks only at what it put there itself."""
    with demo_site(server_url, template_name) as site:
        yield site


@pytest.fixture(scope="session")
def written_pages(written_demo: DemoSite) -> Iterator[TestClient]:
    """A browser's view of the demo plant whose plan and crews are changed."""
    with TestClient(written_demo.app, base_url="http://localhost", headers=HTML, follow_redirects=False) as client:
        yield client


@pytest.fixture
def empty_pages(database: Database) -> Iterator[TestClient]:
    """A browser's view of a database whose one site, 'new-plant', has nothing in it."""
    new_site(database, "new-plant")
    app = create_app(database, clock=noon)
    with TestClient(app, base_url="http://localhost", headers=HTML, follow_redirects=False) as client:
        yield client
