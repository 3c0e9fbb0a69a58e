"""A crew's calendar as iCalendar text (RFC 5545): a day-long entry for each area of a week, a timed one for each walk.

Nothing in it depends on when it is written, so it stays the same until the plan, a walk or the crew changes.
"""

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, vDuration, vText
from icalendar.enums import STATUS, TRANSP

from registry.crews.calendar import working_days
from registry.crews.model import Crew, CrewAbsence
from registry.feeds.model import FeedBundle, FeedPlan, FeedRoute
from registry.feeds.zone_rules import zone_rules
from registry.sites.model import Site

_PRODUCT = "-//Jointwright//Crew calendar//EN"
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)


def crew_calendar(
    site: Site,
    zone: ZoneInfo,
    crew: Crew,
    absences: Sequence[CrewAbsence],
    plan: FeedPlan | None,
    bundles: Iterable[FeedBundle],
    routes: Iterable[FeedRoute],
    *,
    root: str,
) -> bytes:
    """The calendar of a crew; `root` is where the pages are, such as `https://joints.example.org`.

    Walks begin with the crew's shift by the clock of `zone` and last as long as walking and working together. What
    hangs on the plan alone is transparent: it says what the week is for and keeps no hour of it.
    """
    events = [_bundle_event(site, crew, absences, plan, bundle, root) for bundle in bundles if plan is not None]
    events += [_route_event(site, zone, crew, route, root) for route in routes]
    calendar = Calendar.new(prodid=_PRODUCT, uid=_uid(site, crew, "calendar"))
    # Set by hand: the library would leave commas in a name as they are, and the interval without its type (RFC 7986).
    for name in ("NAME", "X-WR-CALNAME"):
        calendar.add(name, vText(_plain(f"{crew.name}, {site.name}")))
    for name in ("DESCRIPTION", "X-WR-CALDESC"):
        calendar.add(name, vText("The plan of the crew and its walks; hours of a week are net time at the joints."))
    calendar.add("REFRESH-INTERVAL", vDuration(timedelta(hours=1)), {"VALUE": "DURATION"})
    for event in events:
        calendar.add_component(event)
    days = [_day(event) for event in events] or [crew.recorded_at.date()]
    # A calendar has at least one component (RFC 5545, 3.6): the zone is it where nothing is planned.
    if not events or calendar.get_missing_tzids():
        calendar.subcomponents.insert(0, zone_rules(zone, min(days), max(days)))
    return calendar.to_ical()


def _bundle_event(
    site: Site, crew: Crew, absences: Sequence[CrewAbsence], plan: FeedPlan, bundle: FeedBundle, root: str
) -> Event:
    monday = bundle.week_starting_on
    # Where the crew's days changed since the plan was made and none is left, the entry stands on the usual ones.
    days = working_days(crew, absences, monday) or (monday, monday + timedelta(days=4))
    forecast = monday >= plan.forecast_from
    told = [
        f"{_checks(bundle.checks)}, {_hours(bundle.minutes)} at the joints, in the week of {monday}.",
        f"The earliest was due on {bundle.earliest_due_on}." if bundle.late else "",
        f"{bundle.late:,} of them are late: due before this week." if bundle.late else "",
        f"Scaffolds: {bundle.scaffolds:,}." if bundle.scaffolds else "",
        "A forecast: the week will be planned again." if forecast else "",
    ]
    return Event.new(
        uid=_uid(site, crew, f"week/{monday}/area/{bundle.area_id}"),
        stamp=plan.changed_at,
        last_modified=plan.changed_at,
        sequence=int((plan.changed_at - _SEQUENCE_FROM).total_seconds()) + crew.revision,
        start=days[0],
        end=days[-1] + timedelta(days=1),
        summary=f"{_place(bundle.area)}: {_checks(bundle.checks)}, {_hours(bundle.minutes)}",
        description="\n".join(line for line in told if line),
        location=_place(bundle.area),
        url=f"{root}/sites/{site.code}/weeks",
        status=STATUS.TENTATIVE if forecast else STATUS.CONFIRMED,
        transparency=TRANSP.TRANSPARENT,
    )


def _route_event(site: Site, zone: ZoneInfo, crew: Crew, route: FeedRoute, root: str) -> Event:
    # In UTC in between: adding minutes to a local time would take no notice of clocks that change on the way.
    began = datetime.combine(route.walk_on, crew.shift_starts_at, zone).astimezone(UTC)
    ended = began + timedelta(minutes=max(1, round(route.walking_minutes + route.working_minutes)))
    return Event.new(
        uid=_uid(site, crew, f"route/{route.route_id}"),
        stamp=route.recorded_at,
        last_modified=route.recorded_at,
        sequence=route.revision + crew.revision,
        start=_by_clock(began, zone),
        end=_by_clock(ended, zone),
        summary=f"Route {route.route_id}: {route.stops:,} stop{'' if route.stops == 1 else 's'}, {_area(route.area)}",
        description=(
            f"{_hours(route.working_minutes)} at the joints, {_hours(route.walking_minutes)} of walking.\n"
            f"From {_plain(route.start_gate)} and back."
        ),
        location=f"{_plain(route.start_gate)}; {_area(route.area)}",
        url=f"{root}/sites/{site.code}/routes/{route.route_id}",
        status=STATUS.CONFIRMED,
    )


def _by_clock(moment: datetime, zone: ZoneInfo) -> datetime:
    """A moment by the zone's clock; in UTC where that clock shows its hour for the second time.

    A local time that comes twice means the first one (RFC 5545, 3.3.5), so the second cannot be written otherwise.
    """
    local = moment.astimezone(zone)
    return moment if local.fold else local


def _day(event: Event) -> date:
    start = event.start
    return start.date() if isinstance(start, datetime) else start


def _uid(site: Site, crew: Crew, what: str) -> str:
    """The same for the same thing at every writing, and nobody else's: the moment the crew was added is in it."""
    whose = f"{site.code}/{crew.crew_id}/{crew.recorded_at.isoformat()}"
    return str(uuid5(NAMESPACE_URL, f"urn:jointwright:{whose}/{what}"))


def _checks(count: int) -> str:
    return f"{count:,} check{'' if count == 1 else 's'}"


def _hours(minutes: float) -> str:
    return f"{minutes / 60:.1f} h"


def _place(area: str | None) -> str:
    return _plain(area or "No area")


def _area(area: str | None) -> str:
    return _plain(area or "whole site")


def _plain(text: str) -> str:
    """A name on one line, without what RFC 5545 calls control characters."""
    return " ".join(_CONTROL.sub(" ", text).split())
