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
from registry.sites.service import find_site, set_time_zone, zone_named
from registry.sites.store import add_site


def add_site_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments that make a site."""
    parser.add_argument(
        "--new-site",
        metavar="CODE",
        help="make this site first, with the shipped policy and procedures, and load into it",
    )
    parser.add_argument("--site-name", metavar="NAME", help="what the new site is called (default: its code)")
    parser.add_argument(
        "--time-zone", metavar="ZONE", help="of the site's shifts and days, such as Europe/London (a new site's: UTC)"
    )


@contextmanager
def open_loading_site(parsed: argparse.Namespace) -> Generator[tuple[Database, Site]]:
    """The database and the site to load into. A new site has the shipped policy, and so its joint families, at once.

    A time zone that was given is set when the block ends without an error.
    """
    if parsed.time_zone is not None:
        zone_named(parsed.time_zone)  # refused before anything is made
    if parsed.new_site is None:
        with open_site(parsed) as (database, site):
            yield database, site
            _set_zone(database, site, parsed.time_zone)
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
        _set_zone(database, site, parsed.time_zone)


def _set_zone(database: Database, site: Site, time_zone: str | None) -> None:
    if time_zone is not None:
        with database.owner() as owner:
            set_time_zone(owner, site.site_id, time_zone)
