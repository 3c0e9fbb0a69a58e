"""The plan over HTTP: made at once and in the background, read, moved by hand, deferred; and what is refused."""

import csv
import io
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import openpyxl
import pytest
from fastapi.testclient import TestClient

from dashboards.app import create_app
from registry.db import Database
from registry.planning.answers import CHECK_COLUMNS
from tests.conftest import cloned_database, new_site
from tests.database.planned_site import MONDAY, fill_planned_site
from tests.database.small_site import AS_OF

WEEKS = 12


@pytest.fixture(scope="module")
def server(server_url: str, template_name: str) -> Iterator[tuple[Database, TestClient]]:
    """The application at noon of the scores' day over a site that is filled and scored."""
    with cloned_database(server_url, template_name) as database:
        with database.transaction(new_site(database, "works")) as connection:
            fill_planned_site(connection, 120)
        app = create_app(database, clock=lambda: datetime(AS_OF.year, AS_OF.month, AS_OF.day, 12, tzinfo=UTC))
        base = "http://localhost/api/v1/sites/works/"
        with TestClient(app, base_url=base, raise_server_exceptions=False) as client:
            yield database, client


@pytest.fixture
def client(server: tuple[Database, TestClient]) -> TestClient:
    """A program's view of it, with a plan."""
    client = server[1]
    if client.get("plan").status_code == 404:
        refused(client.get("plan"), 404, "not-planned")
        refused(client.get("plan.csv"), 404, "not-planned")
        made = client.post("plan", json={"weeks": WEEKS, "made_by": "P. Planner"})
        assert made.status_code == 201
        assert client.get("plan").json() == made.json()
    return client


def refused(answer: Any, status: int, slug: str) -> Any:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"urn:jointwright:problem:{slug}"
    return problem


def a_check(client: TestClient) -> dict[str, Any]:
    """A joint's next check some weeks ahead that needs neither outage nor scaffold."""
    for week in range(3, WEEKS):
        monday = MONDAY + timedelta(weeks=week)
        for check in client.get(f"plan/weeks/{monday}", params={"limit": 1000}).json()["checks"]:
            if check["round"] == 1 and not check["requires_outage"] and not check["scaffold"]:
                return check
    raise AssertionError("the plan has no such check")


def a_move(client: TestClient, **changes: Any) -> dict[str, Any]:
    check = a_check(client)
    week = date.fromisoformat(check["week_starting_on"]) - timedelta(weeks=1)
    return {
        "plan_run_id": client.get("plan").json()["plan"]["plan_run_id"],
        "week_starting_on": check["week_starting_on"],
        "crew_id": check["crew_id"],
        "joint_ids": [check["joint_id"]],
        "to_week": week.isoformat(),
        "to_crew_id": check["crew_id"],
        **changes,
    }


def test_a_plan_says_what_it_holds_and_what_limits_it(client: TestClient) -> None:
    told = client.get("plan").json()
    assert told["plan"]["made_by"] == "P. Planner"
    assert told["plan"]["cost_minutes"] >= told["plan"]["bound_minutes"] * (1 - 1e-9)
    assert told["limits"][0].startswith("It costs ")
    assert len(told["weeks"]) == WEEKS
    assert sum(row["checks"] for row in told["crew_weeks"]) == told["checks"]
    assert {row["crew"] for row in told["crew_weeks"]} == {"All", "Flanges", "Tubes"}
    assert sum(row["checks"] for row in told["unplaced_by_reason"]) == told["unplaced"]


def test_weeks_bundles_and_what_is_in_no_week_come_in_pages(client: TestClient) -> None:
    told = client.get("plan").json()
    week = max(told["weeks"], key=lambda week: week["checks"])
    path = f"plan/weeks/{week['week_starting_on']}"
    first = client.get(path, params={"limit": 1}).json()
    rest = client.get(path, params={"cursor": first["next"], "limit": 1000}).json()
    assert len(first["checks"]) + len(rest["checks"]) == week["checks"]
    assert rest["next"] is None
    bundles = client.get("plan/bundles", params={"week": week["week_starting_on"]}).json()["bundles"]
    assert sum(bundle["checks"] for bundle in bundles) == week["checks"]
    one = bundles[0]
    inside = {name: one[name] for name in ("crew_id", "area_id", "scaffold")}
    assert len(client.get(path, params=inside).json()["checks"]) == one["checks"]
    left_out = client.get("plan/unplaced", params={"limit": 1000}).json()["checks"]
    assert len(left_out) == told["unplaced"]
    some = client.get("plan/unplaced", params={"reason": "needs_outage"}).json()["checks"]
    assert all(check["reason_code"] == "needs_outage" for check in some)
    refused(client.get("plan/unplaced", params={"reason": "boredom"}), 422, "reason-unknown")
    refused(client.get("plan/weeks/2020-01-06"), 404, "week-unknown")
    refused(client.get(path, params={"cursor": "WzFd"}), 422, "cursor-unknown")
    refused(client.get("plan/moves", params={"cursor": "WyJ4Il0"}), 422, "cursor-unknown")


