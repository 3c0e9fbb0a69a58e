"""`jointwright serve`: the dashboard on this machine."""

import argparse
import gc
import os
import signal
import socket
from importlib import import_module
from types import FrameType
from typing import Any

import uvicorn

from registry.commands import COMMANDS
from registry.commands.session import open_database
from registry.db import Database
from registry.errors import Invalid
from registry.settings import settings_from
from registry.sites.service import all_sites, find_site

HOST = "127.0.0.1"
PORT = 8712
_PORTS_TRIED = 40


class PortTaken(Invalid):
    """The address cannot be listened on"""

    slug = "port-taken"


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `serve` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("serve", description=COMMANDS["serve"])
    parser.add_argument("--host", default=HOST, help=f"address to listen on (default {HOST}: this machine only)")
    parser.add_argument("--port", type=int, help=f"port to listen on (default {PORT}, or the next one that is free)")
    parser.add_argument(
        "--name",
        action="append",
        default=[],
        metavar="HOST",
        help="another name that it is reached by, such as behind a proxy",
    )
    parser.add_argument("--site", default=argparse.SUPPRESS, help="site whose address is shown")
    parser.add_argument(
        "--migrate",
        action="store_true",
        help="bring a database given by JOINTWRIGHT_DATABASE_URL to the newest schema first",
    )
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Serve until interrupted."""
    with listening(parsed.host, parsed.port) as listener:
        # What ends a service (SIGTERM) ends it as Ctrl-C does, so that the embedded server is stopped too.
        signal.signal(signal.SIGTERM, _interrupt)
        settings = settings_from(os.environ)
        try:
            with open_database(settings, migrate_given=parsed.migrate) as database:
                server = _server(database, [parsed.host, *parsed.name])
                where = _address(parsed.host, listener.getsockname()[1])
                page = _page(database, getattr(parsed, "site", None) or settings.site)
                print(f"Jointwright: {where}{page}\nPress Ctrl-C to stop.", flush=True)
                server.run(sockets=[listener])
        except KeyboardInterrupt:
            print("stopped")
    return 0


def listening(host: str, port: int | None) -> socket.socket:
    """A socket that listens at `port`, or at the first free port from the usual one on. Raises PortTaken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    fault: Exception | None = None
    for number in [port] if port is not None else range(PORT, PORT + _PORTS_TRIED):
        listener = socket.socket(family, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, number))
            listener.listen(128)
        except (OSError, OverflowError) as exc:
            listener.close()
            fault = exc
        else:
            return listener
    where = f"port {port}" if port is not None else f"any port from {PORT} to {PORT + _PORTS_TRIED - 1}"
    raise PortTaken(f"cannot listen on {host}, {where}: {fault}")


def _server(database: Database, hosts: list[str]) -> uvicorn.Server:
    # The pages stand above this package, which must not import them; the program as a whole is put together here.
    application = import_module("dashboards.app").create_app(database, hosts=hosts)
    settle_collector()
    return uvicorn.Server(uvicorn.Config(application, log_level="warning", access_log=False, server_header=False))


def settle_collector() -> None:
    """Leave what was made so far out of the collector's passes: it stays, and their pauses would grow with it."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def _address(host: str, port: int) -> str:
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}"


def _page(database: Database, code: str | None) -> str:
    if code is None:
        with database.transaction() as connection:
            found = all_sites(connection)
        return f"/sites/{found[0].code}/plan" if len(found) == 1 else "/"
    return f"/sites/{find_site(database, code).code}/plan"


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
