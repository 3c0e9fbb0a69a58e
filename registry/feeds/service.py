"""A crew's calendar for whoever holds its address."""

from datetime import date, timedelta

from registry.crews.service import is_calendar_secret, read_crew
from registry.crews.store import list_absences
from registry.db import Connection
from registry.feeds import store
from registry.feeds.crew_calendar import crew_calendar
from registry.feeds.model import WEEKS_AHEAD, WEEKS_BEFORE, CalendarUnknown
from registry.sites.model import Site
from registry.sites.service import time_zone


def write_calendar(connection: Connection, site: Site, crew_id: int, secret: str, today: date, *, root: str) -> bytes:
    """The calendar of a crew as iCalendar text, for whoever holds its secret.

    It has the walks from four weeks ago on, and of the newest plan the weeks from then to half a year from now. Raises
    CalendarUnknown, in the same words for a wrong secret as for a crew that is not there.
    """
    if not is_calendar_secret(connection, crew_id, secret):
        raise CalendarUnknown("ask for the crew's calendar address again: it may have been renewed")
    crew = read_crew(connection, crew_id)
    monday = today - timedelta(days=today.weekday())
    from_on = monday - timedelta(weeks=WEEKS_BEFORE)
    plan = store.read_feed_plan(connection)
    bundles = (
        []
        if plan is None
        else store.list_feed_bundles(
            connection, plan.plan_run_id, crew_id, from_on, monday + timedelta(weeks=WEEKS_AHEAD - 1)
        )
    )
    return crew_calendar(
        site,
        time_zone(connection),
        crew,
        list_absences(connection, crew_id),
        plan,
        bundles,
        store.list_feed_routes(connection, crew.name, from_on),
        root=root,
    )


def calendar_path(site: Site, crew_id: int, secret: str) -> str:
    """The path of a crew's calendar; whoever has it can read the calendar."""
    return f"/api/v1/sites/{site.code}/crews/{crew_id}/calendar/{secret}.ics"
