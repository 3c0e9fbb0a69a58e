"""A time zone as a calendar carries it, so that its reader needs no table of zones of its own."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)


def zone_rules(zone: ZoneInfo, first_on: date, last_on: date) -> Timezone:
    """The VTIMEZONE of a zone for some days (RFC 5545, 3.6.5): what holds at first, then each change.

    A change stands under the local time at which it comes, by the clock as it was until then.
    """
    rules = Timezone()
    rules.add("TZID", zone.key)
    began = datetime.combine(first_on - _DAY, time(), UTC)
    rules.add_component(_rule(zone, began, began))
    for moment in _changes(zone, began, datetime.combine(last_on + 2 * _DAY, time(), UTC)):
        rules.add_component(_rule(zone, moment - _SECOND, moment))
    return rules


def _rule(zone: ZoneInfo, before: datetime, moment: datetime) -> TimezoneStandard | TimezoneDaylight:
    was, now = before.astimezone(zone), moment.astimezone(zone)
    offset_was, offset_now = was.utcoffset() or timedelta(), now.utcoffset() or timedelta()
    rule = TimezoneDaylight() if now.dst() else TimezoneStandard()
    rule.add("DTSTART", (moment + offset_was).replace(tzinfo=None))
    rule.add("TZOFFSETFROM", offset_was)
    rule.add("TZOFFSETTO", offset_now)
    rule.add("TZNAME", now.tzname() or zone.key)
    return rule


def _changes(zone: ZoneInfo, began: datetime, ended: datetime) -> Iterator[datetime]:
    """The moments of a stretch at which the zone's clocks change: looked for day by day, then to the second.

    A zone that changes twice within a day and back would be missed; there is none.
    """
    days = (began + number * _DAY for number in range((ended - began).days + 1))
    for before, after in pairwise(days):
        if _state(zone, before) == _state(zone, after):
            continue
        while after - before > _SECOND:
            middle = before + ((after - before) // 2 // _SECOND) * _SECOND
            before, after = (middle, after) if _state(zone, middle) == _state(zone, before) else (before, middle)
        yield after


def _state(zone: ZoneInfo, moment: datetime) -> tuple[timedelta | None, timedelta | None]:
    local = moment.astimezone(zone)
    return local.utcoffset(), local.dst()
