"""`jointwright check-setup`: is this installation sound, and are the ledgers as they were written?"""

import argparse
import json
import os
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from registry.commands import COMMANDS
from registry.db import Database
from registry.embedded import EmbeddedServer
from registry.errors import Unavailable
from registry.migration import migrate, newest_revision, revision_of
from registry.settings import Settings, settings_from
from registry.setup import service
from registry.setup.model import Finding
from registry.sites.service import all_sites


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `check-setup` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("check-setup", description=COMMANDS["check-setup"])
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.add_argument(
        "--migrate",
        action="store_true",
        help="bring a database given by JOINTWRIGHT_DATABASE_URL to the newest schema first",
    )
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Look, say what was found as it is found, and return 0 if all is good, 1 if not, 3 without a database."""
    findings: list[Finding] = []
    status = 0
    try:
        for finding in _findings(settings_from(os.environ), parsed.migrate):
            findings.append(finding)
            if not parsed.json:
                _show(finding)
        status = 0 if all(finding.good for finding in findings) else 1
    except Unavailable as exc:
        findings.append(Finding("database", False, str(exc), "see the message; nothing was changed"))
        status = 3
        if not parsed.json:
            _show(findings[-1])
    if parsed.json:
        answer = {"good": status == 0, "findings": [finding.as_json() for finding in findings]}
        print(json.dumps(answer, indent=2, ensure_ascii=False))
    return status


def _findings(settings: Settings, migrate_given: bool) -> Iterator[Finding]:
    yield service.check_python()
    yield service.check_packages()
    with _opened(settings) as (database, folders):
        if folders:
            yield service.check_folders(folders)
        with database.owner() as owner:
            server = service.check_server(owner)
        yield server
        if not server.good:
            return
        # The embedded database is ours alone, and every command brings it up to date.
        if (migrate_given or folders) and revision_of(database) != newest_revision():
            migrate(database.url)
        schema = service.check_schema(revision_of(database), newest_revision())
        yield schema
        with database.owner() as owner:
            yield service.check_role(owner)
        if schema.good:
            yield from _ledger_findings(database)


def _ledger_findings(database: Database) -> Iterator[Finding]:
    with database.transaction() as connection:
        sites = all_sites(connection)
    for site in sites:
        with database.transaction(site.site_id) as connection:
            yield from service.check_ledgers(connection, site.code)


@contextmanager
def _opened(settings: Settings) -> Generator[tuple[Database, dict[str, Path]]]:
    """The database as it stands, not migrated, and the folders of the embedded server if it is that one."""
    if settings.database_url is not None:
        with Database(settings.database_url) as database:
            yield database, {}
        return
    with EmbeddedServer(settings.data_folder) as server, Database(server.url) as database:
        folders = {"data": server.data_folder, "cluster": server.cluster, "socket": server.socket_folder}
        yield database, folders


def _show(finding: Finding) -> None:
    print(f"{'good' if finding.good else 'BAD '}  {finding.name}: {finding.found}", flush=True)
    if not finding.good and finding.advice:
        print(f"      {finding.advice}", flush=True)
