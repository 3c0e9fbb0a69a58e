"""A PostgreSQL server of our own, when nobody gives us one: the programs of a wheel, our own launcher.

The data folder holds `postgresql/` (the cluster), `socket/` (mode 700), `server.log` and two lock files. Locks are the
kernel's (`flock`), so a lock whose owner died is no lock: the file left behind means nothing.

- `starting.lock` is held while somebody starts or stops the server.
- `users.lock` is held shared by every process that uses the server. Who leaves and can take it alone was the last, and
  stops it.

A server outlives a process that was killed; the next process finds it, uses it, and stops it at the end. Local users
get in by their operating-system name only (peer), through a socket in a folder that only the server's user and root can
enter; there is no TCP.
"""

import contextlib
import fcntl
import hashlib
import os
import pwd
import shutil
import stat
import subprocess
import time
from collections.abc import Generator
from pathlib import Path
from types import TracebackType
from typing import IO, Self
from urllib.parse import quote

import psycopg
from psycopg import sql

from registry.server_programs import ServerWillNotStart, program_version, programs_for, running_program, server_account

DATABASE = "jointwright"
OWNER = "jointwright_owner"
_START_PATIENCE_S = 30.0
_RECOVERY_PATIENCE_S = 600
_LONGEST_SOCKET_PATH = 100

_SETTINGS = """
listen_addresses = ''
unix_socket_permissions = 0700
max_connections = 50
shared_buffers = 256MB
work_mem = 64MB
maintenance_work_mem = 256MB
max_wal_size = 4GB
checkpoint_timeout = 15min
effective_cache_size = 4GB
random_page_cost = 1.1
jit = off
timezone = 'UTC'
log_timezone = 'UTC'
"""


