"""Crews and outages are kept as wanted, once by name, by whom saw them as they stand, and for one site alone."""

from dataclasses import replace
from datetime import date, time

import pytest

from registry.crews import service, store
from registry.crews.model import (
    AbsenceUnfit,
    AbsenceUnknown,
    Crew,
    CrewChangedSince,
    CrewExists,
    CrewRequest,
    CrewUnfit,
    CrewUnknown,
    OutageChangedSince,
    OutageExists,
    OutageRequest,
    OutageUnfit,
    OutageUnknown,
)
from registry.db import Connection, Database
from registry.errors import Invalid
from registry.plant.store import add_areas
from registry.policy.service import publish_first
from registry.sites.model import TimeZoneUnknown
from registry.sites.service import set_time_zone, time_zone
from tests.conftest import new_site

USUAL = (390.0,) * 5 + (0.0, 0.0)
WANTED = CrewRequest("Crew A", USUAL)
EASTER = (date(2027, 3, 26), date(2027, 3, 29))


@pytest.fixture
def site(connection: Connection) -> Connection:
    """A site with the shipped policy and three areas, rolled back at the end."""
    publish_first(connection)
    add_areas(connection, ["10 Electrolysis hall", "20 Hydrogen compression", "Jetty"])
    return connection


def faults(refused: Invalid) -> list[tuple[str | None, str | None]]:
    return [(issue.column, issue.value) for issue in refused.issues]


def test_a_crew_is_kept_as_wanted(site: Connection) -> None:
    wanted = CrewRequest(
        "  High-pressure   pair ",
        (0.0, 300.5, 300.0, 300.0, 0.0, 0.0, 60.0),
        ("twin_ferrule", "cone_thread", "Twin_Ferrule"),
        time(13, 30),
        date(2026, 1, 5),
        date(2027, 1, 3),
    )
    added = service.add_crew(site, wanted)
    assert added == service.read_crew(site, added.crew_id) == service.crew_by_name(site, "high-PRESSURE pair")
    assert added.as_request() == replace(wanted, name="High-pressure pair", families=("cone_thread", "twin_ferrule"))
    assert added.may_check("cone_thread")
    assert not added.may_check("flanged")
    assert service.add_crew(site, WANTED).may_check("flanged"), "a crew without families may check all"
    assert [crew.name for crew in service.list_crews(site)] == ["Crew A", "High-pressure pair"]
    assert service.crew_by_name(site, "Crew Z") is None
    with pytest.raises(CrewUnknown, match="there is Crew A, High-pressure pair"):
        service.crew_named(site, "Crew Z")


def test_everything_wrong_with_a_crew_is_said_at_once(site: Connection) -> None:
    with pytest.raises(CrewUnfit) as refused:
        service.add_crew(
            site,
            CrewRequest(
                " ", (1441.0, -1.0, float("nan"), 0, 0, 0, 0), ("no such",), from_on=EASTER[1], until_on=EASTER[0]
            ),
        )
    assert faults(refused.value) == [
        ("name", None),
        ("minutes_by_weekday", "1441.0"),
        ("minutes_by_weekday", "-1.0"),
        ("minutes_by_weekday", "nan"),
        ("families", "no such"),
        ("until_on", "2027-03-26"),
    ]
    assert "flanged" in str(refused.value.issues[4])
    for minutes in ((0.0,) * 7, USUAL[:6]):
        with pytest.raises(CrewUnfit):
            service.add_crew(site, CrewRequest("Crew A", minutes))
    assert service.list_crews(site) == []


def test_a_name_is_there_once_whatever_its_letters(site: Connection) -> None:
    first, second = service.add_crew(site, WANTED), service.add_crew(site, replace(WANTED, name="Crew B"))
    with pytest.raises(CrewExists):
        service.add_crew(site, replace(WANTED, name="crew a"))
    with pytest.raises(CrewExists):
        service.change_crew(site, second.crew_id, replace(WANTED, name="CREW A"), second.revision)
    renamed = service.change_crew(site, first.crew_id, replace(WANTED, name="CREW A"), first.revision)
    assert renamed.name == "CREW A", "its own name in other letters is no second one"


