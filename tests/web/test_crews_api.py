"""Crews and outages over HTTP, and the feed of a crew's calendar: open to who has its secret, shut to others."""

import logging
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

import pytest
import vobject
from fastapi.testclient import TestClient

from dashboards.app import create_app
from registry.db import Database
from registry.intervals.service import score_plant
from registry.sites.service import set_time_zone
from tests.conftest import cloned_database, new_site
from tests.database.small_site import AS_OF, fill_site, number

MONDAY = date(2026, 11, 23)
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
CREW: dict[str, Any] = {"name": "Crew A", "minutes_by_weekday": [300, 300, 300, 300, 240, 0, 0]}
OUTAGE: dict[str, Any] = {"name": "Overhaul", "from_on": "2027-03-01", "until_on": "2027-03-12", "areas": ["jetty"]}
DAYS: dict[str, Any] = {"from_on": "2026-12-24", "until_on": "2027-01-01", "reason": "holiday"}


class Api:
    """A client whose paths begin at a scored site in London's time."""

    def __init__(self, client: TestClient, database: Database) -> None:
        self.client, self.database, self.code = client, database, f"works-{uuid4().hex[:8]}"
        self.site_id = new_site(database, self.code)
        with database.owner() as owner:
            set_time_zone(owner, self.site_id, "Europe/London")
        with database.transaction(self.site_id) as connection:
            fill_site(connection, 8)

    def ask(
        self, method: str, path: str, status: int, body: dict[str, Any] | None = None, if_match: str | None = None
    ) -> Any:
        headers = {} if if_match is None else {"If-Match": if_match}
        answer = self.client.request(method, f"/api/v1/sites/{self.code}/{path}", json=body, headers=headers)
        assert answer.status_code == status, answer.text
        return answer

    def told(self, method: str, path: str, status: int, body: dict[str, Any] | None = None) -> Any:
        return self.ask(method, path, status, body).json()

    def planned(self, crew_id: int) -> None:
        """A plan with the crew in two weeks, and a route of it."""
        with self.database.transaction(self.site_id) as connection:
            run = score_plant(connection, AS_OF)
            version = number(connection, "SELECT max(policy_version) FROM policy_version")
            plan_run_id = number(
                connection,
                "INSERT INTO plan_run (site_id, score_run_id, starts_on, weeks, policy_version, frozen_weeks,"
                " planned_weeks, late_minutes, early_minutes, visit_minutes, moved_minutes, unplaced_minutes,"
                " bound_minutes, solving_seconds, made_by)"
                " VALUES (current_site(), current_score_run(), %s, 52, %s, 2, 13, 0, 0, 0, 0, 0, 0, 0, 'a test')"
                " RETURNING plan_run_id",
                MONDAY,
                version,
            )
            assert run.joints == 8
            connection.execute(
                "INSERT INTO planned_check (site_id, plan_run_id, joint_id, week_starting_on, due_on, minutes,"
                " occurrence, crew_id, area_id, scaffold, latest_on, late_cost_per_week, early_cost_per_week)"
                " SELECT current_site(), %s, j.joint_id,"
                " %s::date + 7 * (row_number() OVER (ORDER BY tag) %% 2)::integer, '2026-11-26', 15, 0, %s,"
                " (SELECT area_id FROM area WHERE name = 'Jetty'), 0, '2026-12-31', 0, 0"
                " FROM joint j",
                [plan_run_id, MONDAY, crew_id],
            )
            connection.execute(
                "INSERT INTO route (site_id, walk_on, crew, start_gate, shift_minutes, walking_minutes,"
                " working_minutes, considered, unreachable)"
                " VALUES (current_site(), '2027-03-29', 'CREW a', 'West gate', 300, 45, 180, 9, 0)"
            )


@pytest.fixture(scope="module")
def over_all(server_url: str, template_name: str) -> Iterator[tuple[TestClient, Database]]:
    """One application for the file; each test has a site of its own in it."""
    with cloned_database(server_url, template_name) as database:
        app = create_app(database, clock=lambda: NOW)
        with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as client:
            yield client, database


