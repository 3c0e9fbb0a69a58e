"""`jointwright why TAG`: why a joint has the interval, the due date and the risk that it has."""

import argparse
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.session import open_site
from registry.intervals.service import agrees, why


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `why` and its arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser("why", description=COMMANDS["why"])
    parser.add_argument("tag", metavar="TAG")
    parser.add_argument("--json", action="store_true", help="print the account as JSON, whose form is kept stable")
    parser.set_defaults(run=run)
    return parser


def run(parsed: argparse.Namespace) -> int:
    """Print the account of one joint."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        account = why(connection, parsed.tag)
        up_to_date = agrees(connection, account)
    if parsed.json:
        print(orjson.dumps(account.as_json()).decode())
        return 0
    print(account.as_text())
    if not up_to_date:
        print("\nWhat is known of this joint changed since it was scored: run `jointwright score`.")
    return 0
