"""Data folders for embedded servers that are about to be mistreated, and processes that use them."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

PROJECT = Path(__file__).parent.parent.parent


@pytest.fixture
def data_folder() -> Iterator[Path]:
    """A folder that a server's own user can reach; whatever server is left in it is ended, and it is removed."""
    top = Path(tempfile.mkdtemp(prefix="jw-fault-"))
    top.chmod(0o711)
    folder = top / "data"
    try:
        yield folder
    finally:
        postmaster = postmaster_of(folder)
        if postmaster is not None:
            kill_tree(postmaster)
        shutil.rmtree(top, ignore_errors=True)


@pytest.fixture
def start_user(data_folder: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start a process that uses the server of the test's folder; it is ended with the test at the latest."""
    started: list[subprocess.Popen[str]] = []

    def start(folder: Path = data_folder, **environment: str) -> subprocess.Popen[str]:
        user = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.server_user", str(folder)],
            cwd=PROJECT,
            env={**os.environ, **environment},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        started.append(user)
        return user

    yield start
    for user in started:
        user.kill()
        user.wait()
        for pipe in (user.stdin, user.stdout):
            assert pipe is not None
            pipe.close()


def ready(user: subprocess.Popen[str]) -> str:
    """Wait until a user is in, and return the start time of the server it found."""
    assert user.stdout is not None
    word, _, started_at = user.stdout.readline().strip().partition(" ")
    assert word == "ready"
    return started_at


def leave(user: subprocess.Popen[str]) -> None:
    """Let a user go as a command ends, and see that it ended well."""
    user.communicate(timeout=60)
    assert user.returncode == 0


def postmaster_of(folder: Path) -> psutil.Process | None:
    """The running server of a data folder, or None."""
    try:
        process = psutil.Process(int((folder / "postgresql" / "postmaster.pid").read_text().split()[0]))
        return process if process.name() in ("postgres", "postmaster") else None
    except (OSError, ValueError, psutil.NoSuchProcess):
        return None


def kill_tree(postmaster: psutil.Process) -> None:
    """kill -9 of a server and all its children, as when a machine loses its power."""
    family = [postmaster, *postmaster.children(recursive=True)]
    postmaster.send_signal(signal.SIGSTOP)  # so that it starts no more children while they go
    for process in reversed(family):
        try:
            process.kill()
        except psutil.NoSuchProcess:
            continue
    psutil.wait_procs(family, timeout=10)


def wait_until(condition: Callable[[], bool], seconds: float = 20.0) -> bool:
    """Whether the condition came true in time."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.02)
    return condition()
