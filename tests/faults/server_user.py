"""A process that uses the embedded server of a folder until its standard input ends: the tests start and kill it.

Run as `python -m tests.faults.server_user FOLDER`; it says 'ready' and the server's start time when it is in.
"""

import sys
from pathlib import Path

import psycopg

from registry.embedded import EmbeddedServer


def main(folder: Path) -> None:
    """Go in, say so, and stay until told to leave."""
    with EmbeddedServer(folder) as server:
        with psycopg.connect(server.url) as connection:
            row = connection.execute("SELECT pg_postmaster_start_time()").fetchone()
        assert row is not None
        print("ready", row[0].isoformat(), flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