@pytest.fixture
def api(over_all: tuple[TestClient, Database]) -> Api:
    return Api(*over_all)


def test_a_crew_is_added_changed_by_its_tag_and_ended(api: Api) -> None:
    assert api.told("GET", "crews", 200) == {"crews": []}
    added = api.ask("POST", "crews", 201, CREW)
    crew_id = added.json()["crew_id"]
    assert added.headers["Location"] == f"/api/v1/sites/{api.code}/crews/{crew_id}"
    assert (added.json()["families"], added.json()["shift_starts_at"]) == ([], "07:00:00")
    changed = {**CREW, "families": ["flanged"], "shift_starts_at": "06:30"}
    path = f"crews/{crew_id}"
    after = api.ask("PUT", path, 200, changed, added.headers["ETag"])
    assert (after.json()["families"], after.headers["ETag"]) == (["flanged"], '"2"')
    assert api.ask("PUT", path, 412, changed, added.headers["ETag"]).json()["detail"].endswith("revision 2, not 1")
    assert api.ask("PUT", path, 428, changed).json()["type"].endswith("precondition-required")
    assert api.ask("POST", f"{path}/end", 412, {"until_on": "2026-12-31"}, '"1"')
    assert api.ask("POST", f"{path}/end", 200, {"until_on": "2026-12-31"}, '"2"').json()["until_on"] == "2026-12-31"
    assert api.ask("GET", path, 200).headers["ETag"] == '"3"'


def test_what_a_crew_cannot_be_is_a_problem(api: Api) -> None:
    refused = api.told("POST", "crews", 422, {**CREW, "families": ["no such"], "minutes_by_weekday": [2000]})
    assert refused["type"].endswith("crew-unfit")
    assert {issue["column"] for issue in refused["issues"]} == {"families", "minutes_by_weekday"}
    assert api.told("POST", "crews", 422, {**CREW, "hours": 5})["type"].endswith("request-invalid")
    api.told("POST", "crews", 201, CREW)
    assert api.told("POST", "crews", 409, {**CREW, "name": "CREW A"})["type"].endswith("crew-exists")
    assert api.told("GET", "crews/9999", 404)["type"].endswith("crew-unknown")
    assert api.told("GET", "crews/99999999999", 422)["type"].endswith("request-invalid")


def test_days_off_are_added_for_one_or_all_and_taken_back(api: Api) -> None:
    first, second = (api.told("POST", "crews", 201, {**CREW, "name": name})["crew_id"] for name in ("A", "B"))
    (own,) = api.told("POST", f"crews/{first}/absences", 201, DAYS)["absences"]
    added = api.told("POST", "absences", 201, DAYS)["added"]
    assert [absence["crew_id"] for absence in added] == [second], "the first has just these days off already"
    assert [len(crew["absences"]) for crew in api.told("GET", "crews", 200)["crews"]] == [1, 1]
    absence = f"crews/{first}/absences/{own['crew_absence_id']}"
    assert api.told("DELETE", absence, 200)["absences"] == []
    assert api.told("DELETE", absence, 404)["type"].endswith("absence-unknown")
    refused = api.told("POST", "absences", 422, {**DAYS, "until_on": "2026-12-01"})
    assert refused["type"].endswith("absence-unfit")


def test_an_outage_is_added_changed_and_removed_by_its_tag(api: Api) -> None:
    added = api.ask("POST", "outages", 201, OUTAGE)
    assert added.json()["areas"] == ["Jetty"]
    path = f"outages/{added.json()['outage_id']}"
    assert added.headers["Location"] == f"/api/v1/sites/{api.code}/{path}"
    assert api.told("POST", "outages", 409, OUTAGE)["type"].endswith("outage-exists")
    assert api.told("POST", "outages", 422, {**OUTAGE, "areas": ["Moon"]})["issues"][0]["value"] == "Moon"
    assert api.ask("PUT", path, 200, {**OUTAGE, "areas": []}, '"1"').json()["areas"] == []
    assert api.ask("DELETE", path, 412, if_match='"1"')
    assert api.ask("DELETE", path, 428)
    assert api.ask("DELETE", path, 204, if_match='"2"').content == b""
    assert api.told("GET", path, 404)["type"].endswith("outage-unknown")
    assert api.told("GET", "outages", 200) == {"outages": []}


