"""Routes made for several crews at once, and mended by hand: every step is weighed before it is kept."""

import re
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi.testclient import TestClient

from tests.web.demo_site import TODAY, DemoSite
from tests.web.html import elements_of, words_of

TOMORROW = str(TODAY + timedelta(days=1))


def rows_of(demo: DemoSite, statement: str, *values: Any) -> list[tuple[Any, ...]]:
    """What the database holds."""
    with demo.database.transaction(demo.site_id) as connection:
        return connection.execute(statement.encode(), values).fetchall()


def order_of(page: str) -> list[int]:
    """The joints of a draft in walking order."""
    return [int(e.attributes["data-joint"] or "") for e in elements_of(page, "li") if "data-joint" in e.attributes]


def draft_of(page: str) -> dict[str, str]:
    """The draft as its forms carry it, with the revision that it was made from."""
    fields = {e.attributes.get("name"): e.attributes.get("value") for e in elements_of(page, "input")}
    return {name: fields[name] or "" for name in ("revision", "order", "pins")}


def after(pages: TestClient, where: str, page: str, do: str, **more: str) -> str:
    """The draft's page after one step."""
    draft = draft_of(page)
    asked = {"order": draft["order"], "pins": draft["pins"], "do": do, **more}
    return pages.get(where, params=asked).text


@pytest.fixture
def mend(written_pages: TestClient, written_demo: DemoSite) -> str:
    """The mending page of a route of its own."""
    gates = written_pages.get(f"/api/v1{written_demo.root}/route-starts").json()["starts"]
    sent = {"walk_on": TOMORROW, "crew_name": "Mending crew", "hours_0": "3", "gate_0": gates[0], "area": ""}
    made = written_pages.post(f"{written_demo.root}/routes", data=sent)
    assert made.status_code == 303
    where = made.headers["location"]
    assert re.fullmatch(r".*/routes/\d+", where)
    return f"{where}/mend"


# ---------------------------------------------------------------- making


def test_several_crews_are_sent_at_once_and_meet_at_no_joint(written_pages: TestClient, written_demo: DemoSite) -> None:
    root = written_demo.root
    page = written_pages.get(f"{root}/routes").text
    crews = [e.attributes["value"] or "" for e in elements_of(page, "input") if e.attributes.get("name") == "crew"]
    gates = [e.text for e in elements_of(page, "option") if "gate" in e.text.lower()]
    assert len(crews) >= 4
    some = crews[:2]
    sent: dict[str, Any] = {"walk_on": str(TODAY + timedelta(days=2)), "crew": some, "area": ""}
    for number in some:
        sent |= {f"hours_{number}": "0.4", f"gate_{number}": gates[0]}
    made = written_pages.post(
        f"{root}/routes", data=sent | {"crew_name": "Relief", "hours_0": "0.4", "gate_0": gates[0]}
    )
    assert made.status_code == 303
    numbers = parse_qs(urlsplit(made.headers["location"]).query)["made"][0].split(",")
    assert 2 <= len(numbers) <= 3
    words = words_of(written_pages.get(made.headers["location"]).text)
    assert f"{len(numbers)} routes made." in words
    if len(numbers) < 3:
        assert "nothing is left for it that day" in words
    joints = rows_of(
        written_demo,
        "SELECT joint_id FROM route_stop WHERE route_id = ANY (%s) AND joint_id IS NOT NULL",
        [int(number) for number in numbers],
    )
    assert len(joints) == len(set(joints)) > 3


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"crew_name": ""}, "tick a crew, or name one"),
        ({"hours_0": "long"}, "is no number"),
        ({"walk_on": "tomorrow"}, "is no date"),
        ({"crew": "999"}, "is no crew of this site"),
        ({"pinned_tags": "NOT-A-TAG"}, "NOT-A-TAG"),
    ],
)
def test_what_cannot_be_walked_is_refused_with_its_field(
    written_pages: TestClient, written_demo: DemoSite, changed: dict[str, str], said: str
) -> None:
    sent = {"walk_on": TOMORROW, "crew_name": "Crew Z", "hours_0": "2", "gate_0": "", "area": ""}
    answer = written_pages.post(f"{written_demo.root}/routes", data=sent | changed)
    assert answer.status_code == 422
    assert said in words_of(answer.text)


# ---------------------------------------------------------------- mending


