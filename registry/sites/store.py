"""Reading and making sites."""

from collections.abc import Sequence

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.sites.model import Site

SQL = queries_beside(__file__)


def list_sites(connection: Connection) -> list[Site]:
    """Every site of this database, by code."""
    with connection.cursor(row_factory=class_row(Site)) as cursor:
        return cursor.execute(SQL["list_sites"]).fetchall()


def add_site(owner: Connection, code: str, name: str) -> Site:
    """Make a site, on the owner's connection. Raises SiteExists or SiteCodeUnfit."""
    with owner.cursor(row_factory=class_row(Site)) as cursor:
        site = cursor.execute(SQL["add_site"], {"code": code, "name": name}).fetchone()
    assert site is not None, "INSERT … RETURNING gives its row"
    return site


def place_site(owner: Connection, site_id: int, epsg: int, grid_to_epsg: Sequence[float]) -> None:
    """Say where a site's plant grid lies in the world, on the owner's connection: six numbers into an EPSG system."""
    owner.execute(SQL["place_site"], {"site_id": site_id, "epsg": epsg, "grid_to_epsg": list(grid_to_epsg)})


def read_time_zone(connection: Connection) -> str:
    """The name of the zone in which the site's shifts and days are meant."""
    row = connection.execute(SQL["read_time_zone"]).fetchone()
    assert row is not None, "a transaction in a site sees its row"
    return str(row[0])


def save_time_zone(owner: Connection, site_id: int, time_zone: str) -> None:
    """Say in which zone a site's shifts and days are meant, on the owner's connection."""
    owner.execute(SQL["save_time_zone"], {"site_id": site_id, "time_zone": time_zone})


def remove_site(owner: Connection, site_id: int) -> None:
    """Take an empty site away again, on the owner's connection; the database refuses one that has anything in it."""
    owner.execute(SQL["remove_site"], {"site_id": site_id})


def refresh_statistics(owner: Connection) -> None:
    """Tell the planner what a bulk load has changed, on the owner's connection, instead of a minute later by itself."""
    owner.execute(SQL["refresh_statistics"])
