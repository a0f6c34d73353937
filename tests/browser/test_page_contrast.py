"""What can be seen: WCAG 2.2 AA by axe-core, and the ratios of the pictures' colours, which axe does not look at.

Contrast is (L1 + 0.05) / (L2 + 0.05) with the relative luminance of WCAG 2.2; text needs 4.5, pictures 3.
"""

from __future__ import annotations

import pytest
from pages import Open, page_of

NAME = "operations/coastal-checkpoint"
STROKED = (".edge", ".middle", ".hardest", ".held", ".spread", ".drawn", ".axis", ".wire", ".thin", ".sun", "svg .band")
COLOURS = """() => {
  const found = {};
  for (const which of %s) {
    const one = document.querySelector(which);
    if (one) found[which] = getComputedStyle(one).stroke;
  }
  for (const one of document.querySelectorAll("svg .night")) found[".night"] = getComputedStyle(one).fill;
  return [getComputedStyle(document.documentElement).backgroundColor, found];
}"""


def luminance(colour: str) -> float:
    parts = [float(one) / 255 for one in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_is_twenty_one() -> None:
    # the definition's own example
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21.0)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_whatever_is_drawn_stands_out_from_the_ground(opened: Open, theme: str) -> None:
    ground, found = opened(page_of(NAME), theme=theme).page.evaluate(COLOURS % list(STROKED))
    assert set(found) == {*STROKED, ".night"}
    assert {
        which: round(contrast(colour, ground), 2) for which, colour in found.items() if contrast(colour, ground) < 3
    } == {}


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(opened: Open, theme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="pip install axe-playwright-python")
    found = opened(page_of(NAME), theme=theme).page
    found.locator("form.now [name=amount]").fill("9")
    found.locator("form.now button").click()
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    told = axe.Axe().run(found, options=rules).response["violations"]
    assert [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in told] == []
