"""What each page says of the demo plant, and that what the forms send is recorded once and moves the due date."""

import csv
import io
import re
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient

from registry.db import Database
from tests.web.demo_site import JOINTS, TODAY, DemoSite
from tests.web.html import elements_of, form_fields, words_of

SHEETS = ("plan", "due", "weeks", "routes", "leaks", "intervals")


def links_to_joints(page: str) -> list[str]:
    return [
        element.text
        for element in elements_of(page, "a")
        if re.search(r"/joints/.", element.attributes.get("href") or "")
    ]


def rows_of(demo: DemoSite, statement: str, *values: Any) -> list[tuple[Any, ...]]:
    with demo.database.transaction(demo.site_id) as connection:
        return connection.execute(statement.encode(), values).fetchall()


def first_tag(demo: DemoSite) -> str:
    """The joint that is due first."""
    (row,) = rows_of(
        demo,
        "SELECT j.tag FROM score s JOIN joint j USING (site_id, joint_id)"
        " WHERE score_run_id = current_score_run() ORDER BY due_on, risk_now DESC, joint_id LIMIT 1",
    )
    return str(row[0])


# ---------------------------------------------------------------- reading


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_sheet_carries_its_title_block(pages: TestClient, demo: DemoSite, sheet: str) -> None:
    answer = pages.get(f"{demo.root}/{sheet}")
    assert answer.status_code == 200
    words = words_of(answer.text)
    assert "Site Saltmarsh Point (invented)" in words
    assert f"Policy version 1 As of {TODAY} Score run 1 Drawn {TODAY}" in words
    current = [e for e in elements_of(answer.text, "a") if e.attributes.get("aria-current") == "page"]
    assert [e.attributes["href"] for e in current] == [f"{demo.root}/{sheet}"]


def test_one_site_opens_at_its_plan(pages: TestClient, demo: DemoSite) -> None:
    answer = pages.get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, f"{demo.root}/plan")


def test_the_plan_s_areas_add_up_to_all_joints(pages: TestClient, demo: DemoSite) -> None:
    words = words_of(pages.get(f"{demo.root}/plan").text)
    assert f"{JOINTS} joints" in words
    listed = rows_of(demo, "SELECT count(*) FROM area")[0][0]
    page = pages.get(f"{demo.root}/plan").text
    counts = [
        int(e.text.replace(",", "")) for e in elements_of(page, "td") if e.attributes.get("data-label") == "Joints"
    ]
    assert len(counts) == listed
    assert sum(counts) == JOINTS


def test_a_filter_narrows_plan_and_list_alike(pages: TestClient, demo: DemoSite) -> None:
    (counted,) = rows_of(
        demo,
        "SELECT count(*) FROM score s JOIN area a USING (site_id, area_id)"
        " WHERE score_run_id = current_score_run() AND a.name = %s AND s.due_on < %s",
        "Hydrogen compression",
        TODAY,
    )
    query = "?area=Hydrogen+compression&due=overdue&family=&service="
    for sheet in ("plan", "due"):
        page = pages.get(f"{demo.root}/{sheet}{query}").text
        assert f"{counted[0]} joints of this choice" in words_of(page)
        assert [e.attributes["value"] for e in elements_of(page, "option") if "selected" in e.attributes] == [
            "Hydrogen compression",
            "overdue",
        ]


@pytest.mark.parametrize("query", ["due=yesterday", "area=Atlantis", "family=glue", "service=phlogiston"])
@pytest.mark.parametrize("sheet", ["plan", "due", "due.csv"])
def test_a_filter_for_what_is_not_there_is_refused(pages: TestClient, demo: DemoSite, sheet: str, query: str) -> None:
    answer = pages.get(f"{demo.root}/{sheet}?{query}")
    assert answer.status_code == 422
    assert "Title There is nothing of that name to filter by" in words_of(answer.text)


