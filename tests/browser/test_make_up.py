"""A whole make-up on a phone of 360 px, by keyboard and by touch: refused once for its wrench, then accepted."""

from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboards.app import create_app
from registry.db import Database
from tests.browser.conftest import Watch, serving
from tests.web.make_up_site import ANSWERS, EXPIRED_WRENCH, GOOD_WRENCH, TAG, add_make_up_site

pytestmark = pytest.mark.browser

JOINT = f"/sites/marsh/joints/{TAG}"
BIG_PX = 44  # both sides of what a finger is sure to hit: WCAG 2.2, success criterion 2.5.5


def fields(wrench: str) -> dict[str, str]:
    return {"fitter": "Ada Marsh", **{f"step.{key}": value for key, value in ANSWERS.items()}} | {
        "step.torque-wrench": wrench,
        "witness": "Wim Reed",
    }


def faults_of(page: Page) -> list[str]:
    """Where the page is wider than the phone, or a target of the form smaller than a finger."""
    return page.evaluate(
        """least => {
          const faults = [];
          if (document.documentElement.scrollWidth > 360) faults.push(`wide: ${document.documentElement.scrollWidth}`);
          const inputs = ".make-up .choices label, .make-up .asked > input:not([type=hidden])";
          const targets = `${inputs}, .make-up button, .ways a`;
          for (const each of document.querySelectorAll(targets)) {
            const box = each.getBoundingClientRect();
            if (box.width && (box.height < least || box.width < least)) faults.push(each.outerHTML.slice(0, 120));
          }
          return faults;
        }""",
        BIG_PX,
    )


def by_keyboard(page: Page, wrench: str) -> None:
    """Tab from field to field and answer each that is reached, then send with Enter."""
    wanted = fields(wrench)
    page.locator("#fitter").focus()
    for _ in range(60):
        name = page.evaluate("document.activeElement.name || document.activeElement.textContent")
        if name == "Record the make-up":
            page.keyboard.press("Enter")
            return
        if name in wanted:
            value = wanted.pop(name)
            if value in ("yes", "no") and page.evaluate("document.activeElement.type") == "radio":
                page.keyboard.press("Space")
                if value == "no":
                    page.keyboard.press("ArrowRight")
            else:
                page.keyboard.press("ControlOrMeta+a")
                page.keyboard.type(value)
        page.keyboard.press("Tab")
    pytest.fail(f"never came to the button; not reached: {wanted}")


def by_touch(page: Page, wrench: str) -> None:
    """Tap every answer, type into every field that a tap opened, tap the button."""
    for name, value in fields(wrench).items():
        answers = page.locator(f'input[name="{name}"]')
        if answers.first.get_attribute("type") == "radio":
            page.locator(f'label:has(input[name="{name}"][value="{value}"])').tap()
        else:
            answers.tap()
            page.keyboard.press("ControlOrMeta+a")
            page.keyboard.type(value)
    page.get_by_role("button", name="Record the make-up").tap()


@pytest.mark.parametrize("hand", [by_keyboard, by_touch])
def test_a_make_up_is_refused_for_its_wrench_and_then_accepted(
    database: Database, chromium: Browser, hand: Callable[[Page, str], None]
) -> None:
    add_make_up_site(database, "marsh")
    watch = Watch()
    with serving(create_app(database)) as address:
        context = chromium.new_context(
            base_url=address, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
        )
        context.set_default_timeout(15_000)
        page = watch.over(context.new_page())
        page.goto(JOINT)
        page.get_by_role("link", name="Record a make-up").tap()
        page.get_by_role("link", name="1/2 in, by torque").tap()
        page.wait_for_url("**procedure=ferrule-mp-half-inch-torque**")
        assert faults_of(page) == []
        expect(page.locator('[name="step.torqued"]')).to_have_attribute("inputmode", "decimal")
        expect(page.locator(".cautions").first).to_contain_text(
            "Never tighten, loosen or bleed by a nut under pressure"
        )
        assert page.locator('[name="step.bolt-count"], [name="step.turned"], [name="step.mark-reached"]').count() == 0

        hand(page, EXPIRED_WRENCH)
        verdict = page.locator("#verdict")
        expect(verdict).to_contain_text("Not accepted")
        expect(verdict).to_contain_text(EXPIRED_WRENCH)
        assert verdict.locator("li").count() == 1
        assert faults_of(page) == []

        page.get_by_role("link", name="Make it up again").tap()
        expect(page.locator("#fitter")).to_have_value("Ada Marsh")
        hand(page, GOOD_WRENCH)
        expect(verdict).to_contain_text("Accepted")
        assert verdict.locator("li").count() == 0

        page.get_by_role("link", name="To the joint").tap()
        rows = page.locator("h2#make-ups + .table tbody tr")
        expect(rows).to_have_count(2)
        expect(rows.first).to_contain_text("accepted")
        expect(rows.last).to_contain_text(EXPIRED_WRENCH)
        assert faults_of(page) == []
        assert watch.faults == []
        assert watch.hosts == {urlsplit(address).netloc}
        context.close()
