"""The planner's hour: a bundle moved by keyboard, by pointer and without script, weighed before it is kept."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import parse_qs, urlencode

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from dashboards.plan_words import EffectWords, effect_words
from registry.planning.changes import BundleKey
from registry.planning.moving_service import preview_move
from registry.planning.service import current_plan, list_bundles
from tests.browser.conftest import Served
from tests.browser.test_journey import until
from tests.web.demo_site import TODAY

pytestmark = pytest.mark.browser

RISK = re.compile(r"Risk: (?:unchanged|[\d.e-]+ (?:more|fewer) expected leaks, weighted by class)\.")


@dataclass(frozen=True, slots=True)
class Aim:
    """A bundle, and a cell of the same page that would take it, or that refuses it; what that does, in words."""

    key: BundleKey
    week: date
    effect: EffectWords

    @property
    def query(self) -> str:
        """The address of the cell that the bundle stands in."""
        return urlencode({"week": self.key.week_starting_on, "crew": self.key.crew_id})

    def cell(self, page: Page) -> Locator:
        """The cell aimed at."""
        return page.locator(f'td[data-week="{self.week}"][data-crew="{self.key.crew_id}"]')

    def bundle(self, page: Page) -> Locator:
        """The bundle in the open cell."""
        return page.locator(f'[data-bundle*="area={self.key.area_id}&scaffold={self.key.scaffold}"]')


def an_aim(served: Served, *, refused: bool = False) -> Aim:
    """A bundle of the board's first page that may go to a week of that page, or may not."""
    demo = served.demo
    with demo.database.transaction(demo.site_id) as connection:
        plan = current_plan(connection)
        for bundle in list_bundles(connection, plan):
            weeks = range(1, 3) if not refused else range(12, 0, -1)
            for week in (bundle.week_starting_on + timedelta(weeks=number) for number in weeks):
                if bundle.pinned or (week - plan.starts_on).days >= 7 * 13:
                    continue
                effect = preview_move(connection, bundle.key, week, bundle.crew_id, TODAY)
                if bool(effect.refused) is refused:
                    return Aim(bundle.key, week, effect_words(effect))
    pytest.fail("no bundle may go to another week of the page")


def at_its_cell(served: Served, page: Page, aim: Aim) -> None:
    """Open the board at the cell in which a bundle stands."""
    page.goto(f"{served.root}/weeks?{aim.query}#cell")
    expect(aim.bundle(page)).to_be_in_viewport()


def keep(page: Page) -> None:
    """Say why and who in the dialog, and keep the move."""
    dialog = page.get_by_role("dialog")
    over = dialog.get_by_label("The crew may be over its hours")
    if over.is_visible():
        over.check()
    dialog.get_by_label("Why").fill("the crane comes then")
    dialog.get_by_label("Who moves it").fill("A. Planner")
    dialog.get_by_label("Who moves it").press("Enter")
    page.wait_for_url(re.compile("moved="))


def stands_there(page: Page, aim: Aim) -> None:
    """The board shows the bundle where it was put, held."""
    expect(page.locator(".drawer [role=status]")).to_contain_text("put here")
    expect(aim.cell(page)).to_contain_text("held")
    expect(aim.bundle(page)).to_be_visible()


def middle(box: Locator) -> tuple[float, float]:
    """The middle of what is on the screen."""
    found = box.bounding_box()
    assert found is not None
    return found["x"] + found["width"] / 2, found["y"] + found["height"] / 2


def test_a_bundle_is_moved_by_keyboard_and_what_it_does_is_said_first(served: Served, page: Page) -> None:
    aim = an_aim(served)
    at_its_cell(served, page, aim)
    aim.bundle(page).get_by_role("button").focus()
    page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog")
    expect(dialog).to_be_visible()
    weeks = dialog.get_by_label("To the week of")
    expect(weeks).to_be_focused()
    while weeks.input_value() != str(aim.week):
        page.keyboard.press("ArrowDown")
    said = dialog.get_by_role("status")
    expect(said).to_contain_text(RISK)
    for line in (aim.effect.what, *aim.effect.effects):
        expect(said).to_contain_text(line)
    expect(aim.cell(page)).to_have_class(re.compile("aimed-at"))
    keep(page)
    stands_there(page, aim)


