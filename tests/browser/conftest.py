"""A running server and a browser at a phone's width."""

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from dashboards.app import create_app
from registry.db import Database


@contextmanager
def served(database: Database) -> Iterator[str]:
    """The application on a port of this machine; gives its address."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(create_app(database), log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            while not server.started:
                time.sleep(0.02)
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Chromium, from JOINTWRIGHT_TEST_CHROMIUM, the path, or playwright's own."""
    program = os.environ.get("JOINTWRIGHT_TEST_CHROMIUM") or shutil.which("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Callable[[str], BrowserContext]]:
    """Make a context of a phone: 360 px wide, touched."""
    contexts: list[BrowserContext] = []

    def make(address: str) -> BrowserContext:
        context = chromium.new_context(
            base_url=address, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
        )
        context.set_default_timeout(15_000)
        contexts.append(context)
        return context

    yield make
    for context in contexts:
        context.close()