class EmbeddedServer:
    """The server under one data folder, shared by all processes that use it at the time.

    Use it as a context manager: it is running inside the block, and stops at the end unless another process uses it
    too. `programs` is the folder of PostgreSQL's programs, if not those of the wheel. Raises ServerWillNotStart, with
    what to do, if the folder or the programs are not fit for it.
    """

    def __init__(self, data_folder: Path, *, programs: Path | None = None) -> None:
        self.data_folder = data_folder.absolute()
        self._given_programs = programs
        self.cluster = self.data_folder / "postgresql"
        self.log = self.data_folder / "server.log"
        self._users: IO[bytes] | None = None

    @property
    def url(self) -> str:
        """Where the database is, as a PostgreSQL URL; only on this machine and for this user."""
        # The port is said, though it is the usual one: it names the socket, and somebody's PGPORT must not.
        return f"postgresql://{OWNER}@/{DATABASE}?host={quote(str(self.socket_folder), safe='/')}&port=5432"

    @property
    def socket_folder(self) -> Path:
        """The folder of the socket: beside the data, or under a short name where that path does not do for a socket."""
        beside = self.data_folder / "socket"
        # A comma would be read as two hosts, a colon as a host and its port.
        if len(os.fsencode(beside / ".s.PGSQL.5432")) <= _LONGEST_SOCKET_PATH and not set(",:") & set(str(beside)):
            return beside
        # Not TMPDIR: another process may have another, and must find the same socket.
        digest = hashlib.sha256(str(self.data_folder).encode()).hexdigest()[:16]
        return Path("/tmp") / f"jointwright-{digest}"

    def __enter__(self) -> Self:
        self._prepare_folder()
        with self._starting():
            programs = self._programs()
            for left_behind in self.data_folder.glob("postgresql.new-*"):
                shutil.rmtree(left_behind, ignore_errors=True)
            if not (self.cluster / "PG_VERSION").exists():
                self._make_cluster(programs)
            self._check_version(programs)
            if not self._answers():
                self._start(programs)
            self._users = _opened_lock(self.data_folder / "users.lock")
            fcntl.flock(self._users, fcntl.LOCK_SH)
        try:
            self._make_database()
        except BaseException:
            self._leave()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._leave()

    def _leave(self) -> None:
        if self._users is None:
            return
        with self._starting():
            last = True
            try:
                fcntl.flock(self._users, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                last = False
            if last:
                self._stop(self._programs())
            self._users.close()
            self._users = None

    @property
    def _account(self) -> pwd.struct_passwd | None:
        """Whom the server runs as: ourselves (None), or a user of its own where we are root, which it refuses."""
        return server_account() if os.geteuid() == 0 else None

    def _programs(self) -> Path:
        return self._given_programs or programs_for(self._account, self.data_folder)

    @contextlib.contextmanager
    def _starting(self) -> Generator[None]:
        with _opened_lock(self.data_folder / "starting.lock") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _prepare_folder(self) -> None:
        try:
            way = (*reversed(self.data_folder.parents), self.data_folder)
            for missing in [place for place in way if not place.exists()]:
                missing.mkdir(exist_ok=True)
                # The server's user must be able to pass through; what stands already keeps its mode.
                missing.chmod(0o700 if self._account is None else 0o711)
            self._prepare_private(self.socket_folder)
            if self.cluster.exists():
                self._prepare_private(self.cluster)
            self.log.touch(mode=0o600, exist_ok=True)
            self._give_to_server(self.log)
        except OSError as exc:
            raise ServerWillNotStart(
                f"cannot write the data folder {self.data_folder} ({exc.strerror}): set JOINTWRIGHT_DATA_FOLDER to one"
                " that you own"
            ) from exc

    def _prepare_private(self, folder: Path) -> None:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
        if stat.S_ISLNK(found.st_mode):
            raise ServerWillNotStart(f"{folder} is a link: remove it, or choose another data folder")
        if found.st_uid not in (os.geteuid(), self._account.pw_uid if self._account else os.geteuid()):
            raise ServerWillNotStart(f"{folder} belongs to another user: remove it, or choose another data folder")
        self._give_to_server(folder)
        folder.chmod(0o700)

    def _give_to_server(self, path: Path) -> None:
        if self._account is not None:
            os.chown(path, self._account.pw_uid, self._account.pw_gid)

    def _run(self, *command: str) -> subprocess.CompletedProcess[str]:
        account = self._account
        return subprocess.run(
            command,
            capture_output=True,
            text=True,
            timeout=_RECOVERY_PATIENCE_S + 60,
            start_new_session=True,
            stdin=subprocess.DEVNULL,
            cwd="/",
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=[] if account else None,
            umask=0o077,
            env={"PATH": os.defpath, "LC_ALL": "C.UTF-8", "TZ": "UTC"},
        )

    def _make_cluster(self, programs: Path) -> None:
        # Made aside and renamed when whole: whoever is killed on the way leaves nothing that looks like a cluster.
        making = self.data_folder / f"postgresql.new-{os.getpid()}"
        self._prepare_private(making)
        done = self._run(
            str(programs / "initdb"),
            f"--pgdata={making}",
            f"--username={OWNER}",
            "--auth=peer",
            "--encoding=UTF8",
            "--locale=C.UTF-8",
            "--data-checksums",
        )
        if done.returncode != 0:
            shutil.rmtree(making, ignore_errors=True)
            raise ServerWillNotStart(
                f"initdb failed in {self.data_folder}: {_last_line(done.stderr)}. The server's user must be able to"
                " enter every folder above it; set JOINTWRIGHT_DATA_FOLDER to such a place"
            )
        ourselves = pwd.getpwuid(os.geteuid()).pw_name
        names = {ourselves, self._account.pw_name if self._account else ourselves}
        with (making / "postgresql.conf").open("a") as conf:
            conf.write(_SETTINGS)
        (making / "pg_hba.conf").write_text("local all all peer map=us\n")
        (making / "pg_ident.conf").write_text("".join(f'us "{name}" {OWNER}\n' for name in sorted(names)))
        making.rename(self.cluster)

    def _check_version(self, programs: Path) -> None:
        made_by = (self.cluster / "PG_VERSION").read_text().strip()
        ours = program_version(programs)
        if made_by != ours:
            raise ServerWillNotStart(
                f"the data in {self.cluster} were made by PostgreSQL {made_by}, and the programs here are {ours}:"
                f" install PostgreSQL {made_by} and dump and restore, or choose another data folder"
            )

    def _start(self, programs: Path) -> None:
        deadline = time.monotonic() + _START_PATIENCE_S
        while True:
            self._remove_pid_file_of_another_program()
            if self._comes_up(self._launch(programs)):
                return
            # After a kill, children of the old server hold the cluster for a second or two.
            if time.monotonic() > deadline:
                raise ServerWillNotStart(f"see {self.log}: {_last_line(self.log.read_text(errors='replace'))}")
            time.sleep(0.3)

    def _launch(self, programs: Path) -> int:
        """Start the server as nobody's child, away from this terminal's Ctrl-C, and return its process number."""
        quoted_folder = str(self.socket_folder).replace('"', '""')
        done = self._run(
            "/bin/sh",
            "-c",
            '"$@" </dev/null >>"$0" 2>&1 & echo $!',
            str(self.log),
            str(programs / "postgres"),
            "-D",
            str(self.cluster),
            "-c",
            "port=5432",
            # Here and not in the configuration: the data folder may have been moved since the cluster was made.
            "-c",
            f'unix_socket_directories="{quoted_folder}"',
        )
        return int(done.stdout)

    def _comes_up(self, pid: int) -> bool:
        # A server that comes up from a kill replays its log first, which can take minutes.
        deadline = time.monotonic() + _RECOVERY_PATIENCE_S
        while time.monotonic() < deadline:
            if self._answers():
                return True
            if running_program(pid) is None:
                return False
            time.sleep(0.03)
        return False

    def _remove_pid_file_of_another_program(self) -> None:
        """Drop `postmaster.pid` where its number is no server's: a restart of the machine may have given it away.

        PostgreSQL sees only that the number is in use, and would refuse to start for as long as that program runs.
        """
        pid_file = self.cluster / "postmaster.pid"
        with contextlib.suppress(OSError, ValueError, IndexError):
            name = running_program(int(pid_file.read_text().split()[0]))
            if name not in ("postgres", "postmaster"):
                pid_file.unlink()

    def _stop(self, programs: Path) -> None:
        patience = f"--timeout={_RECOVERY_PATIENCE_S}"
        done = self._run(
            str(programs / "pg_ctl"), "stop", "--mode=fast", "--wait", patience, f"--pgdata={self.cluster}"
        )
        if done.returncode != 0 and self._answers():
            raise ServerWillNotStart(f"the server does not stop: {_last_line(done.stderr)}")
        if self.socket_folder.parent != self.data_folder:
            with contextlib.suppress(OSError):
                self.socket_folder.rmdir()

    def _answers(self) -> bool:
        try:
            with psycopg.connect(self._maintenance_url, connect_timeout=5):
                return True
        except psycopg.OperationalError:
            return False

    @property
    def _maintenance_url(self) -> str:
        return self.url.replace(f"/{DATABASE}?", "/postgres?")

    def _make_database(self) -> None:
        with psycopg.connect(self._maintenance_url, autocommit=True) as connection:
            if connection.execute("SELECT FROM pg_database WHERE datname = %s", [DATABASE]).fetchone() is None:
                with contextlib.suppress(psycopg.errors.DuplicateDatabase, psycopg.errors.UniqueViolation):
                    connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(DATABASE)))


def _opened_lock(path: Path) -> IO[bytes]:
    # Private, for whoever can open a file can lock it, and a stranger's lock would keep us waiting for ever.
    return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600), "r+b")


def _last_line(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return lines[-1] if lines else "no message"