def test_a_calendar_has_the_crew_s_weeks_and_walks_in_the_site_s_time(api: Api) -> None:
    crew_id = api.told("POST", "crews", 201, CREW)["crew_id"]
    other = api.told("POST", "crews", 201, {**CREW, "name": "Crew B"})["crew_id"]
    api.planned(crew_id)
    feed = api.client.get(api.told("GET", f"crews/{crew_id}/calendar", 200)["path"])
    assert feed.status_code == 200
    assert feed.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert feed.headers["Cache-Control"].startswith("private")
    assert "noindex" in feed.headers["X-Robots-Tag"]
    first, second, walk = vobject.readOne(feed.text).vevent_list
    assert [first.dtstart.value, second.dtstart.value] == [MONDAY, date(2026, 11, 30)]
    assert first.summary.value == "Jetty: 4 checks, 1.0 h"
    assert "4 of them are late" in second.description.value
    assert walk.dtstart.value.astimezone(UTC) == datetime(2027, 3, 29, 6, tzinfo=UTC), "07:00 in summer"
    assert walk.dtend.value.astimezone(UTC) == datetime(2027, 3, 29, 9, 45, tzinfo=UTC)
    assert walk.url.value.startswith(f"http://localhost/sites/{api.code}/routes/")
    empty = api.client.get(api.told("GET", f"crews/{other}/calendar", 200)["path"])
    assert "BEGIN:VEVENT" not in empty.text


def test_a_calendar_needs_its_own_newest_secret(api: Api) -> None:
    crew_id = api.told("POST", "crews", 201, CREW)["crew_id"]
    other = api.told("POST", "crews", 201, {**CREW, "name": "Crew B"})["crew_id"]
    path = api.told("GET", f"crews/{crew_id}/calendar", 200)["path"]
    secret = path.rpartition("/")[2].removesuffix(".ics")
    assert len(secret) >= 32
    wrong = api.ask("GET", f"crews/{crew_id}/calendar/{'x' * len(secret)}.ics", 404)
    for elsewhere in (f"crews/{other}/calendar/{secret}.ics", f"crews/{other + 100}/calendar/{secret}.ics"):
        shut = api.ask("GET", elsewhere, 404)
        assert (shut.content, shut.headers) == (wrong.content, wrong.headers), "a wrong guess tells nothing"
    assert wrong.json()["type"].endswith("calendar-unknown")
    renewed = api.ask("POST", f"crews/{crew_id}/calendar/renew", 200)
    assert renewed.headers["Cache-Control"] == "no-store"
    assert api.client.get(path).content == wrong.content
    assert api.client.get(renewed.json()["path"]).status_code == 200
    assert api.told("POST", "crews/9999/calendar/renew", 404)["type"].endswith("crew-unknown")
    listed = api.ask("GET", "crews", 200).text + api.ask("GET", f"crews/{crew_id}", 200).text
    assert renewed.json()["path"].rpartition("/")[2].removesuffix(".ics") not in listed
    assert "calendar_secret" not in listed


def test_a_secret_does_not_get_into_the_log(
    api: Api, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew_id = api.told("POST", "crews", 201, CREW)["crew_id"]
    path = api.told("GET", f"crews/{crew_id}/calendar", 200)["path"]

    def broken(*_: object, **__: object) -> bytes:
        raise RuntimeError("made to fail")

    monkeypatch.setattr("registry.feeds.api.write_calendar", broken)
    with caplog.at_level(logging.DEBUG):
        assert api.client.get(path).status_code == 500
    ours = [record for record in caplog.records if record.name.startswith(("dashboards", "registry", "uvicorn"))]
    assert ours, "the failure itself is in the log"
    secret = path.rpartition("/")[2].removesuffix(".ics")
    assert not [record for record in ours if secret in logging.Formatter().format(record)]