def test_the_due_list_s_pages_hold_every_joint_once_in_the_order_of_the_csv(pages: TestClient, demo: DemoSite) -> None:
    listed: list[str] = []
    following: str | None = f"{demo.root}/due"
    while following:
        page = pages.get(following).text
        listed += links_to_joints(page)
        links = [e for e in elements_of(page, "a") if e.text == "Next page"]
        following = links[0].attributes["href"] if links else None
    answer = pages.get(f"{demo.root}/due.csv")
    table = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["tag"] for row in table] == listed
    assert len(set(listed)) == JOINTS
    assert [row["due_on"] for row in table] == sorted(row["due_on"] for row in table)


def test_a_spoilt_cursor_is_refused(pages: TestClient, demo: DemoSite) -> None:
    assert pages.get(f"{demo.root}/due?after=WyJ4IiwxLDJd").status_code == 422
    assert pages.get(f"{demo.root}/due?after=!").status_code == 422


def test_a_joint_s_page_says_what_its_why_says(pages: TestClient, demo: DemoSite) -> None:
    tag = first_tag(demo)
    why = pages.get(f"/api/v1{demo.root}/joints/{quote(tag)}/why").json()
    words = words_of(pages.get(f"{demo.root}/joints/{quote(tag)}").text)
    assert tag in words
    assert f"Next due {why['due_on']}" in words
    assert f"consequence class {why['consequence']['class']}" in words
    for factor in why["factors"]:
        assert factor["input"] in words
        assert factor["source"] in words
    for reason in why["consequence"]["reasons"]:
        assert reason in words
    assert "This sheet advises; it does not authorise." in words


def test_what_was_assumed_is_marked_wherever_it_stands(pages: TestClient, demo: DemoSite) -> None:
    (row,) = rows_of(
        demo,
        "SELECT j.tag FROM score s JOIN joint j USING (site_id, joint_id)"
        " WHERE score_run_id = current_score_run() AND assumed_inputs & 4 > 0 LIMIT 1",
    )
    page = pages.get(f"{demo.root}/joints/{row[0]}").text
    assumed = [e.text for e in elements_of(page, "span") if e.attributes.get("class") == "assumed"]
    assert "assumed" in assumed


def test_a_whole_tag_leads_to_its_joint_and_a_part_to_a_list(pages: TestClient, demo: DemoSite) -> None:
    tag = first_tag(demo)
    answer = pages.get(f"{demo.root}/joints", params={"tag": tag.lower()})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{demo.root}/joints/{tag}")
    part = tag[:4]
    found = links_to_joints(pages.get(f"{demo.root}/joints", params={"tag": part}).text)
    assert len(found) > 1
    assert all(part in other for other in found)
    assert "No tag has" in words_of(pages.get(f"{demo.root}/joints", params={"tag": "%_"}).text)


def test_a_route_s_page_lists_its_stops_in_walking_order(pages: TestClient, demo: DemoSite) -> None:
    (route_id,) = rows_of(demo, "SELECT min(route_id) FROM route")[0]
    page = pages.get(f"{demo.root}/routes/{route_id}").text
    stops = rows_of(
        demo,
        "SELECT j.tag FROM route_stop s JOIN joint j USING (site_id, joint_id) WHERE route_id = %s ORDER BY position",
        route_id,
    )
    assert links_to_joints(page) == [tag for (tag,) in stops]
    assert "Depressurise, isolate and vent" in words_of(page)
    assert pages.get(f"{demo.root}/routes/{route_id + 1000}").status_code == 404


def test_the_leaks_page_gives_each_area_its_limits(pages: TestClient, demo: DemoSite) -> None:
    rates = pages.get(f"/api/v1{demo.root}/leaks/rates").json()
    words = words_of(pages.get(f"{demo.root}/leaks").text)
    assert rates["areas"]
    for area in rates["areas"]:
        assert str(area["area"]) in words
    assert "Whole plant" in words
    (open_leaks,) = rows_of(
        demo,
        "SELECT count(*) FROM leak l WHERE NOT EXISTS"
        " (SELECT FROM leak_step d WHERE d.leak_id = l.leak_id AND d.step = 'repaired')",
    )[0]
    assert (f"{open_leaks} open, newest first." if open_leaks else "No leak is open.") in words