def test_the_database_keeps_names_once_where_two_ask_at_the_same_time(module_database: Database) -> None:
    site_id = new_site(module_database, "both-at-once")
    wanted = OutageRequest("Overhaul", *EASTER)
    with module_database.transaction(site_id) as connection:
        store.add_crew(connection, WANTED, "s" * 43)
        store.add_outage(connection, wanted, [])
    with pytest.raises(CrewExists), module_database.transaction(site_id) as connection:
        store.add_crew(connection, replace(WANTED, name="CREW A"), "t" * 43)
    with pytest.raises(OutageExists), module_database.transaction(site_id) as connection:
        store.add_outage(connection, wanted, [])


def test_who_did_not_see_a_crew_as_it_stands_does_not_change_it(site: Connection) -> None:
    seen = service.add_crew(site, WANTED)
    changed = service.change_crew(site, seen.crew_id, replace(WANTED, shift_starts_at=time(6)), seen.revision)
    assert (changed.revision, changed.shift_starts_at) == (seen.revision + 1, time(6))
    with pytest.raises(CrewChangedSince, match="is at revision 2, not 1"):
        service.change_crew(site, seen.crew_id, replace(WANTED, name="Crew Z"), seen.revision)
    with pytest.raises(CrewChangedSince):
        service.end_crew(site, seen.crew_id, EASTER[0], seen.revision)
    assert service.read_crew(site, seen.crew_id) == changed
    assert service.change_crew(site, seen.crew_id, WANTED, None).revision == 3, "whatever it is at, when asked so"
    with pytest.raises(CrewUnknown):
        service.change_crew(site, seen.crew_id + 1, WANTED, 1)


def test_a_crew_ends_and_stays_on_record(site: Connection) -> None:
    crew = service.add_crew(site, replace(WANTED, from_on=date(2026, 6, 1)))
    with pytest.raises(CrewUnfit):
        service.end_crew(site, crew.crew_id, date(2026, 5, 31), crew.revision)
    ended = service.end_crew(site, crew.crew_id, date(2026, 12, 31), crew.revision)
    assert service.list_crews(site) == [ended]
    assert ended.until_on == date(2026, 12, 31)


def test_days_off_are_of_one_crew_or_of_all_that_are_there(site: Connection) -> None:
    first = service.add_crew(site, WANTED)
    over = service.add_crew(site, replace(WANTED, name="Crew B", until_on=date(2026, 12, 31)))
    (own,) = service.add_absence(site, over.crew_id, date(2026, 8, 3), date(2026, 8, 14), "  holiday ")
    assert (own.crew_id, own.reason) == (over.crew_id, "holiday")
    holidays = service.add_absence(site, None, *EASTER, "Easter")
    assert [absence.crew_id for absence in holidays] == [first.crew_id], "the other crew has ended by then"
    assert service.add_absence(site, None, *EASTER, "Easter") == [], "once is enough"
    assert service.list_absences(site) == [own, *holidays]
    assert service.read_crew(site, first.crew_id).revision == 2, "who saw it without these days did not see it"
    after = service.remove_absence(site, first.crew_id, holidays[0].crew_absence_id)
    assert after.revision == 3
    assert service.list_absences(site) == [own]


def test_days_off_that_cannot_be_are_refused(site: Connection) -> None:
    crew = service.add_crew(site, WANTED)
    with pytest.raises(AbsenceUnfit) as refused:
        service.add_absence(site, crew.crew_id, EASTER[1], EASTER[0], " ")
    assert [issue.column for issue in refused.value.issues] == ["until_on", "reason"]
    with pytest.raises(CrewUnknown):
        service.add_absence(site, crew.crew_id + 1, *EASTER, "Easter")
    other = service.add_crew(site, replace(WANTED, name="Crew B"))
    (absence,) = service.add_absence(site, crew.crew_id, *EASTER, "Easter")
    with pytest.raises(AbsenceUnknown):
        service.remove_absence(site, other.crew_id, absence.crew_absence_id)


def test_an_outage_shuts_areas_down_by_any_name_that_they_are_known_by(site: Connection) -> None:
    wanted = OutageRequest("Overhaul", *EASTER, areas=(" JETTY", "20  hydrogen compression"))
    outage = service.add_outage(site, wanted)
    assert outage.areas == ("20 Hydrogen compression", "Jetty")
    assert len(outage.area_ids) == 2
    everything = service.add_outage(site, OutageRequest("Shutdown", date(2027, 1, 4), date(2027, 1, 8)))
    assert everything.area_ids == ()
    assert service.list_outages(site) == [everything, outage], "the first to come first"
    with pytest.raises(OutageUnfit) as refused:
        service.add_outage(site, OutageRequest("", EASTER[1], EASTER[0], ("Jetty", "Moon")))
    assert faults(refused.value) == [("name", None), ("until_on", "2027-03-26"), ("areas", "Moon")]


