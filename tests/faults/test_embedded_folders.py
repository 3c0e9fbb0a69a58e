"""Where an embedded server may live, who may reach it, and what is said when it cannot be."""

import os
import shutil
import stat
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from registry.cli import main
from registry.db import Database
from registry.embedded import OWNER, EmbeddedServer
from registry.migration import migrate
from registry.server_programs import ServerWillNotStart
from tests.faults.conftest import PROJECT

NOBODY = 65534
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="skipped: only root can become another user")

# The start of the PostgreSQL protocol in plain Python, for an interpreter that has no driver: says who it is and prints
# the answer.
STRANGER = """
import socket, struct, sys
body = struct.pack("!i", 196608) + b"user\\0" + sys.argv[2].encode() + b"\\0database\\0jointwright\\0\\0"
line = socket.socket(socket.AF_UNIX)
try:
    line.connect(sys.argv[1])
except PermissionError:
    print("no permission")
    sys.exit()
line.sendall(struct.pack("!i", len(body) + 4) + body)
print(line.recv(4096).decode(errors="replace"))
"""


def test_the_socket_and_the_data_are_for_the_server_s_user_alone(data_folder: Path) -> None:
    above = data_folder.parent
    before = stat.S_IMODE(above.stat().st_mode)
    with EmbeddedServer(data_folder) as server:
        for folder in (server.socket_folder, server.cluster):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        for name in ("starting.lock", "users.lock", "server.log"):
            assert stat.S_IMODE((data_folder / name).stat().st_mode) == 0o600
        assert stat.S_IMODE((server.socket_folder / ".s.PGSQL.5432").stat().st_mode) == 0o700
    assert stat.S_IMODE(above.stat().st_mode) == before, "a folder above was opened or closed"


def test_folders_made_on_the_way_open_no_more_than_passage(data_folder: Path) -> None:
    deep = data_folder / "one" / "two"
    before = os.umask(0o077)
    try:
        with EmbeddedServer(deep):
            pass
    finally:
        os.umask(before)
    for folder in (data_folder, data_folder / "one", deep):
        assert stat.S_IMODE(folder.stat().st_mode) & 0o066 == 0


@pytest.mark.parametrize("left_open", ["nothing", "the folders", "the folders and the socket"])
@needs_root
def test_another_user_of_the_machine_cannot_connect(data_folder: Path, left_open: str) -> None:
    with EmbeddedServer(data_folder) as server:
        place = server.socket_folder / ".s.PGSQL.5432"
        if left_open != "nothing":
            server.socket_folder.chmod(0o755)
            data_folder.chmod(0o755)
        if left_open == "the folders and the socket":
            place.chmod(0o777)
        answer = _as_nobody("-c", STRANGER, str(place), OWNER).stdout
        assert (
            ("Peer authentication failed" in answer) if "socket" in left_open else (answer.strip() == "no permission")
        )
        with psycopg.connect(server.url) as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_long_path_works_through_a_short_and_private_socket_folder(data_folder: Path) -> None:
    long = data_folder / "/".join(["a-folder-with-a-long-name"] * 8)
    with EmbeddedServer(long) as server, psycopg.connect(server.url) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)
        assert len(str(server.socket_folder)) < 60
        assert stat.S_IMODE(server.socket_folder.stat().st_mode) == 0o700
    assert not server.socket_folder.exists()


@pytest.mark.parametrize("name", ["plant's ünïcode & 50 %", 'a "quoted" $HOME `id`', "east, north: 1", "what? #1 a@b"])
def test_a_path_with_unusual_letters_works(data_folder: Path, name: str) -> None:
    folder = data_folder / name
    with EmbeddedServer(folder) as server:
        migrate(server.url)
        with Database(server.url) as database, database.transaction() as connection:
            assert connection.execute("SELECT count(*) FROM joint").fetchone() == (0,)


@needs_root
def test_a_socket_folder_that_a_stranger_made_first_is_refused(data_folder: Path) -> None:
    server = EmbeddedServer(data_folder / ("long-" * 20))
    server.socket_folder.mkdir(mode=0o700)
    os.chown(server.socket_folder, NOBODY, NOBODY)
    try:
        with pytest.raises(ServerWillNotStart, match="belongs to another user"), server:
            pass
    finally:
        server.socket_folder.rmdir()