def test_the_matrix_counts_every_joint_once(pages: TestClient, demo: DemoSite) -> None:
    page = pages.get(f"{demo.root}/intervals").text
    cells = [
        int(e.text.replace(",", ""))
        for e in elements_of(page, "td")
        if re.fullmatch(r"band-[1-5]", e.attributes.get("class") or "")
    ]
    assert len(cells) == 25
    assert sum(cells) == JOINTS
    assert "Own method" in words_of(page)


@pytest.mark.parametrize("accept", ["text/html", "application/json"])
@pytest.mark.parametrize("path", ["/sites/nowhere/plan", "{root}/joints/NO-SUCH-TAG", "{root}/nothing", "/nothing"])
def test_what_is_not_there_is_said_in_the_reader_s_language(
    pages: TestClient, demo: DemoSite, path: str, accept: str
) -> None:
    answer = pages.get(path.format(root=demo.root), headers={"Accept": accept})
    assert answer.status_code == 404
    if accept == "text/html":
        assert elements_of(answer.text, "h1")
        assert "Status 404" in words_of(answer.text)
        tabs = [e for e in elements_of(answer.text, "a") if e.attributes.get("href") == f"{demo.root}/due"]
        assert len(tabs) == (1 if path.startswith("{root}") else 0), "from there a reader can go on"
    else:
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["status"] == 404


# ---------------------------------------------------------------- recording


@pytest.fixture
def tag(own_demo: DemoSite) -> str:
    return first_tag(own_demo)


def check_form(pages: TestClient, demo: DemoSite, tag: str) -> tuple[str, dict[str, str]]:
    action = f"{demo.root}/joints/{quote(tag)}/checks"
    return action, form_fields(pages.get(f"{demo.root}/joints/{quote(tag)}").text, action)


def test_a_tight_check_moves_the_due_date_and_counts_once(own_pages: TestClient, own_demo: DemoSite, tag: str) -> None:
    action, sent = check_form(own_pages, own_demo, tag)
    sent |= {"result": "tight", "found_on": str(TODAY), "checked_by": "Crew B", "screening_ppmv": "12"}
    before = own_pages.get(f"/api/v1{own_demo.root}/joints/{quote(tag)}/why").json()["due_on"]
    answer = own_pages.post(action, data=sent)
    assert answer.status_code == 303
    page = own_pages.get(answer.headers["location"]).text
    after = own_pages.get(f"/api/v1{own_demo.root}/joints/{quote(tag)}/why").json()["due_on"]
    assert after > before
    assert f"Recorded: tight. The due date moved from {before} to {after} ." in words_of(page)
    counted = "SELECT count(*) FROM check_result WHERE client_uuid = %s"
    again = own_pages.post(action, data=sent)
    assert "The same report was here already" in words_of(own_pages.get(again.headers["location"]).text)
    assert rows_of(own_demo, counted, sent["client_uuid"]) == [(1,)]
    other = own_pages.post(action, data=sent | {"result": "leaking"})
    assert other.status_code == 409
    assert rows_of(own_demo, counted, sent["client_uuid"]) == [(1,)]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"result": "splendid"}, "result"),
        ({"result": ""}, "result"),
        ({"result": "not_reached", "notes": " "}, "notes"),
        ({"screening_ppmv": "much"}, "screening_ppmv"),
        ({"found_on": "yesterday"}, "found_on"),
    ],
)
def test_a_check_with_a_wrong_field_is_refused_and_says_which(
    own_pages: TestClient, own_demo: DemoSite, tag: str, changed: dict[str, str], field: str
) -> None:
    action, sent = check_form(own_pages, own_demo, tag)
    answer = own_pages.post(action, data=sent | {"result": "tight"} | changed)
    assert answer.status_code == 422
    assert field in words_of(answer.text)
    assert rows_of(own_demo, "SELECT count(*) FROM check_result WHERE client_uuid = %s", sent["client_uuid"]) == [(0,)]


