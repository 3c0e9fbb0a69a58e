"""The register over HTTP."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from registry.db import Database
from registry.joints.api import router
from registry.policy.service import publish_first
from registry.web.problems import install_problem_handlers
from tests.conftest import new_site

FIXTURES = Path(__file__).parents[1] / "fixtures"
HEAD = "tag,family,service,east_m,north_m,pressure_barg"
LIST = f"{HEAD}\nA/1,flanged,hydrogen,1,2,3\nB,union,steam,4,5,6\n"


@pytest.fixture
def client(database: Database) -> Iterator[TestClient]:
    """A client whose paths begin at a new site with the shipped policy."""
    code = f"site-{uuid4().hex[:8]}"
    with database.transaction(new_site(database, code)) as connection:
        publish_first(connection)
    app = FastAPI()
    app.state.database = database
    app.include_router(router)
    install_problem_handlers(app)
    with TestClient(app, base_url=f"http://testserver/api/v1/sites/{code}/", raise_server_exceptions=False) as client:
        yield client


def test_a_list_is_previewed_imported_and_read_back(client: TestClient) -> None:
    files = {"file": ("list.csv", LIST)}
    preview = client.post("joints/preview", files=files)
    assert preview.status_code == 200
    assert (preview.json()["added"], preview.json()["loaded"]) == (2, False)
    assert client.get("joints").json() == {"joints": [], "next": None}

    loaded = client.post("joints/import", files=files)
    assert (loaded.json()["added"], loaded.json()["loaded"]) == (2, True)
    joint = client.get("joints/A/1").json()
    assert (joint["family"], joint["pressure_barg"], joint["made_up_on"]) == ("flanged", 3.0, None)

    again = client.post("joints/import", files=files)
    assert (again.json()["added"], again.json()["unchanged"]) == (0, 2)
    client.post("joints/import", files={"file": ("list.csv", LIST.replace("4,5,6", "4,5,7"))})
    (change,) = client.get("joints/B/changes").json()["changes"]
    assert change["changes"] == {"pressure_barg": [6, 7]}


def test_the_samples_workbook_goes_up_with_its_mapping(client: TestClient) -> None:
    files = {"file": ("joint_schedule.xlsx", (FIXTURES / "joint_schedule.xlsx").read_bytes())}
    form = {"mapping": (FIXTURES / "joint_schedule.toml").read_text(), "keep_valid": "true"}
    report = client.post("joints/import", files=files, data=form).json()
    assert (report["rows_read"], report["added"], report["refused"]) == (2880, 2808, 72)


def test_a_refused_list_is_a_problem_with_every_fault_and_loads_nothing(client: TestClient) -> None:
    text = f"{LIST}C,flanged,hydrogen,x,2,3\n"
    answer = client.post("joints/import", files={"file": ("list.csv", text)})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"].endswith("list-refused")
    (issue,) = problem["issues"]
    assert (issue["row"], issue["column"], issue["value"]) == (4, "east_m", "x")
    assert client.get("joints").json()["joints"] == []
    kept = client.post("joints/import", files={"file": ("list.csv", text)}, data={"keep_valid": "true"})
    assert (kept.json()["added"], kept.json()["refused"]) == (2, 1)


@pytest.mark.parametrize(
    ("data", "mapping", "slug"),
    [
        (b"", None, "file-unreadable"),
        (b"PK\x03\x04nonsense", None, "file-unreadable"),
        (b"tag,family\nA,union\n", None, "columns-missing"),
        (LIST.encode(), "[", "mapping-unusable"),
    ],
)
def test_a_file_that_cannot_be_used_is_a_problem(
    client: TestClient, data: bytes, mapping: str | None, slug: str
) -> None:
    form = {} if mapping is None else {"mapping": mapping}
    answer = client.post("joints/import", files={"file": ("list.csv", data)}, data=form)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith(slug)


def test_joints_are_paged_by_a_cursor_and_filtered(client: TestClient) -> None:
    lines = "".join(f"T-{at:03d},{'flanged' if at % 2 else 'union'},hydrogen,1,2,3\n" for at in range(25))
    client.post("joints/import", files={"file": ("list.csv", f"{HEAD}\n{lines}")})
    tags: list[str] = []
    cursor = None
    while True:
        page = client.get(
            "joints", params={"limit": 10, "family": "union", **({"cursor": cursor} if cursor else {})}
        ).json()
        tags += [joint["tag"] for joint in page["joints"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert tags == [f"T-{at:03d}" for at in range(0, 25, 2)]
    assert client.get("joints", params={"cursor": "nonsense!"}).status_code == 422


def test_an_unknown_joint_is_not_found(client: TestClient) -> None:
    answer = client.get("joints/nowhere")
    assert (answer.status_code, answer.json()["type"]) == (404, "urn:jointwright:problem:joint-unknown")
