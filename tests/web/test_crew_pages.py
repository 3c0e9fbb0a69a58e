"""Crews and outages on their pages: added, changed, refused when overtaken; the calendar's address only on request."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from tests.web.demo_site import TODAY, DemoSite
from tests.web.html import elements_of, words_of

CREW = {"name": "Night pair", "minutes": ["300", "300", "0", "0", "0", "0", "90.5"], "shift_starts_at": "19:00"}


def crew_form(page: str, action: str) -> dict[str, str]:
    """The hidden fields and the values of the form that goes to an address."""
    fields: dict[str, str] = {}
    inside = False
    for element in elements_of(page, "form", "input"):
        if element.name == "form":
            inside = element.attributes.get("action") == action
        elif inside and element.attributes.get("type") not in ("checkbox",):
            fields[element.attributes["name"] or ""] = element.attributes.get("value") or ""
    return fields


def test_the_demo_s_crews_and_outages_are_listed_with_their_hours_and_days(pages: TestClient, demo: DemoSite) -> None:
    words = words_of(pages.get(f"{demo.root}/crews").text)
    for crew in pages.get(f"/api/v1{demo.root}/crews").json()["crews"]:
        assert crew["name"] in words
        for absence in crew["absences"][:1]:
            assert absence["reason"] in words
    for outage in pages.get(f"/api/v1{demo.root}/outages").json()["outages"]:
        assert f"{outage['name']} {outage['from_on']} {outage['until_on']}" in words
    assert "Shifts are by the clock of the site" in words


def test_a_crew_is_added_changed_and_ended(written_pages: TestClient, written_demo: DemoSite) -> None:
    root = written_demo.root
    added = written_pages.post(f"{root}/crews", data=CREW | {"families": ["flanged", "union"]})
    assert added.status_code == 303
    where = added.headers["location"]
    page = written_pages.get(where).text
    words = words_of(page)
    assert "Night pair" in words
    assert "A week 11.5 h" in words
    assert [e.attributes["value"] for e in elements_of(page, "input") if "checked" in e.attributes] == [
        "flanged",
        "union",
    ]
    seen = crew_form(page, where)
    assert seen["shift_starts_at"] == "19:00"
    assert written_pages.post(where, data=CREW | {"name": "Late pair", "revision": seen["revision"]}).status_code == 303
    stale = written_pages.post(where, data=CREW | {"name": "Early pair", "revision": seen["revision"]})
    assert stale.status_code == 409
    assert "was changed in between" in words_of(stale.text)
    revision = crew_form(written_pages.get(where).text, where)["revision"]
    ended = {"until_on": str(TODAY - timedelta(days=1)), "revision": revision}
    assert written_pages.post(f"{where}/end", data=ended).status_code == 303
    words = words_of(written_pages.get(f"{root}/crews").text)
    assert "Late pair" in words
    assert f"ended {TODAY - timedelta(days=1)}" in words
    assert "Early pair" not in words


def test_what_cannot_be_read_of_a_crew_is_said_field_by_field(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    spoilt = {"name": "X", "minutes": ["much"] * 7, "shift_starts_at": "dawn", "from_on": "soon"}
    answer = written_pages.post(f"{written_demo.root}/crews", data=spoilt)
    assert answer.status_code == 422
    words = words_of(answer.text)
    for said in ("minutes on Monday", "minutes on Sunday", "shift_starts_at", "from_on"):
        assert said in words
    short = written_pages.post(f"{written_demo.root}/crews", data=CREW | {"minutes": ["60"]})
    assert "give seven numbers" in words_of(short.text)


def test_days_off_are_entered_and_taken_back_for_one_crew_and_for_all(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    root = written_demo.root
    where = written_pages.post(f"{root}/crews", data=CREW | {"name": "Third pair"}).headers["location"]
    off = {"from_on": "2026-07-06", "until_on": "2026-07-17", "reason": "summer"}
    assert written_pages.post(f"{where}/absences", data=off).status_code == 303
    assert written_pages.post(f"{where}/absences", data=off | {"until_on": "2026-07-01"}).status_code == 422
    page = written_pages.get(where).text
    assert "2026-07-06 2026-07-17 summer" in words_of(page)
    back = [e.attributes["action"] for e in elements_of(page, "form") if e.attributes["action"].endswith("/remove")]
    assert written_pages.post(back[0]).status_code == 303
    assert "None on file." in words_of(written_pages.get(where).text)
    holiday = {"from_on": "2026-08-31", "until_on": "2026-08-31", "reason": "bank holiday"}
    assert written_pages.post(f"{root}/absences", data=holiday).status_code == 303
    words = words_of(written_pages.get(f"{root}/crews").text)
    crews = written_pages.get(f"/api/v1{root}/crews").json()["crews"]
    there = [crew for crew in crews if any(each["reason"] == "bank holiday" for each in crew["absences"])]
    assert len(there) >= 4
    assert words.count("2026-08-31") >= len(there)


def test_a_calendar_s_address_is_shown_on_request_only_and_can_be_renewed(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    where = written_pages.post(f"{written_demo.root}/crews", data=CREW | {"name": "Fourth pair"}).headers["location"]
    assert "/calendar/" not in written_pages.get(where).text
    shown = written_pages.get(f"{where}/calendar")
    assert shown.headers["cache-control"] == "no-store"
    address = crew_address(shown.text)
    assert address.startswith("http://localhost/api/v1/")
    assert written_pages.get(address).headers["content-type"].startswith("text/calendar")
    renewed = written_pages.post(f"{where}/calendar")
    assert "/calendar/" not in renewed.headers["location"], "no secret in an address that is logged"
    page = written_pages.get(renewed.headers["location"].partition("#")[0]).text
    assert "The calendar has a new address." in words_of(page)
    assert crew_address(page) != address
    assert written_pages.get(address).status_code == 404


def crew_address(page: str) -> str:
    """The calendar's address on a page."""
    (field,) = [e for e in elements_of(page, "input") if e.attributes.get("id") == "calendar-address"]
    return field.attributes["value"] or ""


