"""A crew's calendar, read back with a library that did not write it: its times are right across changes of clocks."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import vobject

from registry.crews.model import Crew, CrewAbsence
from registry.feeds.crew_calendar import crew_calendar
from registry.feeds.model import FeedBundle, FeedPlan, FeedRoute
from registry.feeds.zone_rules import zone_rules
from registry.sites.model import Site

SITE = Site(1, "works", "The works")
LONDON = ZoneInfo("Europe/London")
MADE_AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
PLAN = FeedPlan(7, date(2026, 3, 23), 13, MADE_AT)
ROOT = "https://joints.example.org"


def crew(shift_starts_at: time = time(7), **changed: Any) -> Crew:
    fields: dict[str, Any] = {
        "crew_id": 3,
        "name": "Crew A",
        "families": (),
        "minutes_by_weekday": (300.0,) * 5 + (0.0, 0.0),
        "from_on": None,
        "until_on": None,
        "revision": 1,
        "recorded_at": MADE_AT,
    }
    return Crew(**{**fields, "shift_starts_at": shift_starts_at, **changed})


def route(walk_on: date, minutes: float = 240.0, route_id: int = 1, revision: int = 1) -> FeedRoute:
    return FeedRoute(route_id, walk_on, "Jetty", "West gate", 60.0, minutes - 60.0, 12, revision, MADE_AT)


def bundle(monday: date, **changed: Any) -> FeedBundle:
    fields: dict[str, Any] = {
        "week_starting_on": monday,
        "area_id": 4,
        "area": "Hydrogen compression",
        "checks": 12,
        "minutes": 210.0,
        "late": 2,
        "scaffolds": 1,
        "earliest_due_on": date(2026, 3, 10),
    }
    return FeedBundle(**{**fields, **changed})


def written(
    *routes: FeedRoute,
    bundles: tuple[FeedBundle, ...] = (),
    plan: FeedPlan = PLAN,
    whose: Crew | None = None,
    absences: tuple[CrewAbsence, ...] = (),
    zone: ZoneInfo = LONDON,
) -> str:
    return crew_calendar(SITE, zone, whose or crew(), absences, plan, bundles, routes, root=ROOT).decode()


def events(text: str) -> list[Any]:
    return list(vobject.readOne(text).contents.get("vevent", []))


def test_a_walk_is_at_the_shift_s_hour_before_and_after_the_clocks_change() -> None:
    text = written(route(date(2026, 3, 27)), route(date(2026, 3, 30), route_id=2))
    assert "DTSTART;TZID=Europe/London:20260327T070000" in text
    assert text.count("BEGIN:VTIMEZONE") == 1
    before, after = events(text)
    # By the VTIMEZONE in the text, not by this machine's table of zones.
    assert before.dtstart.value.astimezone(UTC) == datetime(2026, 3, 27, 7, tzinfo=UTC)
    assert after.dtstart.value.astimezone(UTC) == datetime(2026, 3, 30, 6, tzinfo=UTC)
    assert after.dtend.value - after.dtstart.value == timedelta(hours=4)


def test_a_night_walk_lasts_as_long_as_it_lasts() -> None:
    (night,) = events(written(route(date(2026, 3, 28)), whose=crew(time(23))))
    assert night.dtend.value.replace(tzinfo=None) == datetime.fromisoformat("2026-03-29T04:00"), (
        "the clocks went forward on the way"
    )
    assert night.dtend.value.astimezone(UTC) == datetime(2026, 3, 29, 3, tzinfo=UTC)


@pytest.mark.parametrize(
    ("walk_on", "shift", "minutes", "ends"),
    [
        (date(2026, 10, 24), time(23), 240.0, datetime(2026, 10, 25, 2, tzinfo=UTC)),
        # 01:30 comes twice that night: only UTC can say that the second is meant.
        (date(2026, 10, 24), time(23), 210.0, datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
        # 01:30 does not come at all that night: the walk begins an hour later by the clock.
        (date(2026, 3, 29), time(1, 30), 60.0, datetime(2026, 3, 29, 2, 30, tzinfo=UTC)),
    ],
)
def test_an_hour_that_comes_twice_or_never_is_no_trap(
    walk_on: date, shift: time, minutes: float, ends: datetime
) -> None:
    (walk,) = events(written(route(walk_on, minutes), whose=crew(shift)))
    assert walk.dtend.value.astimezone(UTC) == ends
    assert walk.dtend.value.astimezone(UTC) - walk.dtstart.value.astimezone(UTC) == timedelta(minutes=minutes)


@pytest.mark.parametrize(
    "name",
    [
        "Europe/London",
        "America/New_York",
        "Australia/Lord_Howe",
        "Africa/Casablanca",
        "Asia/Kolkata",
        "America/St_Johns",
    ],
)
def test_the_zone_s_rules_give_the_zone_s_hours(name: str) -> None:
    zone = ZoneInfo(name)
    text = (
        f"BEGIN:VCALENDAR\r\n{zone_rules(zone, date(2026, 1, 1), date(2027, 12, 31)).to_ical().decode()}END:VCALENDAR"
    )
    read = vobject.readOne(text).vtimezone.tzinfo
    changes = 0
    for number in range(1, 728):
        noon = datetime.fromisoformat("2026-01-01T12:30") + timedelta(days=number)
        offsets = {(noon + timedelta(days=days)).replace(tzinfo=zone).utcoffset() for days in (-1, 1)}
        changes += len(offsets) > 1
        # Noon of every day; every hour around a change.
        for hour in range(-24, 24) if len(offsets) > 1 else (0,):
            local = noon + timedelta(hours=hour)
            ours = local.replace(tzinfo=zone)
            if ours.utcoffset() == ours.replace(fold=1).utcoffset():  # neither skipped nor doubled
                assert local.replace(tzinfo=read).utcoffset() == ours.utcoffset(), local
    assert (changes > 0) == (name != "Asia/Kolkata")


def test_a_change_of_clocks_stands_under_the_hour_by_the_old_clock() -> None:
    text = zone_rules(LONDON, date(2026, 1, 1), date(2026, 12, 31)).to_ical().decode()
    daylight = text[text.index("BEGIN:DAYLIGHT") : text.index("END:DAYLIGHT")]
    assert "DTSTART:20260329T010000" in daylight
    assert "TZOFFSETFROM:+0000" in daylight


def test_a_week_is_as_long_as_the_crew_is_there() -> None:
    monday = date(2026, 3, 30)
    good_friday = CrewAbsence(1, 3, date(2026, 4, 3), date(2026, 4, 3), "public holiday")
    (whole,), (short,) = (events(written(bundles=(bundle(monday),), absences=gone)) for gone in ((), (good_friday,)))
    assert (whole.dtstart.value, whole.dtend.value) == (monday, date(2026, 4, 4)), "the end is the day after"
    assert (short.dtstart.value, short.dtend.value) == (monday, date(2026, 4, 3))
    all_week = CrewAbsence(1, 3, monday, date(2026, 4, 5), "holiday")
    (left,) = events(written(bundles=(bundle(monday),), absences=(all_week,)))
    assert (left.dtstart.value, left.dtend.value) == (monday, date(2026, 4, 4)), "planned before the days off came"
    assert whole.summary.value == "Hydrogen compression: 12 checks, 3.5 h"
    assert "2 of them are late" in whole.description.value
    assert "Scaffolds: 1" in whole.description.value
    assert whole.url.value == f"{ROOT}/sites/works/weeks"
    assert (whole.status.value, whole.transp.value) == ("CONFIRMED", "TRANSPARENT")


def test_a_week_beyond_the_planned_ones_is_tentative() -> None:
    near, far = events(written(bundles=(bundle(date(2026, 6, 15)), bundle(date(2026, 6, 22)))))
    assert (near.status.value, far.status.value) == ("CONFIRMED", "TENTATIVE")
    assert "forecast" in far.description.value


def test_the_same_thing_keeps_its_number_and_a_changed_one_counts_up() -> None:
    monday = date(2026, 3, 30)
    first = events(written(route(monday), bundles=(bundle(monday),)))
    replanned = FeedPlan(8, PLAN.starts_on, 13, MADE_AT + timedelta(minutes=5))
    again = events(written(route(monday, revision=2), bundles=(bundle(monday, checks=9),), plan=replanned))
    assert [each.uid.value for each in first] == [each.uid.value for each in again]
    assert len({each.uid.value for each in first}) == 2
    assert all(int(new.sequence.value) > int(old.sequence.value) for old, new in zip(first, again, strict=True))
    assert again[0].last_modified.value == again[0].dtstamp.value == replanned.changed_at
    other = events(written(bundles=(bundle(monday),), whose=crew(recorded_at=MADE_AT + timedelta(seconds=1))))
    assert other[0].uid.value != first[0].uid.value, "a crew of another installation may have the same number"
    assert written(bundles=(bundle(monday),)) == written(bundles=(bundle(monday),))


def test_any_name_comes_through_and_lines_are_folded() -> None:
    name = "Hall 1; north, «größte» – " + "über dem Kai " * 9 + "am Ufer"
    text = written(bundles=(bundle(date(2026, 3, 30), area=name),), whose=crew(name="Æ, B; C"))
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    assert "\n" not in text.replace("\r\n", "")
    (week,) = events(text)
    assert week.location.value == name
    (odd,) = events(written(bundles=(bundle(date(2026, 3, 30), area="A\x07\nBEGIN:VEVENT"),)))
    assert odd.location.value == "A BEGIN:VEVENT"
    assert "\r\nREFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n" in text
    assert "\r\nX-WR-CALNAME:Æ\\, B\\; C\\, The works\r\n" in text


def test_a_site_on_utc_needs_no_zone_and_an_empty_calendar_has_one() -> None:
    text = written(route(date(2026, 3, 30)), zone=ZoneInfo("UTC"))
    assert "DTSTART:20260330T070000Z" in text
    assert "VTIMEZONE" not in text
    assert events(written()) == []
    assert "BEGIN:VTIMEZONE" in written(), "a calendar has at least one component"
