"""Finding the site that is meant, and the zone of its clocks."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from registry.db import Connection, Database
from registry.errors import Issue
from registry.sites import store
from registry.sites.model import Site, SiteNotChosen, SiteUnknown, TimeZoneUnknown


def find_site(database: Database, code: str | None) -> Site:
    """The site of that code, or the only one there is when no code is given. Raises SiteUnknown or SiteNotChosen."""
    with database.transaction() as connection:
        return chosen_site(store.list_sites(connection), code)


def chosen_site(sites: list[Site], code: str | None) -> Site:
    """The site of that code among `sites`, or the only one. Raises SiteUnknown or SiteNotChosen."""
    if code is not None:
        for site in sites:
            if site.code == code:
                return site
        known = ", ".join(site.code for site in sites) or "none yet"
        raise SiteUnknown(f"no site '{code}' here; there is {known}")
    if len(sites) == 1:
        return sites[0]
    if not sites:
        raise SiteUnknown(
            "no site here yet: load a plot plan or a joint list with --new-site CODE, or run `jointwright demo`"
        )
    raise SiteNotChosen("say which with --site: " + ", ".join(site.code for site in sites))


def all_sites(connection: Connection) -> list[Site]:
    """Every site of this database, by code."""
    return store.list_sites(connection)


def time_zone(connection: Connection) -> ZoneInfo:
    """The zone in which the site's shifts and days are meant. Raises TimeZoneUnknown where none is called so here."""
    return zone_named(store.read_time_zone(connection))


def set_time_zone(owner: Connection, site_id: int, name: str) -> None:
    """Say in which zone a site's shifts and days are meant, on the owner's connection. Raises TimeZoneUnknown."""
    store.save_time_zone(owner, site_id, zone_named(name).key)


def zone_named(name: str) -> ZoneInfo:
    """The zone of that name in the IANA time zone database. Raises TimeZoneUnknown."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as exc:
        reason = "is no time zone such as Europe/London or UTC"
        raise TimeZoneUnknown(f"'{name}' {reason}", [Issue(None, "time_zone", name, reason)]) from exc
