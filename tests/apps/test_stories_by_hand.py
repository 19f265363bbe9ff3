"""Stories clicked through: a file is opened, fields are filled in, the sentence says the outcome.

What is expected comes from closed forms, as in tests/stories, not from the product.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

import washsim
from tests.references import cases, closed_forms

Visit = Callable[..., Page]
EXAMPLES = Path(washsim.__file__).parent / "data" / "examples"
SHEET = 0.203 * 0.254
HELD, FULL = 0.25, 25.0
"""L/m2 that a drained print holds; g/m2 in it when it comes from the fixer, in the ideal mode."""


def opened(visit: Visit, name: str) -> Page:
    page = visit()
    page.locator("#keep summary").click()
    with answer(page):
        page.locator("#upload").set_input_files(EXAMPLES / f"{name}.toml")
    page.locator("#keep summary").click()
    return page


@contextmanager
def answer(page: Page) -> Iterator[None]:
    """What is done inside is answered before the block ends."""
    before = page.locator("body").get_attribute("data-answer")
    yield
    expect(page.locator("body")).not_to_have_attribute("data-answer", before or "")


def fill(page: Page, place: str, value: float | str) -> None:
    """Type into a field of the editor, or choose in it, wherever it is folded away."""
    field = page.locator(f"#f-{place.replace('.', '-')}")
    field.evaluate(
        "one => { for (let up = one; up = up.parentElement?.closest('details');) up.open = true }"
    )
    with answer(page):
        if isinstance(value, str):
            field.select_option(value)
        else:
            field.fill(f"{value:g}")
            field.press("Tab")


def number(page: Page, pattern: str) -> float:
    """The number that the sentence has where the pattern has its group."""
    found = re.search(pattern, page.locator("#sentence").inner_text())
    assert found, page.locator("#sentence").inner_text()
    return float(found[1])


def test_s1_the_strip_passes_and_the_batch_cannot(visit: Visit) -> None:
    page = opened(visit, "strip")
    expect(page.locator("#met")).to_have_text("Target met")
    floor = FULL * HELD * 0.005 / (HELD * 0.005 + 5)
    assert number(page, r"ends at ([\d.]+) g/m²") == pytest.approx(floor, rel=0.01)
    for place, value in (("sheet.count", 14), ("sheet.width", 20.3), ("sheet.height", 25.4)):
        fill(page, place, value)
    expect(page.locator("#met")).to_have_text("Target not met")
    floor = FULL * HELD * 14 * SHEET / (HELD * 14 * SHEET + 5)
    assert number(page, r"cannot get it below ([\d.]+) g/m²") == pytest.approx(floor, rel=0.01)


def test_s16_a_covered_face_costs_four_times(visit: Visit) -> None:
    page = opened(visit, "slab")
    fixed = cases.in_slab_time(300)
    for face, pattern in ((2, "both"), (1, "front")):
        if face == 1:
            fill(page, "vessels.1.open_faces", pattern)
            fill(page, "steps.1.duration", 200.0)
        exact = closed_forms.time_to_fraction(0.015 / FULL, fixed, face) / cases.in_slab_time(60)
        # told in whole minutes; the washer's own film takes some seconds
        assert number(page, r"within (\d+) min") == pytest.approx(exact, abs=1.2)


def test_s19_what_stays_in_the_tray_comes_back(visit: Visit) -> None:
    page = opened(visit, "batch")
    fill(page, "vessels.1.volume", 10.0)
    fill(page, "steps.1.baths", 2.0)
    for puddle in (0.3, 1.0):
        fill(page, "vessels.1.puddle", puddle)
        left = FULL * closed_forms.puddle_changes(14 * SHEET * HELD, 10, puddle, 2)
        # two digits are told
        assert number(page, r"ends at ([\d.]+) g/m²") == pytest.approx(left, rel=0.03)
