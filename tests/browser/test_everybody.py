"""For every reader: by keyboard, without script, on a phone, in paper and blueprint, on paper."""

import re
from collections.abc import Callable
from itertools import pairwise

import pytest
from playwright.sync_api import Page, expect

from registry.planning.service import current_plan, list_bundles
from tests.browser.conftest import Served
from tests.browser.test_journey import drawn, lone_joint, until, view_of

pytestmark = pytest.mark.browser

SHEETS = (
    "plan", "due", "weeks", "routes", "routes/1", "leaks", "intervals", "joints?tag=TW", "nothing", "joint",
    "crews", "crews/1", "weeks/unplaced", "bundle", "routes/1/mend",
)  # fmt: skip
# Texts that are wider than the box that cuts them off.
CUT_OFF = """[...document.querySelectorAll('h1, h2, h3, th, td, dd, dt, label, button, p, li, a')]
    .filter(e => e.offsetParent && !e.closest('.unseen, .skip, .wide-only') && e.scrollWidth > e.clientWidth + 1
                 && getComputedStyle(e).overflowX === 'hidden')
    .map(e => e.textContent.trim().slice(0, 60))"""
NAMELESS = """[...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea')]
    .filter(e => !(e.getAttribute('aria-label') || e.textContent.trim() || (e.labels && e.labels.length)))
    .map(e => e.outerHTML.slice(0, 120))"""
# WCAG 2.2, 2.5.8: 24 pixels, links in a line of text set aside.
SMALL = """[...document.querySelectorAll('button, select, summary, .tabs a, input:not([type=hidden], [type=radio])')]
    .filter(e => e.offsetParent).map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 80)])
    .filter(([box]) => box.height < 24 || box.width < 24).map(([, words]) => words)"""


def address(served: Served, sheet: str) -> str:
    """Where a sheet is; 'joint' is some joint's, 'bundle' some checks' of the plan."""
    if sheet == "bundle":
        with served.demo.database.transaction(served.demo.site_id) as connection:
            key = list_bundles(connection, current_plan(connection))[0].key
        return (
            f"{served.root}/weeks/bundle?plan={key.plan_run_id}&week={key.week_starting_on}&crew={key.crew_id}"
            f"&area={key.area_id}&scaffold={key.scaffold}"
        )
    return f"{served.root}/joints/{lone_joint(served)[0]}" if sheet == "joint" else f"{served.root}/{sheet}"


@pytest.fixture
def settled(watch: object) -> Callable[[Page], None]:
    """Waits until a page's figures are drawn."""

    def wait(page: Page) -> None:
        page.wait_for_load_state("networkidle")
        for plot in page.locator("[data-figure]").all():
            plot.locator(".main-svg").first.wait_for()
        if page.locator(".plan").count():
            drawn(page)

    return wait