def test_a_check_in_the_future_is_refused(own_pages: TestClient, own_demo: DemoSite, tag: str) -> None:
    action, sent = check_form(own_pages, own_demo, tag)
    answer = own_pages.post(action, data=sent | {"result": "tight", "found_on": "2099-01-01"})
    assert answer.status_code == 422
    assert "future" in words_of(answer.text)


def test_a_weeping_joint_is_on_the_leaks_page_until_it_is_repaired(
    own_pages: TestClient, own_demo: DemoSite, tag: str
) -> None:
    action, sent = check_form(own_pages, own_demo, tag)
    own_pages.post(action, data=sent | {"result": "weeping", "found_on": str(TODAY), "screening_ppmv": "900,5"})
    page = own_pages.get(f"{own_demo.root}/leaks").text
    assert tag in links_to_joints(page)
    (leak_id,) = rows_of(
        own_demo,
        "SELECT max(leak_id) FROM leak JOIN joint USING (site_id, joint_id) WHERE tag = %s AND screening_ppmv = 900.5",
        tag,
    )[0]
    step = f"{own_demo.root}/leaks/{leak_id}/steps"
    answer = own_pages.post(step, data=form_fields(page, step) | {"step": "repaired"})
    assert answer.status_code == 303
    assert tag not in links_to_joints(own_pages.get(f"{own_demo.root}/leaks").text)


def test_a_route_is_made_and_its_stop_recorded(own_pages: TestClient, own_demo: DemoSite) -> None:
    page = own_pages.get(f"{own_demo.root}/routes").text
    gates = [e.text for e in elements_of(page, "option") if "gate" in e.text.lower()]
    sent = {"walk_on": str(TODAY), "crew_name": "Crew Z", "hours_0": "2", "gate_0": gates[0], "area": ""}
    made = own_pages.post(f"{own_demo.root}/routes", data=sent)
    assert made.status_code == 303
    where = made.headers["location"]
    route = own_pages.get(where).text
    assert "Crew Crew Z" in words_of(route)
    stop = f"{where}/stops/1"
    answer = own_pages.post(stop, data=form_fields(route, stop) | {"result": "retightened"})
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("#stop-2")
    words = words_of(own_pages.get(answer.headers["location"].partition("#")[0]).text)
    assert "1 recorded" in words
    assert f"retightened , {TODAY} 12:00, Crew Z" in words
    # The form says which joint it stood at, for the route may have been mended since.
    other = form_fields(route, stop) | {"result": "tight", "seen": "999999"}
    assert own_pages.post(stop, data=other).status_code == 404
    del other["seen"]
    assert own_pages.post(f"{where}/stops/9999", data=other).status_code == 404


# ---------------------------------------------------------------- a site that is not ready


@pytest.mark.parametrize("sheet", SHEETS)
def test_an_empty_site_says_what_to_do_next(empty_pages: TestClient, sheet: str) -> None:
    answer = empty_pages.get(f"/sites/new-plant/{sheet}")
    assert answer.status_code == 200
    words = words_of(answer.text)
    assert "What to do next" in words
    assert "jointwright --site new-plant load joints" in words


def test_a_database_without_a_site_says_how_to_begin(empty_pages: TestClient, database: Database) -> None:
    with database.owner() as owner:
        owner.execute("DELETE FROM site")
    words = words_of(empty_pages.get("/").text)
    assert "jointwright demo" in words


def test_several_sites_are_listed(empty_pages: TestClient, database: Database) -> None:
    with database.owner() as owner:
        owner.execute("INSERT INTO site (code, name) VALUES ('other-plant', 'Other plant')")
    page = empty_pages.get("/").text
    assert {"/sites/new-plant/plan", "/sites/other-plant/plan"} <= {
        e.attributes.get("href") for e in elements_of(page, "a")
    }
