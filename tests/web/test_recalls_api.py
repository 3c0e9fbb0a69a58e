"""Recalls and work packs over HTTP."""

from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from dashboards.app import create_app
from registry.db import Database
from tests.conftest import new_site
from tests.database.made_up import add_tool, make_up
from tests.database.small_site import fill_site


class Api:
    """A client whose paths begin at a site with a wrench that made five joints."""

    def __init__(self, client: TestClient, database: Database) -> None:
        self.client, self.database, self.site_id = client, database, new_site(database, "works")
        with database.transaction(self.site_id) as connection:
            self.tags = fill_site(connection, 8)
            wrench = add_tool(connection, "TW-014", ("2025-03-01", "2026-02-28", "in tolerance"))
            for tag in self.tags[:5]:
                make_up(connection, tag, datetime.now(UTC).date(), tools=[wrench])

    def get(self, path: str, status: int = 200) -> dict[str, object]:
        answer = self.client.get(f"/api/v1/sites/works/{path}")
        assert answer.status_code == status, answer.text
        return answer.json()

    def post(self, path: str, body: dict[str, object], status: int) -> dict[str, object]:
        answer = self.client.post(f"/api/v1/sites/works/{path}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json()


@pytest.fixture
def api(database: Database) -> Iterator[Api]:
    with TestClient(create_app(database), base_url="http://localhost") as client:
        yield Api(client, database)


def test_a_recall_is_looked_at_raised_and_paged_through(api: Api) -> None:
    looked = api.get("recalls/suspects?kind=tool&subject=TW-014&limit=2")
    assert (looked["joints"], len(looked["listed"])) == (5, 2)
    assert api.get("recalls") == {"recalls": []}
    body: dict[str, object] = {"kind": "tool", "subject": "TW-014", "reason": "dropped", "raised_by": "E. Engineer"}
    raised = api.post("recalls", body, 201)
    assert raised["joints"] == 5
    recall = api.get(f"recalls/{raised['recall_id']}")
    assert (recall["open"], sum(area["joints"] for area in recall["areas"])) == (5, 5)
    tags, cursor = [], ""
    while cursor is not None:
        further = f"&cursor={cursor}" if cursor else ""
        page = api.get(f"recalls/{raised['recall_id']}/joints?limit=2{further}")
        tags += [row["joint"]["tag"] for row in page["joints"]]
        cursor = page["next"]
    assert sorted(tags) == api.tags[:5]


def test_what_cannot_be_recalled_is_a_problem(api: Api) -> None:
    assert api.get("recalls/9", 404)["type"].endswith("recall-unknown")
    assert api.get("recalls/1/joints", 404)["type"].endswith("recall-unknown")
    assert api.get("recalls/suspects?kind=tool&subject=TW-9", 404)["type"].endswith("recall-subject-unknown")
    body: dict[str, object] = {"kind": "lot", "subject": "G-1", "reason": "bad", "raised_by": "E. Engineer"}
    assert api.post("recalls", body, 422)["type"].endswith("nothing-to-recall")
    assert api.post("recalls", {**body, "days_by_class": [1]}, 422)["type"].endswith("recall-unfit")


def test_a_work_pack_is_not_handed_back_while_anything_stands_open(api: Api) -> None:
    tag = api.tags[0]
    opened: dict[str, object] = {"code": "WP-1", "title": "Second stage", "opened_by": "O. Opener", "tags": [tag]}
    assert api.post("work-packs", opened, 201)["open"] == 1
    assert api.post("work-packs", opened, 409)["type"].endswith("work-pack-exists")
    assert [pack["code"] for pack in api.get("work-packs")["work_packs"]] == ["WP-1"]

    def step(kind: str, **more: object) -> dict[str, object]:
        return {
            "tag": tag,
            "step": kind,
            "observed_at": datetime.now(UTC).isoformat(),
            "done_by": "B. Breaker",
            "client_uuid": str(uuid4()),
            **more,
        }

    assert api.post("work-packs/WP-1/steps", step("leak_tested"), 409)["type"].endswith("step-out-of-order")
    assert api.post("work-packs/WP-1/steps", step("broken"), 201)["state"] == "to be made again"
    refused = api.post("work-packs/WP-1/hand-back", {"by": "H. Handback"}, 422)
    assert [(issue["value"], issue["reason"]) for issue in refused["issues"]] == [
        (tag, "is broken and not made up again")
    ]
    assert api.get("work-packs/WP-1/certificate.pdf", 422)["type"].endswith("stands-open")
    with api.database.transaction(api.site_id) as connection:
        make_up(connection, tag, datetime.now(UTC).date())
    assert api.post("work-packs/WP-1/steps", step("leak_tested", passed=True), 201)["state"] == "complete"
    assert api.post("work-packs/WP-1/hand-back", {"by": "H. Handback"}, 200)["open"] == 0
    paper = api.client.get("/api/v1/sites/works/work-packs/WP-1/certificate.pdf")
    assert (paper.status_code, paper.content[:5]) == (200, b"%PDF-")
    assert api.get("work-packs/WP-9", 404)["type"].endswith("work-pack-unknown")
