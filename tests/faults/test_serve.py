"""`jointwright serve` says where it is, finds a free port, and ends cleanly however it is ended."""

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from registry.commands.serve import PORT, PortTaken, listening
from registry.db import Database
from tests.conftest import new_site
from tests.faults.conftest import PROJECT, postmaster_of

Start = Callable[..., subprocess.Popen[str]]
_PATIENCE_S = 60


@pytest.fixture
def start() -> Iterator[Start]:
    """Start `jointwright serve` with a database's URL or a data folder; it is ended with the test at the latest."""
    started: list[subprocess.Popen[str]] = []

    def start(*arguments: str, **settings: str) -> subprocess.Popen[str]:
        environment = {name: value for name, value in os.environ.items() if not name.startswith("JOINTWRIGHT_")}
        served = subprocess.Popen(
            [sys.executable, "-m", "registry.cli", "serve", *arguments],
            cwd=PROJECT,
            env={**environment, **settings},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(served)
        return served

    yield start
    for served in started:
        served.kill()
        served.communicate()


def address_of(served: subprocess.Popen[str]) -> str:
    """The address that it printed; by then it answers."""
    assert served.stdout is not None
    line = served.stdout.readline()
    found = re.search(r"http://\S+", line)
    assert found, line or served.communicate(timeout=_PATIENCE_S)[1]
    return found.group(0)


def status_of(address: str) -> int:
    with urllib.request.urlopen(address, timeout=_PATIENCE_S) as answer:
        return int(answer.status)


def test_the_first_free_port_is_taken_unless_one_was_asked_for() -> None:
    with listening("127.0.0.1", None) as first, listening("127.0.0.1", None) as second:
        ports = [first.getsockname()[1], second.getsockname()[1]]
        assert ports[0] >= PORT
        assert ports[1] > ports[0]
        with pytest.raises(PortTaken, match=f"port {ports[0]}"):
            listening("127.0.0.1", ports[0])


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_the_only_site_and_ends_with_status_0(database: Database, start: Start, end: signal.Signals) -> None:
    new_site(database, "harbour")
    served = start(JOINTWRIGHT_DATABASE_URL=database.url)
    address = address_of(served)
    assert address.endswith("/sites/harbour/plan")
    assert status_of(address) == 200
    served.send_signal(end)
    out, err = served.communicate(timeout=_PATIENCE_S)
    assert (served.returncode, err) == (0, "")
    assert "stopped" in out


def test_a_port_that_is_taken_is_one_line_and_status_1(database: Database, start: Start) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        served = start("--port", str(other.getsockname()[1]), JOINTWRIGHT_DATABASE_URL=database.url)
        _, err = served.communicate(timeout=_PATIENCE_S)
    assert served.returncode == 1
    assert err.startswith("jointwright: cannot listen on 127.0.0.1")
    assert len(err.strip().splitlines()) == 1


def test_an_embedded_server_is_stopped_with_it(data_folder: Path, start: Start) -> None:
    served = start(JOINTWRIGHT_DATA_FOLDER=str(data_folder))
    assert status_of(address_of(served)) == 200
    assert postmaster_of(data_folder) is not None
    served.send_signal(signal.SIGTERM)
    served.communicate(timeout=_PATIENCE_S)
    assert served.returncode == 0
    assert postmaster_of(data_folder) is None
