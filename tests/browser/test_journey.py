"""The engineer's afternoon and the crew's morning, in a browser: map, joint, why, due, route, result, new due date."""

import re
from collections.abc import Callable
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Served

pytestmark = pytest.mark.browser

MARGIN = 26


def drawn(page: Page, at_least: int = 1) -> None:
    """Wait until the joints of the view are on the map, for the so-manieth time since the page was opened.

    Asked from outside: Playwright's own waiting compiles text in the page, which the security policy forbids.
    """
    until(page, lambda: int(page.locator(".plan").get_attribute("data-drawn") or 0) >= at_least)


def until(page: Page, holds: Callable[[], bool], seconds: float = 30.0) -> None:
    """Wait until something holds."""
    for _ in range(int(seconds / 0.05)):
        if holds():
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"not within {seconds:g} s")


def view_of(page: Page) -> list[float]:
    """West, south, east and north edge of the view, from the address bar."""
    return [float(edge) for edge in parse_qs(urlsplit(page.url).query)["view"][0].split(",")]


def lone_joint(served: Served) -> tuple[str, float, float]:
    """A joint that stands by itself, so that a click there can mean no other."""
    with served.demo.database.transaction(served.demo.site_id) as connection:
        row = connection.execute(
            "SELECT j.tag, j.location[0], j.location[1] FROM joint j"
            " WHERE NOT EXISTS (SELECT FROM joint o WHERE o.joint_id <> j.joint_id"
            " AND o.location <@ box(point(j.location[0] - 3, j.location[1] - 3),"
            " point(j.location[0] + 3, j.location[1] + 3)))"
            " ORDER BY j.joint_id LIMIT 1"
        ).fetchone()
    assert row is not None, "some joint stands alone"
    return str(row[0]), float(row[1]), float(row[2])


def on_screen(page: Page, east: float, north: float) -> tuple[float, float]:
    """Where a place of the plant stands in the window."""
    west, south, right, top = view_of(page)
    box = page.locator(".plan").bounding_box()
    assert box is not None
    width, height = box["width"] - 2 - 2 * MARGIN, box["height"] - 2 - 2 * MARGIN
    return (
        box["x"] + 1 + MARGIN + (east - west) / (right - west) * width,
        box["y"] + 1 + MARGIN + (top - north) / (top - south) * height,
    )


def test_from_the_map_to_a_moved_due_date(served: Served, page: Page) -> None:
    tag, east, north = lone_joint(served)
    page.goto(f"{served.root}/plan?view={east - 12},{north - 12},{east + 12},{north + 12}")
    drawn(page)
    x, y = on_screen(page, east, north)
    page.mouse.move(x, y)
    expect(page.locator(".plan .card")).to_contain_text(tag)
    page.mouse.click(x, y)
    page.wait_for_url(re.compile("/joints/"))

    expect(page.get_by_role("heading", level=1)).to_have_text(tag)
    expect(page.locator(".why")).to_contain_text("consequence class")
    expect(page.locator(".why table")).to_contain_text("vibration")
    expect(page.locator(".cautions")).to_contain_text("does not authorise")

    page.get_by_role("link", name="Due list").click()
    first = page.locator("tbody tr").first
    expect(first).to_contain_text("overdue")

    page.get_by_role("link", name="Routes").click()
    for ticked in page.get_by_role("checkbox", checked=True).all():
        ticked.uncheck()
    page.get_by_label("Another crew, by name").fill("Crew of the morning")
    page.get_by_role("group", name="Another crew").get_by_label("Shift, hours").fill("1.5")
    page.get_by_role("button", name="Make the routes").click()
    page.wait_for_url(re.compile(r"/routes/\d+$"))
    page.wait_for_selector(".plot.walk .main-svg")
    assert page.locator(".plot.walk .textpoint").count() >= 1, "the walk is numbered"

    stop = page.locator(".stop").first
    stop_tag = stop.locator("h3").inner_text()
    due = re.search(r"\d{4}-\d{2}-\d{2}", stop.locator("p.caption").inner_text())
    assert due is not None
    stop.get_by_role("button", name="tight", exact=True).click()
    page.wait_for_url(re.compile("recorded=tight"))
    expect(page.locator("#receipt")).to_contain_text(f"The due date moved from {due.group()}")
    expect(page.locator(".stop").first).to_contain_text("Crew of the morning")
    expect(page.locator(".facts")).to_contain_text("1 recorded")

    page.get_by_role("link", name=stop_tag).click()
    shown = page.locator("#due-on").inner_text()
    moved = re.search(r"\d{4}-\d{2}-\d{2}", shown)
    assert moved is not None
    assert moved.group() > due.group()
    expect(page.locator("#history ~ .table tbody tr").first).to_contain_text("tight")
    page.wait_for_selector(".plot .main-svg")