def test_a_bundle_is_dragged_and_weighed_before_it_is_let_go(served: Served, page: Page) -> None:
    aim = an_aim(served)
    at_its_cell(served, page, aim)
    page.mouse.move(*middle(aim.bundle(page).locator("[data-grip]")))
    page.mouse.down()
    page.mouse.move(*middle(aim.cell(page)), steps=6)
    carried = page.locator("[data-carried]")
    expect(carried).to_contain_text(RISK)
    expect(carried).to_contain_text(aim.effect.what)
    expect(aim.cell(page)).to_have_class(re.compile("aimed-at"))
    assert page.get_by_role("dialog").count() == 0, "nothing is asked before it is let go"
    page.mouse.up()
    expect(carried).to_be_hidden()
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_label("To the week of")).to_have_value(str(aim.week))
    expect(dialog.get_by_label("To the crew")).to_have_value(str(aim.key.crew_id))
    expect(dialog.get_by_role("status")).to_contain_text(RISK)
    keep(page)
    stands_there(page, aim)


def test_where_it_cannot_be_it_is_said_so_and_nothing_happens(served: Served, page: Page) -> None:
    aim = an_aim(served, refused=True)
    at_its_cell(served, page, aim)
    page.mouse.move(*middle(aim.bundle(page).locator("[data-grip]")))
    page.mouse.down()
    page.mouse.move(*middle(aim.cell(page)), steps=6)
    expect(page.locator("[data-carried]")).to_contain_text("It cannot be:")
    expect(aim.cell(page)).to_have_class(re.compile("refuses"))
    page.mouse.up()
    expect(page.locator("[data-carried]")).to_be_hidden()
    assert page.get_by_role("dialog").count() == 0
    page.mouse.move(*middle(aim.bundle(page).locator("[data-grip]")))
    page.mouse.down()
    page.mouse.move(*middle(aim.cell(page)), steps=3)
    page.keyboard.press("Escape")
    expect(page.locator("[data-carried]")).to_be_hidden()
    page.mouse.up()
    assert page.get_by_role("dialog").count() == 0


def test_only_the_answer_to_the_newest_wish_is_shown(served: Served, page: Page) -> None:
    asked: list[str] = []

    def answer(route: Route) -> None:
        asked.append(parse_qs(route.request.url)["to_week"][0])
        if len(asked) == 1:
            return  # never answered: it is given up when the wish changes
        said = {"what": f"wish {len(asked)}", "effects": [], "refused": [], "over": None}
        route.fulfill(status=200, json=said)

    page.goto(f"{served.root}/weeks")
    page.route(re.compile(r"effect\.json"), answer)
    page.locator("[data-move]").first.click()
    dialog = page.get_by_role("dialog")
    until(page, lambda: len(asked) == 1)
    expect(dialog.get_by_role("button", name="Move it")).to_be_disabled()
    weeks = dialog.get_by_label("To the week of")
    weeks.evaluate(
        "e => { for (let step = 0; step < 3; step++) { e.selectedIndex += 1; e.dispatchEvent(new Event('change')); } }"
    )
    expect(dialog.get_by_role("status")).to_have_text("wish 2")
    assert len(asked) == 2, "three steps in one breath are one question"
    assert asked[1] == weeks.input_value()
    dialog.get_by_role("button", name="Leave it").click()
    expect(dialog).to_be_hidden()


