"""One server a data folder, however many commands use it, and whatever was left lying there."""

import os
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path

import psycopg

from registry.embedded import EmbeddedServer
from registry.server_programs import server_account
from tests.faults.conftest import leave, postmaster_of, ready

StartUser = Callable[..., subprocess.Popen[str]]


def test_commands_that_start_at_once_on_a_new_folder_share_one_server(data_folder: Path, start_user: StartUser) -> None:
    users = [start_user() for _ in range(4)]
    assert len({ready(user) for user in users}) == 1
    for user in users[:-1]:
        leave(user)
    assert postmaster_of(data_folder) is not None, "the server stopped under its last user"
    leave(users[-1])
    assert postmaster_of(data_folder) is None


def test_users_coming_and_going_never_meet_a_server_that_stops(data_folder: Path, start_user: StartUser) -> None:
    for _ in range(3):
        leaving = [start_user() for _ in range(3)]
        for user in leaving:
            ready(user)
        for user in leaving:
            assert user.stdin is not None
            user.stdin.close()  # all three go at once, while three others come
        coming = [start_user() for _ in range(3)]
        for user in coming:
            ready(user)
        for user in leaving:
            assert user.wait(timeout=60) == 0
        for user in coming:
            leave(user)
    assert postmaster_of(data_folder) is None


def test_lock_files_left_by_the_dead_mean_nothing(data_folder: Path) -> None:
    data_folder.mkdir(mode=0o711)
    for name in ("starting.lock", "users.lock"):
        (data_folder / name).write_text("4711\n")
    with EmbeddedServer(data_folder):
        assert postmaster_of(data_folder) is not None
    assert postmaster_of(data_folder) is None


def test_a_pid_file_whose_process_is_gone_is_understood(data_folder: Path) -> None:
    with EmbeddedServer(data_folder):
        pass
    gone = subprocess.Popen(["sleep", "0"])
    gone.wait()
    _leave_pid_file(data_folder, gone.pid)
    with EmbeddedServer(data_folder) as server, psycopg.connect(server.url) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_pid_file_whose_number_now_belongs_to_another_program_is_understood(data_folder: Path) -> None:
    with EmbeddedServer(data_folder):
        pass
    # PostgreSQL minds only processes of its own user, so the other program is that user's.
    user = server_account().pw_uid if os.geteuid() == 0 else None
    other = subprocess.Popen(["sleep", "600"], user=user)
    try:
        _leave_pid_file(data_folder, other.pid)
        with EmbeddedServer(data_folder) as server, psycopg.connect(server.url) as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)
        assert other.poll() is None, "the other program was ended"
    finally:
        other.send_signal(signal.SIGKILL)
        other.wait()


def test_a_data_folder_that_was_moved_works_at_its_new_place(data_folder: Path) -> None:
    with EmbeddedServer(data_folder) as server, psycopg.connect(server.url) as connection:
        connection.execute("CREATE TABLE moved AS SELECT 42 AS answer")
    elsewhere = data_folder.with_name("elsewhere")
    data_folder.rename(elsewhere)
    with EmbeddedServer(elsewhere) as server, psycopg.connect(server.url) as connection:
        assert connection.execute("SELECT answer FROM moved").fetchone() == (42,)


def test_a_port_in_the_environment_leads_nobody_astray(data_folder: Path, start_user: StartUser) -> None:
    first = start_user(PGPORT="5999", PGUSER="somebody", PGDATABASE="something")
    second = start_user(TMPDIR="/var/tmp")
    assert ready(first) == ready(second)
    leave(first)
    leave(second)


def _leave_pid_file(folder: Path, pid: int) -> None:
    pid_file = folder / "postgresql" / "postmaster.pid"
    pid_file.write_text(f"{pid}\n{folder / 'postgresql'}\n1700000000\n5432\n{folder / 'socket'}\n\n  0  0\nready\n")
    if os.geteuid() == 0:
        os.chown(pid_file, server_account().pw_uid, server_account().pw_gid)
    pid_file.chmod(0o600)