def test_a_check_is_recorded_on_the_joint_s_page_once_however_often_it_is_sent(served: Served, page: Page) -> None:
    tag, _, _ = lone_joint(served)
    page.goto(f"{served.root}/joints/{tag}")
    page.get_by_label("retightened").check()
    page.get_by_label("Checked by").fill("R. Quill")
    page.get_by_role("button", name="Record", exact=True).dblclick()
    page.wait_for_url(re.compile("recorded=retightened"))
    expect(page.locator("#receipt")).to_contain_text("Recorded: retightened.")
    with served.demo.database.transaction(served.demo.site_id) as connection:
        rows = connection.execute(
            "SELECT count(*) FROM check_result JOIN joint USING (site_id, joint_id)"
            " WHERE tag = %s AND checked_by = 'R. Quill'",
            [tag],
        ).fetchall()
    assert rows == [(1,)]


def test_the_map_moves_zooms_and_keeps_its_view_in_the_address(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/plan")
    drawn(page)
    whole = view_of(page)
    status = page.locator("#plan-status")
    expect(status).to_contain_text("600 joints in view")
    page.get_by_role("button", name="Zoom in").click()
    drawn(page, 2)
    nearer = view_of(page)
    assert nearer[2] - nearer[0] == pytest.approx(0.6 * (whole[2] - whole[0]), rel=0.01)

    box = page.locator(".plan").bounding_box()
    assert box is not None
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 150, middle[1], steps=5)
    page.mouse.up()
    drawn(page, 3)
    dragged = view_of(page)
    metres = (nearer[2] - nearer[0]) / (box["width"] - 2 * MARGIN)
    assert dragged[0] == pytest.approx(nearer[0] - 150 * metres, abs=2.0)
    assert dragged[2] - dragged[0] == pytest.approx(nearer[2] - nearer[0], abs=0.3)

    page.mouse.wheel(0, -300)
    drawn(page, 4)
    assert view_of(page)[2] - view_of(page)[0] < dragged[2] - dragged[0]

    sent, before = page.url, view_of(page)
    page.goto("about:blank")
    page.goto(sent)
    drawn(page)
    assert view_of(page) == pytest.approx(before, abs=0.3)
    west, _, east, _ = view_of(page)
    grid = [text for text in page.locator(".plan .grid text").all_text_contents() if text.isdigit()]
    assert grid, "the sheet grid is numbered"
    page.get_by_role("button", name="Show the whole plan").click()
    drawn(page, 2)
    assert view_of(page)[0] <= west
    assert view_of(page)[2] >= east


def test_a_filter_keeps_the_view_and_says_how_many_are_left(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/plan?view=100,50,400,300")
    drawn(page)
    before = view_of(page)
    page.get_by_label("Due", exact=True).select_option("overdue")
    page.get_by_role("button", name="Show", exact=True).click()
    page.wait_for_url(re.compile("due=overdue"))
    drawn(page)
    assert view_of(page) == pytest.approx(before, abs=0.3)
    words = page.locator("#plan-status").inner_text()
    joints, overdue = (int(found) for found in re.findall(r"(\d+) (?:joints? in view|overdue)", words))
    assert joints == overdue
    assert "area=" not in page.url, "what was not chosen is not in the address"


def test_cells_far_out_lead_to_joints_close_in(served: Served, opened: Callable[..., Page]) -> None:
    page = opened()
    # A plant of 4,000 and more is answered in cells; this one is made to, at the same place in the code.
    page.route(
        re.compile(r"/map\?"),
        lambda route: route.fulfill(
            json={
                "window": [0, 0, 900, 600],
                "joints": 9000,
                "overdue": 4,
                "due_soon": 7,
                "kind": "cells",
                "cell_m": 50.0,
                "columns": {
                    "east_m": [225.0, 475.0],
                    "north_m": [125.0, 125.0],
                    "joints": [8000, 1000],
                    "band": [5, 2],
                    "overdue": [4, 0],
                    "due_soon": [6, 1],
                },
                "riskiest": {
                    "tag": ["A/1"],
                    "east_m": [225.0],
                    "north_m": [125.0],
                    "elevation_m": [None],
                    "band": [5],
                    "due_on": ["2026-01-01"],
                    "risk_rank": [1],
                    "state": ["overdue"],
                },
            }
        ),
    )
    page.goto(f"{served.root}/plan?view=0,0,700,400")
    drawn(page)
    expect(page.locator("#plan-status")).to_contain_text("9,000 joints in view: 4 overdue, 7 due within 30 days.")
    expect(page.locator("#in-view")).to_contain_text("elevation not given")
    assert page.locator("#in-view a").get_attribute("href") == f"{served.demo.root}/joints/A/1"
    before = view_of(page)
    page.mouse.move(*on_screen(page, 225.0, 125.0))
    expect(page.locator(".plan .card")).to_contain_text("8,000 joints, 4 overdue")
    page.mouse.click(*on_screen(page, 225.0, 125.0))
    drawn(page, 2)
    after = view_of(page)
    assert after[2] - after[0] == pytest.approx(0.35 * (before[2] - before[0]), rel=0.02)
    assert after[0] < 225.0 < after[2]


def test_a_map_that_cannot_be_read_says_so(served: Served, opened: Callable[..., Page]) -> None:
    page = opened()
    page.route(re.compile(r"/map\?"), lambda route: route.fulfill(status=200, json={"detail": "nothing"}))
    page.goto(f"{served.root}/plan")
    expect(page.locator("#plan-status")).to_contain_text("The joints could not be read")