def test_a_screen_reader_finds_the_board_as_a_table_with_its_heads(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/weeks")
    table = page.get_by_role("table", name=re.compile("^Hours of checks by crew and week"))
    heads = table.get_by_role("columnheader").all_inner_texts()
    assert len([head for head in heads if re.search(r"\d W\d\d", head)]) == 13
    crew = page.locator(".lane > th a").first.inner_text()
    row = table.get_by_role("row").filter(has=page.get_by_role("rowheader", name=re.compile(crew)))
    assert row.first.get_by_role("cell").count() == 13
    assert re.match(r"[\d.]+ of [\d.]+ h\s+\d+ checks?", row.first.get_by_role("cell").first.inner_text())


def test_a_bundle_is_moved_without_script(served: Served, opened: Callable[..., Page]) -> None:
    aim = an_aim(served)
    plain = opened(java_script_enabled=False)
    at_its_cell(served, plain, aim)
    assert plain.locator("[data-move]:visible, [data-grip]:visible, dialog:visible").count() == 0
    aim.bundle(plain).get_by_role("link").click()
    plain.get_by_label("To the week of").select_option(str(aim.week))
    plain.get_by_role("button", name="Show what that does").click()
    expect(plain.locator("#effect")).to_contain_text(RISK)
    over = plain.get_by_label("The crew may be over its hours")
    if over.count():
        over.check()
    plain.get_by_label("Why").fill("the crane comes then")
    plain.get_by_label("Who moves it").fill("A. Planner")
    plain.get_by_role("button", name="Move it").click()
    expect(plain.locator(".drawer [role=status]")).to_contain_text("put here")
    expect(aim.cell(plain)).to_contain_text("held")


# ---------------------------------------------------------------- a walk mended


def walked(page: Page) -> list[str]:
    """The tags of a draft in walking order."""
    return page.locator("[data-joint] h3 a").all_inner_texts()


def test_a_walk_is_mended_by_keyboard_and_its_cost_is_said_before_it_is_kept(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/routes/1/mend")
    before = walked(page)
    lift = page.locator("[data-lift]").first
    lift.focus()
    page.keyboard.press("ArrowDown")
    until(page, lambda: walked(page)[:2] == before[1::-1])
    expect(page.locator("[data-said]")).to_contain_text(re.compile(r"Walking [\d.]+ min.*In all [\d.]+ of \d+ min"))
    expect(page.locator("[data-lift]").nth(1)).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name=f"{before[0]} one up")).to_be_focused()
    page.keyboard.press("Enter")
    until(page, lambda: walked(page) == before)
    expect(page.get_by_role("button", name="Keep this walk")).to_be_disabled()
    page.get_by_role("button", name=f"Leave {before[-1]} out").press("Enter")
    until(page, lambda: walked(page) == before[:-1])
    expect(page.get_by_role("button", name=f"Put {before[-1]} back")).to_be_focused()
    page.get_by_role("button", name=f"Pin {before[0]}").press("Enter")
    expect(page.get_by_role("button", name=f"Unpin {before[0]}")).to_be_focused()
    page.get_by_role("button", name="Keep this walk").press("Enter")
    page.wait_for_url(re.compile(r"/routes/1\?mended=yes"))
    assert page.locator(".stop h3").all_inner_texts() == before[:-1]
    expect(page.locator(".stop").first).to_contain_text("pinned")


def test_a_stop_is_dragged_to_another_place_in_the_walk(served: Served, page: Page) -> None:
    page.goto(f"{served.root}/routes/1/mend")
    before = walked(page)
    third = page.locator("[data-joint]").nth(2)
    third.scroll_into_view_if_needed()
    page.mouse.move(*middle(third.locator("[data-lift]")))
    page.mouse.down()
    first = page.locator("[data-joint]").first.bounding_box()
    assert first is not None
    page.mouse.move(first["x"] + 40, first["y"] + 4, steps=8)
    page.mouse.up()
    until(page, lambda: walked(page)[:3] == [before[2], before[0], before[1]])
    expect(page.locator("[data-lines]")).to_contain_text("Walking")
    page.get_by_role("link", name="As it was").click()
    until(page, lambda: walked(page) == before)
