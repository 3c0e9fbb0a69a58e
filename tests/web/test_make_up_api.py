"""Procedures, people, tools and make-ups over HTTP."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from registry.api import ROUTERS
from registry.db import Database
from registry.web.problems import install_problem_handlers
from tests.conftest import new_site
from tests.database.make_up_papers import CALIBRATIONS, HALF_INCH, PEOPLE, TOOLS, prepared

TODAY = datetime.now(UTC).date().isoformat()


@pytest.fixture
def client(database: Database) -> Iterator[TestClient]:
    code = f"site-{uuid4().hex[:8]}"
    with database.transaction(new_site(database, code)) as connection:
        prepared(connection)
        # A tag with a stroke in it: the routes must find it all the same.
        connection.execute("UPDATE joint SET tag = '30/H2-0001' WHERE tag = 'H2-0001'")
    app = FastAPI()
    app.state.database = database
    for router in ROUTERS:
        app.include_router(router)
    install_problem_handlers(app)
    with TestClient(app, base_url=f"http://testserver/api/v1/sites/{code}/", raise_server_exceptions=False) as client:
        yield client


def body(**changed: Any) -> dict[str, Any]:
    return {
        "tag": "30/H2-0001",
        "fitter": "Ann Fitter",
        "witness": "W. Witness",
        "client_uuid": str(uuid4()),
        "method": "torque",
        "made_up_on": "2026-11-24",
        "answers": HALF_INCH,
        **changed,
    }


def refused(answer: Any, status: int, slug: str) -> Any:
    assert answer.status_code == status, answer.text
    assert answer.json()["type"] == f"urn:jointwright:problem:{slug}"
    return answer.json()


def test_a_make_up_is_sent_once_and_seen_at_its_joint(client: TestClient) -> None:
    wrong = body(answers={**HALF_INCH, "torque-wrench": "TW-015"})
    first = client.post("make-ups", json=wrong)
    assert first.status_code == 201
    assert first.json()["verdict"] == "not accepted"
    assert [reason["code"] for reason in first.json()["reasons"]] == ["tool-out-of-calibration"]
    again = client.post("make-ups", json=wrong)
    assert (again.status_code, again.json()["make_up_id"]) == (200, first.json()["make_up_id"])
    refused(client.post("make-ups", json={**wrong, "notes": "x"}), 409, "make-up-reported-otherwise")
    good = client.post("make-ups", json=body()).json()
    assert (good["verdict"], good["reasons"]) == ("accepted", [])
    assert [each["make_up_id"] for each in good["earlier"]] == [first.json()["make_up_id"]]
    listed = client.get("joints/30/H2-0001/make-ups").json()["make_ups"]
    assert [each["verdict"] for each in listed] == ["not accepted", "accepted"]
    assert listed[1]["tools"] == ["TW-014"]


@pytest.mark.parametrize(
    ("changed", "status", "slug"),
    [
        ({"tag": "NO-SUCH"}, 404, "joint-unknown"),
        ({"made_up_on": "2199-01-01"}, 422, "make-up-unfit"),
        ({"answers": {"no-such-step": True}}, 422, "make-up-unfit"),
        ({"method": None}, 422, "make-up-unfit"),
        ({"method": "hammer"}, 422, "request-invalid"),
        ({"client_uuid": None}, 422, "request-invalid"),
        ({"fiter": "x"}, 422, "request-invalid"),
        ({"procedure": "no-such"}, 404, "procedure-unknown"),
        ({"supersedes": 999999, "reason": "why"}, 404, "make-up-unknown"),
    ],
)
def test_what_cannot_be_taken_is_a_problem(client: TestClient, changed: dict[str, Any], status: int, slug: str) -> None:
    refused(client.post("make-ups", json=body(**changed)), status, slug)
    assert client.get("joints/30/H2-0001/make-ups").json()["make_ups"] == []


def test_a_reading_that_is_no_number_in_json_is_a_problem(client: TestClient) -> None:
    raw = str(body()).replace("'", '"').replace("150.0", "NaN")
    answer = client.post("make-ups", content=raw.encode(), headers={"content-type": "application/json"})
    assert answer.status_code == 422


def test_a_joint_offers_its_procedures_with_cautions(client: TestClient) -> None:
    offered = client.get("joints/30/H2-0001/procedures", params={"method": "torque"}).json()["procedures"]
    assert [(each["code"], each["version"]) for each in offered] == [("ferrule-mp-half-inch-torque", 1)]
    assert any("pressure" in caution for caution in offered[0]["cautions"])
    assert offered[0]["source"]
    assert {step["key"] for step in offered[0]["steps"]} >= {"depth-mark", "gap-gauge", "torqued"}
    one = client.get("procedures/ferrule-mp-half-inch-torque").json()
    assert one == offered[0]
    assert one in client.get("procedures").json()["procedures"]
    refused(client.get("procedures/no-such"), 404, "procedure-unknown")
    refused(client.get("procedures/union-turns", params={"version": 9}), 404, "procedure-version-unknown")
    refused(client.get("joints/NO-SUCH/procedures"), 404, "joint-unknown")


def test_people_tools_and_what_runs_out(client: TestClient) -> None:
    people = {each["name"]: each["qualifications"] for each in client.get("people").json()["people"]}
    assert [paper["certificate"] for paper in people["Ann Fitter"]] == ["Q-1", "Q-2"]
    assert people["W. Witness"] == []
    assert [tool["serial"] for tool in client.get("tools").json()["tools"]] == ["GG-001", "TW-014", "TW-015", "TW-016"]
    assert client.get("tools/tw-014").json()["calibrations"][0]["certificate"] == "C-14"
    refused(client.get("tools/TW-999"), 404, "tool-unknown")
    ending = {
        (each["kind"], each["subject"]) for each in client.get("expiring", params={"days": 3650}).json()["expiring"]
    }
    assert ending >= {("calibration", "TW-015"), ("qualification", "Ben Lapsed"), ("calibration", "TW-014")}


def test_registers_come_in_by_file_and_a_file_with_a_fault_does_not(client: TestClient) -> None:
    for kind, text in (("people", PEOPLE), ("tools", TOOLS), ("calibrations", CALIBRATIONS)):
        answer = client.post(f"registers/{kind}", files={"file": ("list.csv", text)})
        assert answer.status_code == 200
        assert answer.json()["added"] == 0
    problem = refused(
        client.post("registers/tools", files={"file": ("list.csv", "serial,kind\nX-1,hammer\n")}),
        422,
        "register-refused",
    )
    assert problem["issues"][0]["column"] == "kind"
    made = client.post("registers/tools", files={"file": ("list.csv", "serial,kind\nX-1,tensioner\n")}).json()
    assert made["added"] == 1
