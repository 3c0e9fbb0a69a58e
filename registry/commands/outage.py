"""`jointwright outage`: planned shutdowns, of some areas or of the whole site."""

import argparse
from dataclasses import replace
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day
from registry.commands.session import open_site
from registry.crews.model import Outage, OutageRequest
from registry.crews.service import add_outage, change_outage, list_outages, read_outage, remove_outage


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `outage` and its actions."""
    parser: argparse.ArgumentParser = subparsers.add_parser("outage", description=COMMANDS["outage"])
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.set_defaults(run=run_list)
    actions = parser.add_subparsers(dest="action", metavar="add|change|remove")
    added = _action(actions, "add", "add an outage", run_add)
    added.add_argument("name", metavar="NAME")
    changed = _action(actions, "change", "change an outage: the next plan sees it", run_change)
    changed.add_argument("outage_id", type=int, metavar="ID")
    changed.add_argument("--name", metavar="NAME")
    for action, required in ((added, True), (changed, False)):
        action.add_argument(
            "--from", dest="from_on", type=day, required=required, metavar="YYYY-MM-DD", help="first day"
        )
        action.add_argument(
            "--until", dest="until_on", type=day, required=required, metavar="YYYY-MM-DD", help="last day"
        )
        which = action.add_mutually_exclusive_group()
        which.add_argument(
            "--area",
            dest="areas",
            action="append",
            metavar="NAME",
            help="an area that is shut down; as often as needed",
        )
        which.add_argument("--whole-site", action="store_true", help="every area (default of a new outage)")
    removed = _action(actions, "remove", "remove an outage that will not be", run_remove)
    removed.add_argument("outage_id", type=int, metavar="ID")
    return parser


def run_list(parsed: argparse.Namespace) -> int:
    """Print the outages."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        outages = list_outages(connection)
    if parsed.json:
        print(orjson.dumps({"outages": outages}).decode())
    elif not outages:
        print("there is no outage yet: `jointwright outage add NAME --from DAY --until DAY --area NAME` adds one")
    else:
        print("\n".join(_line(outage) for outage in outages))
    return 0


def run_add(parsed: argparse.Namespace) -> int:
    """Add an outage and print it."""
    wanted = OutageRequest(parsed.name, parsed.from_on, parsed.until_on, tuple(parsed.areas or ()))
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        outage = add_outage(connection, wanted)
    return _tell(outage, as_json=parsed.json)


def run_change(parsed: argparse.Namespace) -> int:
    """Change what was given of an outage and print it."""
    given = {
        "name": parsed.name,
        "from_on": parsed.from_on,
        "until_on": parsed.until_on,
        "areas": () if parsed.whole_site else None if parsed.areas is None else tuple(parsed.areas),
    }
    changes: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        standing = read_outage(connection, parsed.outage_id)
        wanted = replace(standing.as_request(), **changes)
        outage = change_outage(connection, standing.outage_id, wanted, standing.revision)
    return _tell(outage, as_json=parsed.json)


def run_remove(parsed: argparse.Namespace) -> int:
    """Remove an outage."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        standing = read_outage(connection, parsed.outage_id)
        remove_outage(connection, standing.outage_id, standing.revision)
    print(orjson.dumps({"removed": standing}).decode() if parsed.json else f"removed: {_line(standing)}")
    return 0


def _action(actions: Any, name: str, what: str, run: Any) -> argparse.ArgumentParser:
    action: argparse.ArgumentParser = actions.add_parser(name, help=what)
    action.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="answer as JSON")
    action.set_defaults(run=run)
    return action


def _tell(outage: Outage, *, as_json: bool) -> int:
    print(orjson.dumps(outage).decode() if as_json else _line(outage))
    return 0


def _line(outage: Outage) -> str:
    where = ", ".join(outage.areas) or "the whole site"
    return f"outage {outage.outage_id}: {outage.name}, {outage.from_on} to {outage.until_on}, {where}"