def test_an_outage_is_added_changed_and_removed(written_pages: TestClient, written_demo: DemoSite) -> None:
    root = written_demo.root
    sent = {"name": "Jetty repair", "from_on": "2026-06-01", "until_on": "2026-06-05", "areas": ["Jetty"]}
    assert written_pages.post(f"{root}/outages", data=sent | {"until_on": "2026-05-01"}).status_code == 422
    assert written_pages.post(f"{root}/outages", data=sent).status_code == 303
    page = written_pages.get(f"{root}/crews").text
    link = next(e.attributes["href"] or "" for e in elements_of(page, "a") if e.text == "Jetty repair")
    page = written_pages.get(link).text
    assert [e.attributes["value"] for e in elements_of(page, "input") if "checked" in e.attributes] == ["Jetty"]
    revision = crew_form(page, link)["revision"]
    changed = sent | {"until_on": "2026-06-12", "areas": [], "revision": revision}
    assert written_pages.post(link, data=changed).status_code == 303
    assert written_pages.post(link, data=changed).status_code == 409, "it was seen before the change"
    words = words_of(written_pages.get(f"{root}/crews").text)
    assert re.search(r"Jetty repair 2026-06-01 2026-06-12 12 whole site", words)
    assert written_pages.post(f"{link}/remove", data={"revision": revision}).status_code == 409
    now = crew_form(written_pages.get(link).text, link)["revision"]
    assert written_pages.post(f"{link}/remove", data={"revision": now}).status_code == 303
    assert "Jetty repair" not in words_of(written_pages.get(f"{root}/crews").text)


@pytest.mark.parametrize("address", ["crews/999", "crews/999/calendar", "outages/999"])
def test_what_is_not_there_is_said_so(pages: TestClient, demo: DemoSite, address: str) -> None:
    assert pages.get(f"{demo.root}/{address}").status_code == 404
