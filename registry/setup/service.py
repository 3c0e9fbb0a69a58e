"""Looking at the installation, one finding at a time."""

import re
import stat
import sys
import tomllib
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

from registry.db import Connection
from registry.setup import store
from registry.setup.model import LEDGERS, OLDEST_PYTHON, OLDEST_SERVER, Finding, LedgerState

_REQUIREMENT = re.compile(r"^([\w.-]+)(?:\[[\w,]+\])?\s*>=\s*([\d.]+)\s*$")


def check_python() -> Finding:
    """Whether this Python is new enough."""
    wanted = ".".join(map(str, OLDEST_PYTHON))
    return Finding(
        "python", sys.version_info >= OLDEST_PYTHON, sys.version.split()[0], f"Python {wanted} or newer is needed"
    )


def check_packages() -> Finding:
    """Whether every package that the program needs is there and new enough."""
    needed = _needed_packages()
    asked = [found.groups() for line in needed if (found := _REQUIREMENT.match(line))]
    faults = [fault for name, oldest in asked if (fault := _fault_of_package(name, oldest))]
    advice = "install with the pinned versions: pip install --constraint deploy/constraints.txt ."
    return Finding("packages", not faults, "; ".join(faults) or f"{len(asked)}, all new enough", advice)


def check_folders(folders: dict[str, Path]) -> Finding:
    """Whether the embedded server's folders keep strangers out: `private` ones at mode 700, others not writable."""
    faults: list[str] = []
    for name, folder in folders.items():
        mode = stat.S_IMODE(folder.stat().st_mode)
        if mode & (0o077 if name in ("cluster", "socket") else 0o022):
            faults.append(f"{folder} has mode {mode:o}")
    advice = "take the rights of others away: chmod go-rwx of cluster and socket, chmod go-w of the data folder"
    return Finding("folders", not faults, "; ".join(faults) or str(folders["data"]), advice)


def check_server(owner: Connection) -> Finding:
    """Whether the server is new enough and keeps text as UTF-8."""
    server = store.read_server(owner)
    good = server.major_version >= OLDEST_SERVER and server.encoding == "UTF8"
    return Finding(
        "server",
        good,
        f"PostgreSQL {server.version}, {server.encoding}",
        f"PostgreSQL {OLDEST_SERVER} or newer and a database with encoding UTF8 are needed",
    )


def check_role(owner: Connection) -> Finding:
    """Whether the application's role is there, bound to one site at a time, and may do its work."""
    server = store.read_server(owner)
    faults = [
        said
        for bad, said in (
            (not server.has_role, "there is no role jointwright_app"),
            (server.has_role and not server.role_is_bound, "jointwright_app owns tables or passes row-level security"),
            (server.has_role and not server.may_take_role, "this user may not take the role jointwright_app"),
            (server.has_role and not server.may_stage, "jointwright_app may not make temporary tables"),
        )
        if bad
    ]
    advice = "migrate as a user who may make roles; GRANT jointwright_app and TEMPORARY on the database as it says"
    return Finding("role", not faults, "; ".join(faults) or "jointwright_app, bound to one site", advice)


def check_schema(recorded: str | None, newest: str) -> Finding:
    """Whether the schema is the one that this program works with."""
    return Finding(
        "schema",
        recorded == newest,
        recorded or "no schema yet",
        f"back up, then run `jointwright check-setup --migrate`: this program works with {newest}",
    )


def check_ledgers(connection: Connection, site: str) -> Iterator[Finding]:
    """Whether each ledger of the transaction's site is as it was written; one finding a ledger, as each is read."""
    for ledger in LEDGERS:
        yield _said_of(site, store.read_ledger_state(connection, ledger))


def _said_of(site: str, state: LedgerState) -> Finding:
    shown = ", ".join(f"row {found.row_id} {found.fault}" for found in state.breaks)
    return Finding(
        f"ledger {state.ledger} of {site}",
        not state.breaks,
        shown or f"{state.rows:,} rows, unbroken",
        "somebody with the owner's rights changed it: compare with a backup from before, and find out who and why",
    )


def _needed_packages() -> list[str]:
    try:
        return metadata.requires("jointwright") or []
    except metadata.PackageNotFoundError:  # a checkout that is run as it stands
        project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
        return project["project"]["dependencies"]


def _fault_of_package(name: str, oldest: str) -> str | None:
    try:
        found = metadata.version(name)
    except metadata.PackageNotFoundError:
        return f"{name} is missing"
    return f"{name} {found} is older than {oldest}" if _numbers(found) < _numbers(oldest) else None


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(map(int, re.findall(r"\d+", version)))
