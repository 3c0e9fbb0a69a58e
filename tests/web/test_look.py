"""Colour is for risk alone, in an order that everybody sees; ink is readable on its paper."""

import re

import numpy as np
import pytest

from dashboards.assets import STATIC

SHEET = (STATIC / "sheet.css").read_text(encoding="utf-8")
PRINT = (STATIC / "print.css").read_text(encoding="utf-8")
PLAIN = 4.5  # WCAG 2.2, 1.4.3: text
MARK = 3.0  # WCAG 2.2, 1.4.11: what must be seen to understand

# Colour vision without one kind of cone: Machado, Oliveira and Fernandes 2009, severity 1 (from memory), on linear RGB.
VISION = {
    "all cones": np.eye(3),
    "no long": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "no middle": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "no short": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def block(css: str, selector: str) -> dict[str, str]:
    """The custom properties of the first block after a selector."""
    body = css[css.index(selector) :].partition("{")[2].partition("}")[0]
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", body))


THEMES = {
    "paper": block(SHEET, ":root {"),
    "blueprint": block(SHEET, ':root[data-theme="dark"]'),
    "print": block(PRINT, ":root,"),
}


def linear(colour: str) -> np.ndarray:
    """Linear RGB of a hex colour, as WCAG 2.2 defines it."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(rgb: np.ndarray) -> float:
    """Relative luminance."""
    return float(np.clip(rgb, 0, 1) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """WCAG's contrast ratio."""
    low, high = sorted((luminance(linear(one)), luminance(linear(other))))
    return (high + 0.05) / (low + 0.05)


def lightness(value: float) -> float:
    """CIE L* of a relative luminance."""
    return 116 * value ** (1 / 3) - 16 if value > 216 / 24389 else 24389 / 27 * value


def test_the_contrast_formula_is_wcag_s() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("theme", THEMES)
def test_ink_is_readable(theme: str) -> None:
    colours = THEMES[theme]
    for ground in ("paper", "paper-2", "desk"):
        assert contrast(colours["ink"], colours[ground]) >= 7
        assert contrast(colours["ink-2"], colours[ground]) >= PLAIN
    assert contrast(colours["hair"], colours["paper"]) >= MARK, "the edges of fields"


@pytest.mark.parametrize("theme", THEMES)
def test_what_stands_on_a_risk_colour_is_readable(theme: str) -> None:
    colours = THEMES[theme]
    for band in range(1, 6):
        assert contrast(colours[f"on-risk-{band}"], colours[f"risk-{band}"]) >= PLAIN


@pytest.mark.parametrize("theme", THEMES)
def test_a_mark_is_seen_by_its_fill_or_its_outline(theme: str) -> None:
    colours = THEMES[theme]
    for band in range(1, 6):
        fill = contrast(colours[f"risk-{band}"], colours["paper"])
        outline = contrast(colours["ink"], colours["paper"])
        assert max(fill, outline) >= MARK


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize("theme", THEMES)
def test_risk_is_one_ordered_scale_for_every_eye(theme: str, vision: str) -> None:
    colours = THEMES[theme]
    seen = [luminance(np.array(VISION[vision]) @ linear(colours[f"risk-{band}"])) for band in range(1, 6)]
    steps = np.diff([lightness(value) for value in seen])
    # Darker with risk on paper, lighter on the blueprint: away from the ground either way.
    towards_ink = -1 if theme != "blueprint" else 1
    assert (steps * towards_ink >= 10).all(), steps.round(1)


@pytest.mark.parametrize("theme", THEMES)
def test_nothing_but_risk_is_coloured(theme: str) -> None:
    for name, colour in THEMES[theme].items():
        if "risk" in name:
            continue
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        warm = max(red, green) - blue
        assert warm <= 24, f"{name} {colour} would pass for a risk"


def test_the_two_ways_into_the_dark_are_the_same() -> None:
    wished = block(SHEET, ':root:not([data-theme="light"])')
    assert wished == THEMES["blueprint"]
    assert set(THEMES["paper"]) == set(wished)


@pytest.mark.parametrize("name", [path.name for path in sorted(STATIC.glob("*.css"))])
def test_colours_stand_in_the_themes_only(name: str) -> None:
    css = (STATIC / name).read_text(encoding="utf-8")
    rules = re.sub(r":root[^{]*\{[^}]*\}", "", css)
    assert not re.findall(r"(?<!&)#(?:[0-9a-fA-F]{3}){1,2}\b|\brgba?\(|\bhsla?\(", rules)
    assert "url(" not in css
    assert "@import" not in css


def test_a_script_and_a_style_sheet_are_read_in_one_sitting() -> None:
    longest = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in STATIC.glob("*.[jc]s*")}
    assert {name: lines for name, lines in longest.items() if lines > 600} == {}
