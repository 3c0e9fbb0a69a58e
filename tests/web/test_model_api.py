"""Scores, due list, why, policy, leaks and field results over HTTP."""

import csv
import io
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from registry.api import ROUTERS
from registry.db import Database
from registry.policy.service import publish_first
from registry.web.problems import install_problem_handlers
from tests.conftest import new_site
from tests.database.small_site import fill_site

NOW = datetime.now(UTC)


@pytest.fixture
def site(database: Database) -> str:
    code = f"site-{uuid4().hex[:8]}"
    with database.transaction(new_site(database, code)) as connection:
        publish_first(connection)
        fill_site(connection, 80)
    return code


@pytest.fixture
def client(database: Database, site: str) -> Iterator[TestClient]:
    app = FastAPI()
    app.state.database = database
    for router in ROUTERS:
        app.include_router(router)
    install_problem_handlers(app)
    with TestClient(app, base_url=f"http://testserver/api/v1/sites/{site}/", raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def scored(client: TestClient) -> TestClient:
    assert client.post("score").status_code == 201
    return client


def refused(answer: Any, status: int, slug: str) -> Any:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"urn:jointwright:problem:{slug}"
    return problem


def test_a_site_is_scored_and_the_run_is_told(client: TestClient) -> None:
    refused(client.get("score"), 404, "not-scored")
    refused(client.get("due"), 404, "not-scored")
    made = client.post("score", json={"as_of": "2026-11-25"}).json()
    assert (made["joints"], made["policy_version"], made["as_of"]) == (80, 1, "2026-11-25")
    assert client.get("score").json() == made
    refused(client.post("score", json={"as_off": "2026-11-25"}), 422, "request-invalid")


def test_the_due_list_pages_filters_and_comes_as_csv(scored: TestClient) -> None:
    whole = scored.get("due", params={"limit": 1000}).json()
    assert (len(whole["joints"]), whole["next"]) == (80, None)
    pages: list[Any] = []
    cursor = None
    while True:
        page = scored.get("due", params={"limit": 33, **({"cursor": cursor} if cursor else {})}).json()
        pages += page["joints"]
        cursor = page["next"]
        if cursor is None:
            break
    assert pages == whole["joints"]
    rows = list(csv.DictReader(io.StringIO(scored.get("due.csv").content.decode("utf-8-sig"))))
    assert [row["tag"] for row in rows] == [joint["tag"] for joint in pages]
    jetty = scored.get("due", params={"area": "Jetty", "overdue": True, "until": "2026-06-01"}).json()["joints"]
    assert [joint["tag"] for joint in jetty] == [
        joint["tag"] for joint in pages if joint["area"] == "Jetty" and joint["due_on"] <= "2026-06-01"
    ]
    service = pages[0]["service"]
    assert {joint["service"] for joint in scored.get("due", params={"service": service}).json()["joints"]} == {service}
    refused(scored.get("due", params={"cursor": "bm9uc2Vuc2U"}), 422, "cursor-unknown")
    refused(scored.get("due", params={"limit": 0}), 422, "request-invalid")


def test_the_account_of_a_joint_is_asked_by_its_tag(scored: TestClient) -> None:
    tag = scored.get("due").json()["joints"][0]["tag"]
    said = scored.get(f"joints/{tag}/why").json()
    assert (said["tag"], said["risk_rank"] > 0, len(said["factors"])) == (tag, True, 5)
    refused(scored.get("joints/NO/SUCH/why"), 404, "joint-unknown")


def check(**values: Any) -> dict[str, Any]:
    return {"observed_at": NOW.isoformat(), "result": "tight", "client_uuid": str(uuid4()), **values}


def test_a_result_is_recorded_once_and_moves_the_due_date(scored: TestClient) -> None:
    joint = scored.get("due").json()["joints"][0]
    body = check(tag=joint["tag"])
    first = scored.post("checks", json=body)
    assert first.status_code == 201
    assert first.json()["old_due_on"] == joint["due_on"]
    assert first.json()["new_due_on"] > joint["due_on"]
    again = scored.post("checks", json=body)
    assert again.status_code == 200
    assert again.json()["check_result_id"] == first.json()["check_result_id"]
    refused(scored.post("checks", json={**body, "result": "weeping"}), 409, "check-reported-otherwise")
    refused(scored.post("checks", json=check(tag="NO-SUCH")), 404, "joint-unknown")
    refused(scored.post("checks", json=check()), 422, "joint-unnamed")
    future = check(tag=joint["tag"], observed_at=(NOW + timedelta(days=2)).isoformat())
    refused(scored.post("checks", json=future), 422, "in-the-future")
    problem = refused(scored.post("checks", json=check(tag=joint["tag"], result="fine")), 422, "request-invalid")
    assert problem["issues"][0]["column"] == "body.result"
    naive = check(tag=joint["tag"], observed_at="2026-11-01T10:00:00")
    refused(scored.post("checks", json=naive), 422, "request-invalid")


def test_a_result_at_a_stop_is_of_its_joint(scored: TestClient, database: Database, site: str) -> None:
    tag = scored.get("due").json()["joints"][0]["tag"]
    with database.owner() as owner:
        (route_id,) = owner.execute(
            "INSERT INTO route (site_id, walk_on, crew, start_gate, shift_minutes, walking_minutes, working_minutes,"
            " considered, unreachable) SELECT site_id, '2026-11-25', 'Crew 1', 'Gate', 480, 10, 30, 5, 0 FROM site"
            " WHERE code = %s RETURNING route_id",
            [site],
        ).fetchone()
        owner.execute(
            "INSERT INTO route_stop (site_id, route_id, position, joint_id, walking_minutes, working_minutes, leg)"
            " SELECT site_id, %s, 1, joint_id, 1, 5, '{0,0,0}' FROM joint WHERE tag = %s",
            [route_id, tag],
        )
    answer = scored.post(f"routes/{route_id}/results", json=check(position=1, result="leaking", severity="spray"))
    assert answer.status_code == 201
    assert answer.json()["tag"] == tag
    assert scored.get(f"leaks/{answer.json()['leak_id']}").json()["severity"] == "spray"
    refused(scored.post(f"routes/{route_id}/results", json=check(position=7)), 404, "stop-unknown")
    refused(scored.post("routes/999999/results", json=check(position=1)), 404, "check-route-unknown")


def test_a_leak_is_reported_attempted_repaired_and_counted(scored: TestClient) -> None:
    tag = scored.get("due").json()["joints"][3]["tag"]
    body = {
        "tag": tag,
        "observed_at": (NOW - timedelta(days=2)).isoformat(),
        "severity": "drip",
        "client_uuid": str(uuid4()),
    }
    leak = scored.post("leaks", json=body).json()
    assert scored.post("leaks", json=body).json()["leak_id"] == leak["leak_id"]
    refused(scored.post("leaks", json={**body, "severity": "spray"}), 409, "leak-reported-otherwise")
    assert leak["leak_id"] in {row["leak_id"] for row in scored.get("leaks?open=true&limit=1000").json()["leaks"]}
    before = scored.get("leaks/rates").json()

    def step(name: str) -> Any:
        return scored.post(
            f"leaks/{leak['leak_id']}/steps",
            json={"step": name, "observed_at": NOW.isoformat(), "client_uuid": str(uuid4()), "done_by": "R. Repairer"},
        )

    assert step("first_attempt").status_code == 201
    assert step("repaired").json()["leak"]["repaired_at"] is not None
    refused(step("repaired"), 409, "leak-closed")
    refused(scored.post("leaks/999999/steps", json={"step": "repaired", "observed_at": NOW.isoformat(),
                        "client_uuid": str(uuid4())}), 404, "leak-unknown")  # fmt: skip
    after = scored.get("leaks/rates").json()
    assert after["whole_site"]["open_now"] == before["whole_site"]["open_now"] - 1
    assert after["whole_site"]["leaks"] == before["whole_site"]["leaks"] == sum(a["leaks"] for a in after["areas"])
    rows = list(csv.DictReader(io.StringIO(scored.get("leaks/rates.csv").content.decode("utf-8-sig"))))
    assert len(rows) == len(after["areas"])
    pages = scored.get("leaks", params={"limit": 2}).json()
    rest = scored.get("leaks", params={"limit": 1000, "cursor": pages["next"]}).json()["leaks"]
    assert [*pages["leaks"], *rest] == scored.get("leaks", params={"limit": 1000}).json()["leaks"]


def test_a_policy_is_drafted_previewed_and_published(scored: TestClient) -> None:
    policy = scored.get("policy").json()
    document = policy["document"]
    assert policy["policy_version"] == 1
    refused(scored.get("policy/draft"), 404, "draft-unknown")
    document["make_up"]["no_record"] = 3.5
    refused(scored.put("policy/draft", json=document), 428, "precondition-required")
    saved = scored.put("policy/draft", json=document, headers={"If-None-Match": "*"})
    assert (saved.status_code, saved.headers["etag"]) == (200, '"1"')
    assert [(d["path"], d["new"]) for d in saved.json()["differences"]] == [("make_up.no_record", 3.5)]
    refused(scored.put("policy/draft", json=document, headers={"If-None-Match": "*"}), 412, "precondition-failed")
    document["make_up"]["norecord"] = 1
    problem = refused(scored.put("policy/draft", json=document, headers={"If-Match": '"1"'}), 422, "policy-invalid")
    assert [issue["column"] for issue in problem["issues"]] == ["make_up.norecord"]
    preview = scored.get("policy/draft/preview").json()
    assert (preview["joints"], len(preview["months"]), preview["longer"]) == (80, 24, 0)
    body = {"published_by": "E. Engineer", "note": "no record is worse here"}
    refused(scored.post("policy/draft/publish", json=body, headers={"If-Match": '"7"'}), 412, "precondition-failed")
    refused(
        scored.post("policy/draft/publish", json={**body, "note": " "}, headers={"If-Match": '"1"'}),
        422,
        "publisher-unnamed",
    )
    published = scored.post("policy/draft/publish", json=body, headers={"If-Match": '"1"'})
    assert published.status_code == 201
    assert published.json()["score"]["policy_version"] == published.json()["policy_version"] == 2
    assert [v["published_by"] for v in scored.get("policy/versions").json()["versions"]] == [
        "E. Engineer",
        "Jointwright",
    ]
    assert scored.get("policy/versions/1").json()["document"]["make_up"]["no_record"] != 3.5
    refused(scored.get("policy/versions/3"), 404, "policy-unknown")


def test_a_policy_goes_out_and_in_as_toml(client: TestClient) -> None:
    text = client.get("policy.toml").text
    assert tomllib.loads(text)["title"]
    headers = {"If-None-Match": "*", "Content-Type": "application/toml"}
    assert client.put("policy/draft.toml", content=text.encode(), headers=headers).json()["differences"] == []
    assert client.get("policy/draft.toml").text == text
    headers = {"If-Match": '"1"', "Content-Type": "application/toml"}
    refused(client.put("policy/draft.toml", content=b"title = ", headers=headers), 422, "policy-invalid")
    assert client.delete("policy/draft", headers={"If-Match": '"1"'}).status_code == 204
    refused(client.get("policy/draft.toml"), 404, "draft-unknown")


def test_an_override_moves_one_joint(scored: TestClient) -> None:
    joint = scored.get("due").json()["joints"][0]
    body = {
        "tag": joint["tag"],
        "interval_days": 3,
        "until_on": NOW.date().isoformat(),
        "decided_by": "E. Engineer",
        "reason": "trial",
    }
    assert scored.post("overrides", json=body).status_code == 201
    assert scored.get(f"joints/{joint['tag']}/why").json()["limit"] == "override"
    assert [row["tag"] for row in scored.get("overrides").json()["overrides"]] == [joint["tag"]]
    problem = refused(scored.post("overrides", json={**body, "reason": ""}), 422, "override-unfit")
    assert problem["issues"][0]["column"] == "reason"


def test_a_history_goes_up_as_a_file(scored: TestClient) -> None:
    text = f"tag,observed_at,result\nJ-00001,{NOW - timedelta(days=1):%Y-%m-%d %H:%M},tight\n"
    report = scored.post("histories/checks", files={"file": ("checks.csv", text)}).json()
    assert (report["added"], report["loaded"]) == (1, True)
    again = scored.post("histories/checks", files={"file": ("checks.csv", text)}).json()
    assert (again["added"], again["unchanged"]) == (0, 1)
    bad = {"file": ("checks.csv", text.replace("J-00001", "NO-SUCH"))}
    problem = refused(scored.post("histories/checks", files=bad), 422, "history-refused")
    assert (problem["issues"][0]["row"], problem["issues"][0]["value"]) == (2, "NO-SUCH")
    refused(scored.post("histories/checks", files={"file": ("x.csv", "a,b\n1,2\n")}), 422, "columns-missing")
