"""The site that a file goes into: one that is there, or with `--new-site` one made for it."""

import argparse
import sys
from collections.abc import Generator
from contextlib import contextmanager

from registry.commands.session import open_database, open_site
from registry.db import Database
from registry.makeup.service import publish_first_procedures
from registry.policy.service import publish_first
from registry.sites.model import Site, SiteExists
from registry.sites.service import find_site
from registry.sites.store import add_site


def add_site_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments that make a site."""
    parser.add_argument(
        "--new-site",
        metavar="CODE",
        help="make this site first, with the shipped policy and procedures, and load into it",
    )
    parser.add_argument("--site-name", metavar="NAME", help="what the new site is called (default: its code)")


@contextmanager
def open_loading_site(parsed: argparse.Namespace) -> Generator[tuple[Database, Site]]:
    """The database and the site to load into. A new site has the shipped policy, and so its joint families, at once."""
    if parsed.new_site is None:
        with open_site(parsed) as found:
            yield found
        return
    with open_database() as database:
        try:
            with database.owner() as owner:
                site = add_site(owner, parsed.new_site, parsed.site_name or parsed.new_site)
        except SiteExists:
            site = find_site(database, parsed.new_site)
            print(f"site {site.code} is here already: loading into it", file=sys.stderr)
        with database.transaction(site.site_id) as connection:
            publish_first(connection)
            publish_first_procedures(connection)
        yield database, site
