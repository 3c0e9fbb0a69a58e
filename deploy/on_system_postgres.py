"""Run the tests given against the oldest PostgreSQL, 15 or newer, whose programs this machine has installed.

`.venv/bin/python deploy/on_system_postgres.py tests/database …`. The server lives in a temporary folder, on a socket,
for as long as the tests do; the machine's own servers are not touched. Says so where there are no such programs.
"""

import glob
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from registry.embedded import EmbeddedServer
from registry.server_programs import ServerWillNotStart, program_version

# Debian and Ubuntu, Red Hat, Homebrew on both kinds of Mac.
PLACES = (
    "/usr/lib/postgresql/*/bin",
    "/usr/pgsql-*/bin",
    "/opt/homebrew/opt/postgresql@*/bin",
    "/usr/local/opt/postgresql@*/bin",
)
OLDEST = 15


def main(arguments: list[str]) -> int:
    """Start the server, run pytest against it, stop the server; return pytest's exit status."""
    found = oldest_installed()
    if found is None:
        print(f"skipped: no PostgreSQL {OLDEST} or newer is installed here, so the tests run on the embedded one only.")
        return 0
    version, programs = found
    folder = Path(tempfile.mkdtemp(prefix="jointwright-system-"))
    folder.chmod(0o711)
    try:
        with EmbeddedServer(folder, programs=programs) as server:
            print(f"On PostgreSQL {version} of {programs}:", flush=True)
            environment = {**os.environ, "JOINTWRIGHT_TEST_DATABASE_URL": server.url}
            return subprocess.run([sys.executable, "-m", "pytest", *arguments], env=environment, check=False).returncode
    except ServerWillNotStart as exc:
        print(f"PostgreSQL {version} of {programs} does not start: {exc}", file=sys.stderr)
        return 1
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def oldest_installed() -> tuple[int, Path] | None:
    """Version and folder of the oldest installed PostgreSQL that will do, or None."""
    folders = [Path(folder) for place in PLACES for folder in glob.glob(place)]
    fit = [folder for folder in folders if (folder / "initdb").exists() and (folder / "postgres").exists()]
    versions = [(int(program_version(folder)), folder) for folder in fit]
    return min(((version, folder) for version, folder in versions if version >= OLDEST), default=None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