def test_an_outage_is_changed_and_removed_by_who_saw_it(site: Connection) -> None:
    outage = service.add_outage(site, OutageRequest("Overhaul", *EASTER, areas=("Jetty",)))
    later = replace(outage.as_request(), until_on=date(2027, 4, 9), areas=("10 Electrolysis hall",))
    changed = service.change_outage(site, outage.outage_id, later, outage.revision)
    assert (changed.until_on, changed.areas, changed.revision) == (date(2027, 4, 9), ("10 Electrolysis hall",), 2)
    for refused in (
        lambda: service.change_outage(site, outage.outage_id, later, outage.revision),
        lambda: service.remove_outage(site, outage.outage_id, outage.revision),
    ):
        with pytest.raises(OutageChangedSince):
            refused()
    with pytest.raises(OutageExists):
        service.add_outage(site, OutageRequest("Overhaul", *EASTER))
    other = service.add_outage(site, OutageRequest("Overhaul", date(2028, 1, 1), date(2028, 1, 2)))
    with pytest.raises(OutageExists):
        service.change_outage(site, other.outage_id, later, other.revision)
    service.remove_outage(site, outage.outage_id, changed.revision)
    assert service.list_outages(site) == [other]
    with pytest.raises(OutageUnknown):
        service.remove_outage(site, outage.outage_id, None)


def test_a_calendar_is_opened_by_its_newest_secret_alone(site: Connection) -> None:
    crew, other = service.add_crew(site, WANTED), service.add_crew(site, replace(WANTED, name="Crew B"))
    secret = service.calendar_secret(site, crew.crew_id)
    assert service.is_calendar_secret(site, crew.crew_id, secret)
    for crew_id, given in ((other.crew_id, secret), (crew.crew_id, secret[:-1]), (crew.crew_id, ""), (0, secret)):
        assert not service.is_calendar_secret(site, crew_id, given)
    renewed = service.renew_calendar(site, crew.crew_id)
    assert renewed != secret
    assert not service.is_calendar_secret(site, crew.crew_id, secret)
    assert service.is_calendar_secret(site, crew.crew_id, renewed)
    assert secret not in repr(service.list_crews(site))
    for ask in (service.calendar_secret, service.renew_calendar):
        with pytest.raises(CrewUnknown):
            ask(site, 0)


def test_another_site_neither_sees_nor_changes_them(module_database: Database) -> None:
    here, there = new_site(module_database, "here"), new_site(module_database, "there")
    crew: Crew
    with module_database.transaction(here) as connection:
        publish_first(connection)
        crew = service.add_crew(connection, WANTED)
        (absence,) = service.add_absence(connection, crew.crew_id, *EASTER, "Easter")
        outage = service.add_outage(connection, OutageRequest("Overhaul", *EASTER))
        secret = service.calendar_secret(connection, crew.crew_id)
    with module_database.transaction(there) as connection:
        publish_first(connection)
        assert (service.list_crews(connection), service.list_absences(connection)) == ([], [])
        assert service.list_outages(connection) == []
        assert store.save_crew(connection, crew.crew_id, WANTED, None) is None
        assert not store.save_outage(connection, outage.outage_id, outage.as_request(), [], None)
        assert store.remove_outage(connection, outage.outage_id, None) == 0
        assert store.remove_absence(connection, crew.crew_id, absence.crew_absence_id) == 0
        assert store.add_absences(connection, [crew.crew_id], *EASTER, "Easter") == []
        assert not service.is_calendar_secret(connection, crew.crew_id, secret)
        assert service.add_crew(connection, WANTED).name == "Crew A", "a name is a site's own"


def test_a_site_s_zone_is_one_that_there_is(module_database: Database) -> None:
    site_id = new_site(module_database, "zoned")
    with module_database.transaction(site_id) as connection:
        assert time_zone(connection).key == "UTC"
    with module_database.owner() as owner:
        set_time_zone(owner, site_id, "Europe/London")
        for name in ("Europe/Atlantis", "../etc/passwd", "", "Europe"):
            with pytest.raises(TimeZoneUnknown):
                set_time_zone(owner, site_id, name)
    with module_database.transaction(site_id) as connection:
        assert time_zone(connection).key == "Europe/London"