def test_a_draft_begins_as_the_route_and_is_not_kept_by_looking(
    written_pages: TestClient, written_demo: DemoSite, mend: str
) -> None:
    page = written_pages.get(mend).text
    route = mend.removesuffix("/mend")
    kept = rows_of(
        written_demo,
        "SELECT joint_id FROM route_stop WHERE route_id = %s AND position > 0 ORDER BY position",
        int(route.rpartition("/")[2]),
    )
    assert order_of(page) == [joint for (joint,) in kept]
    assert next(e.text for e in elements_of(page, "button") if "disabled" in e.attributes) == "Keep this walk"
    moved = after(written_pages, mend, page, f"down-{order_of(page)[0]}")
    assert order_of(moved)[:2] == order_of(page)[1::-1]
    assert order_of(written_pages.get(mend).text) == order_of(page)


def test_each_step_says_what_it_walks_and_costs(written_pages: TestClient, mend: str) -> None:
    page = written_pages.get(mend).text
    first, *rest = order_of(page)
    far = rest[-1]
    for _ in range(2):
        page = after(written_pages, mend, page, f"up-{far}")
    assert order_of(page)[-3] == far
    words = words_of(page)
    assert re.search(r"Walking [\d.]+ min( \([\d.]+ min (more|less) than before\))?, working [\d.]+ min\.", words)
    assert re.search(
        r"Your order walks [\d.]+ min more than the best found\.|No order was found that walks less\.", words
    )
    page = after(written_pages, mend, page, f"drop-{first}")
    assert first not in order_of(page)
    assert "1 stop left out, 0 stops added." in words_of(page)
    page = after(written_pages, mend, page, f"back-{first}")
    assert first in order_of(page)
    page = after(written_pages, mend, page, "best")
    assert "No order was found that walks less." in words_of(page)
    assert sorted(order_of(page)) == sorted([first, *rest])


def test_a_stop_is_added_by_its_tag_and_what_cannot_be_is_said_beside_the_draft(
    written_pages: TestClient, written_demo: DemoSite, mend: str
) -> None:
    page = written_pages.get(mend).text
    (free,) = rows_of(
        written_demo,
        "SELECT tag, joint_id FROM joint j WHERE NOT coalesce(requires_outage, false) AND NOT EXISTS"
        " (SELECT FROM route_stop s WHERE s.joint_id = j.joint_id) AND j.area_id ="
        " (SELECT area_id FROM joint WHERE joint_id = %s) ORDER BY joint_id LIMIT 1",
        order_of(page)[0],
    )
    longer = after(written_pages, mend, page, "add", tag=free[0])
    assert set(order_of(longer)) == {*order_of(page), free[1]}
    assert "0 stops left out, 1 stop added." in words_of(longer)
    again = after(written_pages, mend, longer, "add", tag=free[0])
    assert "It cannot be: It is on this walk already." in words_of(again)
    unknown = after(written_pages, mend, longer, "add", tag="NOT-A-TAG")
    assert "It cannot be:" in words_of(unknown)
    assert order_of(unknown) == order_of(longer), "the draft is as it was"


def test_a_draft_is_kept_with_its_pins_and_an_overtaken_one_is_refused(written_pages: TestClient, mend: str) -> None:
    page = written_pages.get(mend).text
    first = order_of(page)[0]
    pinned = after(written_pages, mend, page, f"pin-{first}")
    draft = draft_of(after(written_pages, mend, pinned, f"down-{first}"))
    kept = written_pages.post(mend, data=draft)
    assert kept.status_code == 303
    words = words_of(written_pages.get(kept.headers["location"]).text)
    assert "The route is mended." in words
    assert "pinned" in words
    page = written_pages.get(mend).text
    assert order_of(page)[1] == first
    assert draft_of(page)["pins"] == str(first)
    stale = written_pages.post(mend, data=draft)
    assert stale.status_code == 409
    spoilt = written_pages.get(mend, params={"order": "1,x"})
    assert spoilt.status_code == 422
    assert written_pages.get(f"{mend.rpartition('/routes/')[0]}/routes/9999/mend").status_code == 404


def test_a_route_says_its_totals_and_can_be_taken_away(written_pages: TestClient, mend: str) -> None:
    page = written_pages.get(mend.removesuffix("/mend")).text
    words = words_of(page)
    assert re.search(r"Walking \d+ min Working \d+ min", words)
    assert re.search(r"Your order walks|No order was found that walks less\.", words)
    links = [e.attributes["href"] or "" for e in elements_of(page, "a") if "download" in e.attributes]
    kinds = [written_pages.get(link).headers["content-type"].partition(";")[0] for link in links]
    assert kinds == ["text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"]
