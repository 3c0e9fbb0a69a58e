"""No other page can act through a reader's browser, and our own pages load nothing from elsewhere."""

import gzip
import re

import pytest
from fastapi.testclient import TestClient

from dashboards.app import create_app
from dashboards.assets import STATIC, plotting_library, static_address
from dashboards.rendering import embedded_json
from dashboards.security import HEADERS
from tests.web.demo_site import DemoSite
from tests.web.html import elements_of

ADDRESSES = (
    "/sites/saltmarsh-point/plan",
    "/sites/saltmarsh-point/due",
    "/sites/saltmarsh-point/weeks",
    "/sites/saltmarsh-point/weeks/unplaced",
    "/sites/saltmarsh-point/weeks/moves",
    "/sites/saltmarsh-point/weeks/deferrals",
    "/sites/saltmarsh-point/crews",
    "/sites/saltmarsh-point/crews/1",
    "/sites/saltmarsh-point/outages/1",
    "/sites/saltmarsh-point/routes",
    "/sites/saltmarsh-point/routes/1",
    "/sites/saltmarsh-point/leaks",
    "/sites/saltmarsh-point/intervals",
    "/sites/saltmarsh-point/joints?tag=0",
    "/sites/saltmarsh-point/nothing",
    "/sites/saltmarsh-point/due?due=never",
)
ELSEWHERE = re.compile(r"^(?:[a-z][a-z0-9+.-]*:)?//", re.IGNORECASE)


@pytest.mark.parametrize(
    "address", [*ADDRESSES, "/", "/api/v1/sites/saltmarsh-point/map", "/favicon.ico", static_address("sheet.css")]
)
def test_every_answer_carries_the_headers(pages: TestClient, address: str) -> None:
    answer = pages.get(address)
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


def test_the_policy_allows_nothing_inline_nothing_compiled_and_nobody_else() -> None:
    policy = HEADERS["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'; ")
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "*" not in policy


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_page_has_nothing_inline_and_names_no_other_host(pages: TestClient, address: str) -> None:
    page = pages.get(address).text
    for element in elements_of(page):
        assert element.name != "style"
        assert "style" not in element.attributes
        assert not [name for name in element.attributes if name.startswith("on")]
        if element.name == "script" and "src" not in element.attributes:
            assert element.attributes.get("type") == "application/json"
        for name in ("src", "href", "action", "formaction", "data"):
            assert not ELSEWHERE.match(element.attributes.get(name) or "")


def test_embedded_data_cannot_end_its_element() -> None:
    text = str(embedded_json({"tag": "</script><script>alert(1)</script>&<!--"}))
    assert "<" not in text
    assert ">" not in text
    assert "&" not in text


def test_text_of_the_plant_is_shown_as_text(pages: TestClient, demo: DemoSite) -> None:
    page = pages.get(f"{demo.root}/joints", params={"tag": "<img src=x onerror=alert(1)>"}).text
    assert not [element for element in elements_of(page, "img")]


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://elsewhere.example"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "null"},
    ],
)
@pytest.mark.parametrize("address", ["/sites/saltmarsh-point/weeks/jobs", "/api/v1/sites/saltmarsh-point/score"])
def test_another_page_s_post_is_refused(pages: TestClient, address: str, headers: dict[str, str]) -> None:
    sent = {"starts_on": "2026-03-02", "weeks": "4", "frozen_weeks": "0", "planned_weeks": "2"}
    answer = pages.post(address, data=sent, headers=headers)
    assert answer.status_code == 403
    assert answer.json()["type"].endswith("cross-site")


@pytest.mark.parametrize(
    "headers",
    [{"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}, {"Origin": "http://localhost"}, {}],
)
def test_our_own_page_s_post_is_let_through(pages: TestClient, headers: dict[str, str]) -> None:
    answer = pages.post("/sites/saltmarsh-point/weeks/jobs", data={"weeks": "0"}, headers=headers)
    assert answer.status_code == 422, "it is looked at, and refused for what it says"


@pytest.mark.parametrize("host", ["rebound.example", "127.0.0.1.example", "", "[::1", "localhost.", "10.0.0.5:8712"])
def test_a_name_that_is_not_ours_gets_no_answer(pages: TestClient, host: str) -> None:
    answer = pages.get("/sites/saltmarsh-point/plan", headers={"Host": host})
    assert answer.status_code == 421
    assert answer.json()["type"].endswith("host-unknown")


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8712", "127.0.0.1:8712", "[::1]:8712", "plant.example:443"])
def test_our_own_names_are_answered(demo: DemoSite, host: str) -> None:
    app = create_app(demo.database, hosts=["plant.example"])
    with TestClient(app, base_url="http://localhost") as client:
        assert client.get("/favicon.ico", headers={"Host": host}).status_code == 200


def test_static_files_are_kept_for_ever_under_a_name_that_changes_with_them(pages: TestClient) -> None:
    answer = pages.get(static_address("plan.js"))
    assert answer.status_code == 200
    assert "immutable" in answer.headers["cache-control"]
    assert pages.get("/static/0123456789abcdef/plan.js").status_code == 404
    assert pages.get(static_address("plan.js").replace("plan.js", "..%2fapp.py")).status_code == 404


def test_the_plotting_library_comes_from_its_package_and_compressed(pages: TestClient) -> None:
    library = plotting_library()
    answer = pages.get(library.address)
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.content == library.content == gzip.decompress(library.compressed)
    plain = pages.get(library.address, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == library.content
    assert not [path.name for path in STATIC.iterdir() if b"plotly.js v" in path.read_bytes()]


def test_the_library_s_inline_styles_are_all_known(pages: TestClient, demo: DemoSite) -> None:
    library = plotting_library()
    made = library.content.count(b'document.createElement("style")')
    # One is its own style sheet, which 'no-inline-styles' stops; the others are stopped by an element with their id.
    assert made == 1 + len(library.style_ids)
    assert b".no-inline-styles" in library.content
    page = pages.get(f"{demo.root}/plan").text
    ids = {element.attributes.get("id") for element in elements_of(page, "meta", "link")}
    assert ids >= {"plotly.js-style-global", *library.style_ids}


def test_pages_for_people_are_not_part_of_the_api_s_document(pages: TestClient) -> None:
    document = pages.get("/api/v1/openapi.json").json()
    assert document["openapi"].startswith("3.1")
    assert document["paths"]
    assert all(path.startswith("/api/v1/") for path in document["paths"])
    assert pages.get("/docs").status_code == 404
