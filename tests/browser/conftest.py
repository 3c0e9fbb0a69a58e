"""The demo plant served on this machine, and Debian's Chromium looking at it.

Every page that a test opens is watched: a console error, a script error or a request to another host fails the test.
"""

import os
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.web.demo_site import DemoSite, demo_site

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
)
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def chromium_path() -> str | None:
    """The Chromium of $CHROMIUM, or one on the PATH."""
    given = os.environ.get("CHROMIUM")
    return next((found for name in ([given] if given else NAMES) if (found := shutil.which(name))), None)


@dataclass
class Watch:
    """What went wrong on the pages of a test, and what they asked for."""

    faults: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)

    def over(self, page: Page) -> Page:
        """Watch a page from its first request on."""
        page.on("console", lambda said: self.faults.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("request", lambda request: self.hosts.add(urlsplit(request.url).netloc))
        return page


@dataclass(frozen=True, slots=True)
class Served:
    """The demo plant and where it is served."""

    demo: DemoSite
    address: str

    @property
    def root(self) -> str:
        """Where the site's pages are."""
        return self.address + self.demo.root


@pytest.fixture(scope="module")
def served(server_url: str, template_name: str) -> Iterator[Served]:
    """The demo plant of the module's own, served by a real server."""
    with demo_site(server_url, template_name) as demo, serving(demo.app) as address:
        yield Served(demo, address)


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    """A server in a thread on a free port of this machine."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(64)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", ws="none", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests."""
    path = chromium_path()
    if path is None:
        pytest.skip("no Chromium: `apt-get install chromium`, or name one by CHROMIUM=/path/to/chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def watch(served: Served) -> Iterator[Watch]:
    """Fails the test at its end if a page complained or asked another host."""
    watch = Watch()
    yield watch
    assert watch.faults == []
    assert watch.hosts <= {urlsplit(served.address).netloc, ""}


@pytest.fixture
def opened(chromium: Browser, watch: Watch) -> Iterator[Callable[..., Page]]:
    """Opens watched pages: `opened(width=360, color_scheme='dark', java_script_enabled=False, …)`."""
    contexts: list[BrowserContext] = []

    def open_page(width: int = 1440, height: int = 900, **options: Any) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        context.set_default_timeout(30_000)
        contexts.append(context)
        return watch.over(context.new_page())

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture
def page(opened: Callable[..., Page]) -> Page:
    """A watched page of 1440 x 900."""
    return opened()