@pytest.mark.parametrize("sheet", [sheet for sheet in SHEETS if sheet != "nothing"])
def test_a_sheet_fits_its_window_on_paper_and_blueprint_and_can_be_read_aloud(
    served: Served, opened: Callable[..., Page], settled: Callable[[Page], None], sheet: str
) -> None:
    page = opened(1440, 900, color_scheme="light", has_touch=True)
    page.goto(address(served, sheet))
    settled(page)
    for width, height in ((1440, 900), (360, 780)):
        page.set_viewport_size({"width": width, "height": height})
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            expect(page.locator("html")).to_have_attribute("data-theme", theme)
            until(page, lambda width=width: page.evaluate("document.documentElement.scrollWidth") <= width)
            assert page.evaluate(CUT_OFF) == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate(NAMELESS) == []
    levels = page.evaluate("[...document.querySelectorAll('main h1, main h2, main h3')].map(e => Number(e.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    ours = [name for name in ids if not re.match(r"clip|gradient|topdefs|defs|legend|g\w{6}", name)]
    assert len(set(ours)) == len(ours), "an id stands once"
    assert page.evaluate("document.documentElement.lang") == "en"
    tables = page.evaluate("[...document.querySelectorAll('table')].filter(t => !t.caption).length")
    assert tables == 0


def test_the_whole_way_goes_by_keyboard(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/plan")
    drawn(page)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the drawing")).to_be_focused()
    expect(page.get_by_role("link", name="Skip to the drawing")).to_be_in_viewport()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    plan = page.locator(".plan")
    expect(plan).to_be_focused()
    outline = plan.evaluate("e => getComputedStyle(e).outlineWidth")
    assert float(outline.removesuffix("px")) >= 2, "the focus is seen"

    whole = view_of(page)
    page.keyboard.press("+")
    drawn(page, 2)
    nearer = view_of(page)
    assert nearer[2] - nearer[0] < whole[2] - whole[0]
    page.keyboard.press("ArrowRight")
    drawn(page, 3)
    assert view_of(page)[0] > nearer[0]
    page.keyboard.press("0")
    drawn(page, 4)
    assert view_of(page) == pytest.approx(whole, abs=0.3)

    first = page.locator("#in-view a").first
    for _ in range(12):
        page.keyboard.press("Tab")
        if first.evaluate("e => e === document.activeElement"):
            break
    expect(first).to_be_focused()
    tag = first.inner_text()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/joints/"))
    expect(page.get_by_role("heading", level=1)).to_have_text(tag)

    page.get_by_label("tight", exact=True).focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("recorded=tight"))
    expect(page.get_by_role("status")).to_contain_text("Recorded: tight.")


def test_what_is_in_view_is_said_aloud_and_listed(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/plan")
    drawn(page)
    said = page.locator("[role=status]")
    expect(said).to_contain_text("600 joints in view")
    page.locator(".plan").focus()
    for count in range(2, 7):
        page.keyboard.press("+")
        drawn(page, count)
    found = re.match(r"([\d,]+) joints? in view", said.inner_text())
    assert found is not None
    joints = int(found.group(1))
    assert page.locator("#in-view tr").count() == min(joints, 50)


@pytest.mark.parametrize("sheet", ["plan", "due", "weeks", "routes", "routes/1", "leaks", "intervals", "joint"])
def test_a_sheet_says_the_same_without_script(served: Served, opened: Callable[..., Page], sheet: str) -> None:
    page = opened(java_script_enabled=False)
    page.goto(address(served, sheet))
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.locator("table:visible, .stop:visible").count() >= 1
    assert page.locator(".plot:visible, .plan:visible, [data-theme-switch]:visible").count() == 0


def test_a_check_is_recorded_and_a_list_is_leafed_through_without_script(
    served: Served, opened: Callable[..., Page]
) -> None:
    page = opened(java_script_enabled=False)
    page.goto(f"{served.root}/due")
    first = page.locator("tbody th a").first.inner_text()
    page.get_by_role("link", name="Next page").click()
    assert page.locator("tbody th a").first.inner_text() != first
    page.get_by_role("link", name="First page").click()
    page.get_by_role("link", name=first).click()
    page.get_by_label("tight", exact=True).check()
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#receipt")).to_contain_text("The due date moved from")
    page.get_by_label("Find a joint by its tag").fill(first)
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(first)


def test_the_reader_s_choice_of_paper_or_blueprint_is_kept(served: Served, opened: Callable[..., Page]) -> None:
    page = opened(color_scheme="light")
    page.goto(f"{served.root}/plan")
    drawn(page)
    paper = page.evaluate("getComputedStyle(document.body).color")
    page.get_by_role("button", name="Show as blueprint").click()
    assert page.evaluate("getComputedStyle(document.body).color") != paper
    page.goto(f"{served.root}/due")
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.get_by_role("button", name="Show as paper").click()
    assert page.evaluate("getComputedStyle(document.body).color") == paper


def test_figures_take_the_theme_s_ink(served: Served, page: Page, settled: Callable[[Page], None]) -> None:
    page.goto(f"{served.root}/weeks")
    settled(page)
    ink = "getComputedStyle(document.querySelector('.plot .bars .point path')).stroke"
    before = page.evaluate(ink)
    page.locator("[data-theme-switch]").click()
    until(page, lambda: page.evaluate(ink) != before)


def test_a_figure_offers_no_tool_bar_and_no_foreign_mark(
    served: Served, page: Page, settled: Callable[[Page], None]
) -> None:
    page.goto(f"{served.root}/leaks")
    settled(page)
    assert page.locator(".modebar-btn, .plotlyjsicon").count() == 0


def test_a_printed_route_is_a_sheet_to_write_on(served: Served, page: Page, settled: Callable[[Page], None]) -> None:
    page.goto(f"{served.root}/routes/1")
    settled(page)
    page.emulate_media(media="print")
    for gone in (".head", "form", ".skip"):
        assert page.locator(f"{gone}:visible").count() == 0
    assert page.locator(".paper-line:visible").count() == page.locator(".stop").count()
    expect(page.locator(".cautions").first).to_be_visible()
    expect(page.locator(".title-block")).to_be_visible()
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground in ("rgba(0, 0, 0, 0)", "rgb(255, 255, 255)")


def test_a_finger_on_a_joint_shows_it_before_it_opens(served: Served, opened: Callable[..., Page]) -> None:
    tag, east, north = lone_joint(served)
    page = opened(360, 780, has_touch=True)
    page.goto(f"{served.root}/plan?view={east - 12},{north - 12},{east + 12},{north + 12}")
    drawn(page)
    box = page.locator(".plan").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    card = page.locator(".plan .card")
    expect(card).to_contain_text(tag)
    card.get_by_role("link", name=tag).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(tag)