def test_the_plan_is_taken_along_as_csv_and_as_a_workbook(client: TestClient) -> None:
    told = client.get("plan").json()
    rows = list(csv.DictReader(io.StringIO(client.get("plan.csv").content.decode("utf-8-sig"))))
    assert len(rows) == told["checks"]
    assert tuple(rows[0]) == CHECK_COLUMNS
    answer = client.get("plan.xlsx")
    assert answer.headers["content-disposition"] == 'attachment; filename="plan.xlsx"'
    book = openpyxl.load_workbook(io.BytesIO(answer.content), read_only=True)
    assert sum(1 for _ in book["Checks"].iter_rows()) == told["checks"] + 1
    assert [row[0].value for row in book["Limits"].iter_rows(min_row=2)] == told["limits"]


def test_a_move_is_shown_made_listed_and_let_go(client: TestClient) -> None:
    wanted = a_move(client)
    shown = client.post("plan/move/preview", json=wanted).json()
    assert (shown["checks"], shown["allowed"], shown["refused"]) == (1, True, [])
    assert shown["risk_added"] < 0
    problem = refused(client.post("plan/move", json=wanted), 422, "move-unfit")
    assert {issue["column"] for issue in problem["issues"]} == {"reason", "moved_by"}
    signed = {**wanted, "reason": "the crane is there", "moved_by": "P. Planner", "over_time": True}
    before = client.get("plan").json()["plan"]["cost_minutes"]
    assert client.post("plan/move", json=signed).json() == shown
    after = client.get("plan").json()["plan"]["cost_minutes"]
    assert after - before == pytest.approx(shown["cost_added_minutes"])
    moves = client.get("plan/moves", params={"reason": "by_hand"}).json()["moves"]
    assert [(move["note"], move["moved_by"]) for move in moves] == [("the crane is there", "P. Planner")]
    refused(client.post("plan/move", json=signed), 404, "bundle-unknown")
    joint = wanted["joint_ids"]
    assert client.post("plan/let-go", json={"joint_ids": joint}).json() == {"let_go": 1}
    assert client.post("plan/let-go", json={"joint_ids": joint}).json() == {"let_go": 0}


def test_moves_that_cannot_be_are_refused(client: TestClient) -> None:
    signed = {"reason": "why", "moved_by": "who"}
    late = a_move(client, to_week=(MONDAY + timedelta(weeks=WEEKS)).isoformat(), **signed)
    refused(client.post("plan/move", json=late), 404, "week-unknown")
    old = a_move(client, **signed)
    refused(client.post("plan/move", json={**old, "plan_run_id": 2**31 - 1}), 409, "plan-overtaken")
    refused(client.post("plan/move", json={**old, "to_crew_id": 999}), 404, "crew-unknown")
    assert client.post("plan/move", json={**old, "plan_run_id": 0}).status_code == 422
    assert client.post("plan/move", json={**old, "crew": "All"}).status_code == 422


def test_a_deferral_is_shown_recorded_and_listed(client: TestClient) -> None:
    check = a_check(client)
    until_on = (date.fromisoformat(check["latest_on"]) + timedelta(days=30)).isoformat()
    wanted = {"tag": check["tag"], "until_on": until_on}
    shown = client.post("deferrals/preview", json=wanted).json()
    assert shown["risk_added"] > 0
    refused(client.post("deferrals", json=wanted), 422, "deferral-unfit")
    made = client.post("deferrals", json={**wanted, "reason": "no scaffold", "decided_by": "I. Engineer"})
    assert made.status_code == 201
    assert made.json()["risk_added"] == shown["risk_added"]
    listed = client.get("deferrals", params={"tag": check["tag"]}).json()["deferrals"]
    assert [row["deferral_id"] for row in listed] == [made.json()["deferral_id"]]
    problem = refused(
        client.post("deferrals/preview", json={"tag": check["tag"], "until_on": "2026-11-01"}), 422, "deferral-unfit"
    )
    assert problem["issues"][0]["column"] == "until_on"
    refused(client.post("deferrals/preview", json={**wanted, "tag": "nowhere"}), 404, "joint-unknown")


def test_a_plan_is_made_in_the_background(client: TestClient) -> None:
    begun = client.post("plan/jobs", json={"weeks": WEEKS})
    assert begun.status_code == 202
    place = begun.headers["location"]
    job = begun.json()
    for _ in range(5000):
        if (job := client.get(f"http://localhost{place}").json())["over"]:
            break
    assert (job["state"], job["failure"]) == ("done", None)
    assert client.get("plan").json()["plan"]["plan_run_id"] == job["plan_run_id"]
    refused(client.post(f"http://localhost{place}/stop"), 409, "job-over")
    refused(client.get("plan/jobs/2000000000"), 404, "job-unknown")
    problem = refused(client.post("plan/jobs", json={"weeks": 0}), 422, "plan-unfit")
    assert problem["issues"][0]["column"] == "weeks"
    problem = refused(client.post("plan", json={"starts_on": "2026-11-25", "frozen_weeks": 99}), 422, "plan-unfit")
    assert [issue["column"] for issue in problem["issues"]][:2] == ["starts_on", "frozen_weeks"]
    assert client.post("plan", json={"crew_hours_per_week": 4}).status_code == 422
