"""What holds for every page: accessible, no sideways scroll, no overlap, nothing leaves."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.apps.evening import ADDRESS

Visit = Callable[..., Page]
ARTEFACTS = Path(__file__).parents[1] / "artefacts"
SIZES = {"wide": (1280, 720), "large": (1920, 1080), "phone": (390, 844)}
PAGES = {
    "explore": "",
    "compare": "compare",
    "compare-four": "compare?question=with_aid",
    "compare-ways": "compare?ways=slots,pile,row,sea",
    "tonight": ADDRESS,
    "tests": ADDRESS.replace("tonight", "tests"),
    "log": ADDRESS.replace("tonight", "log"),
    "class": "class",
    "class-four": "class?question=which_way_up",
    "join": "join",
    "learn": "learn",
    "lesson-number": "learn?lesson=stream",
    "lesson-choice": "learn?lesson=strip",
    "lesson-curve": "learn?lesson=guest",
    "teach": "teach?lesson=one_litre",
    "handout": "handout?lesson=one_litre",
}
READY = {"join": ".about"}
PLAIN = ("learn", "lesson", "teach", "handout")
"""Pages without a session have nothing to wait for but themselves."""

every_page = pytest.mark.parametrize("name", PAGES)


def opened(visit: Visit, name: str, size: str) -> Page:
    usual = "main" if name.startswith(PLAIN) else "body[data-answer]"
    return visit(PAGES[name], SIZES[size], READY.get(name, usual))


def grave(page: Page) -> list[str]:
    """Findings of axe-core that are serious or critical, one line each."""
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']} ({one['impact']}): {one['help']}: {[node['html'][:120] for node in one['nodes']]}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def test_axe_finds_nothing_serious_while_a_class_watches_and_is_told(visit: Visit) -> None:
    page = visit("class")
    page.keyboard.press("a")
    page.keyboard.press("Space")
    assert grave(page) == []
    page.keyboard.press("End")
    assert grave(page) == []


def test_axe_would_find_a_fault(visit: Visit) -> None:
    page = visit("join", ready=".about")
    page.evaluate("document.querySelector('main').append(document.createElement('img'))")
    assert "image-alt" in grave(page)[0]


@every_page
@pytest.mark.parametrize("sizes", [("wide", "large"), ("phone",)], ids=["desk", "phone"])
def test_a_page_fits_is_accessible_and_keeps_to_itself(
    visit: Visit, address: str, heard: dict[str, list[str]], name: str, sizes: tuple[str, ...]
) -> None:
    page = opened(visit, name, sizes[0])
    ARTEFACTS.mkdir(exist_ok=True)
    for size in sizes:
        width, height = SIZES[size]
        page.set_viewport_size({"width": width, "height": height})
        # where the whole page is one screen Bokeh lays its chart out after the first paint
        page.wait_for_timeout(200)
        page.screenshot(path=ARTEFACTS / f"{name}-{size}.png", full_page=size == "phone")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert overlaps(page, width) == []
        assert cut_off(page) == []
    assert grave(page) == []
    page.locator("#theme").click()
    assert grave(page) == []
    for key in ("a", "Space", "End", "Home"):
        page.keyboard.press(key)
    page.wait_for_timeout(200)
    host = re.escape(address.removeprefix("http://").rstrip("/"))
    own = re.compile(rf"(https?|ws)://{host}/|blob:|data:")
    assert heard["requests"], "the listener heard nothing at all"
    assert [url for url in heard["requests"] if not own.match(url)] == []
    assert [line for line in heard["console"] if line.startswith(("error", "warning"))] == []


BOXES = """() => [...document.querySelectorAll('.bar-top, main > *, .arms > *')]
  .filter(one => one.checkVisibility() && !one.matches('.arms'))
  // a bar that stays at the foot of a phone's screen lies over the page by design
  .filter(one => !['fixed', 'sticky'].includes(getComputedStyle(one).position))
  .map(one => ({ name: one.id || one.className, ...one.getBoundingClientRect().toJSON() }))
  .filter(box => box.width > 0 && box.height > 0)"""
CUT = """() => [...document.querySelectorAll('main *')]
  .filter(one => one.checkVisibility({ visibilityProperty: true }))
  .filter(one => !['auto', 'scroll', 'visible'].includes(getComputedStyle(one).overflowX))
  .filter(one => one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1)
  .filter(one => one.textContent.trim() && !one.matches('select'))
  .map(one => one.outerHTML.slice(0, 160))"""


def overlaps(page: Page, width: int) -> list[str]:
    """Parts of the page that lie over one another or stick out at a side."""
    boxes = page.evaluate(BOXES)
    assert len(boxes) > 2
    found = [
        f"{box['name']} sticks out"
        for box in boxes
        if box["left"] < 0 or box["right"] > width + 0.5
    ]
    for one, other in combinations(boxes, 2):
        apart = (
            one["right"] <= other["left"] + 0.5
            or other["right"] <= one["left"] + 0.5
            or one["bottom"] <= other["top"] + 0.5
            or other["bottom"] <= one["top"] + 0.5
        )
        if not apart:
            found.append(f"{one['name']} lies over {other['name']}")
    return found


def cut_off(page: Page) -> list[str]:
    """Whatever hides what sticks out of it, and has something sticking out."""
    found: list[str] = page.evaluate(CUT)
    return found


def test_the_checks_of_layout_can_fail(visit: Visit) -> None:
    page = visit("join", ready=".about")
    assert (overlaps(page, 1280), cut_off(page)) == ([], [])
    page.add_style_tag(content="h1 { height: 8px; overflow: hidden; } .about { margin-top: -80px }")
    assert "about" in " ".join(overlaps(page, 1280))
    assert "h1" in cut_off(page)[0]