def test_a_socket_folder_that_is_a_link_is_refused(data_folder: Path) -> None:
    data_folder.mkdir(mode=0o711)
    (data_folder.parent / "aim").mkdir()
    (data_folder / "socket").symlink_to(data_folder.parent / "aim")
    with pytest.raises(ServerWillNotStart, match="is a link"), EmbeddedServer(data_folder):
        pass


def test_a_folder_that_cannot_be_written_is_one_clear_error(data_folder: Path) -> None:
    data_folder.write_text("a file stands where the folder should be")
    with (
        pytest.raises(ServerWillNotStart, match=r"cannot write the data folder .*JOINTWRIGHT_DATA_FOLDER"),
        EmbeddedServer(data_folder / "data"),
    ):
        pass


@needs_root
def test_a_folder_that_the_server_s_user_cannot_enter_is_one_clear_error(data_folder: Path) -> None:
    data_folder.parent.chmod(0o700)
    with (
        pytest.raises(ServerWillNotStart, match=r"must be able to enter every folder above"),
        EmbeddedServer(data_folder),
    ):
        pass
    assert not list(data_folder.glob("postgresql*"))


def test_data_of_another_version_are_left_alone_with_one_clear_error(data_folder: Path) -> None:
    with EmbeddedServer(data_folder):
        pass
    version = data_folder / "postgresql" / "PG_VERSION"
    ours = version.read_text()
    version.write_text("13\n")
    with pytest.raises(ServerWillNotStart, match="made by PostgreSQL 13"), EmbeddedServer(data_folder):
        pass
    version.write_text(ours)
    with EmbeddedServer(data_folder) as server, psycopg.connect(server.url) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_broken_configuration_is_told_from_the_server_s_own_log(
    data_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with EmbeddedServer(data_folder) as server:
        pass
    monkeypatch.setattr("registry.embedded._START_PATIENCE_S", 0.5)
    with (server.cluster / "postgresql.conf").open("a") as conf:
        conf.write("no_such_setting = 1\n")
    with pytest.raises(ServerWillNotStart, match=r"server\.log"), server:
        pass


def test_check_setup_brings_an_embedded_installation_up_and_judges_it(
    data_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("JOINTWRIGHT_DATABASE_URL", raising=False)
    monkeypatch.setenv("JOINTWRIGHT_DATA_FOLDER", str(data_folder))
    assert main(["check-setup"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert all(line.startswith("good  ") for line in lines)
    assert any(line.startswith("good  folders: ") for line in lines)


@pytest.fixture
def nobodys_home() -> Iterator[Path]:
    home = Path(subprocess.run(["mktemp", "-d"], capture_output=True, text=True, check=True).stdout.strip())
    os.chown(home, NOBODY, NOBODY)
    yield home
    shutil.rmtree(home)


@needs_root
def test_an_ordinary_user_runs_a_server_in_their_own_home(nobodys_home: Path) -> None:
    if _as_nobody("-c", "import registry.embedded").returncode != 0:
        pytest.skip("skipped: the checkout or its virtual environment lies where an ordinary user cannot read")
    program = (
        "import os, psycopg\n"
        "from registry.settings import settings_from\n"
        "from registry.embedded import EmbeddedServer\n"
        "folder = settings_from(os.environ).data_folder\n"
        "with EmbeddedServer(folder) as server, psycopg.connect(server.url) as connection:\n"
        "    print(folder, connection.execute('SELECT current_user').fetchone()[0])\n"
    )
    done = _as_nobody("-c", program, HOME=str(nobodys_home))
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [str(nobodys_home / ".local/share/jointwright"), OWNER]
    assert (nobodys_home / ".local/share/jointwright/postgresql").stat().st_uid == NOBODY


def _as_nobody(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run Python as an ordinary user: ours, or the system's of the same version where ours lies in root's home."""
    packages = sysconfig.get_paths()["purelib"]
    last: OSError | None = None
    for interpreter in (sys.executable, f"/usr/bin/python3.{sys.version_info.minor}", "/usr/bin/python3"):
        try:
            return subprocess.run(
                [interpreter, *arguments],
                user=NOBODY,
                group=NOBODY,
                extra_groups=[],
                cwd="/",
                env={
                    "PATH": os.defpath,
                    "PYTHONPATH": f"{PROJECT}:{packages}",
                    "PYTHONDONTWRITEBYTECODE": "1",
                    **environment,
                },
                capture_output=True,
                text=True,
                timeout=120,
                check=False,
            )
        except OSError as exc:
            last = exc
    pytest.skip(f"skipped: an ordinary user can run no Python here ({last})")
