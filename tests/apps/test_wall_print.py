"""The wall sheet printed by a real browser: one page, black on white, large enough to read."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser
from pypdf import PdfReader

from tests.unit.evenings import ALL
from washsim import files, wall_page
from washsim.wall_sheet import wall_sheet
from washsim.wording import Style

ARTEFACTS = Path(__file__).parents[1] / "artefacts"
HALF_PAST_SEVEN = 19.5 * 3600
LONG = {
    "a hundred sheets": files.example("hold_and_changes").but({"sheet.count": 100}),
    "fifty through trays": files.example("transfer").but({"sheet.count": 50}),
}


@pytest.fixture
def printed(browser: Browser) -> Any:
    """Prints a document and keeps an ear on the network."""
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda one: asked.append(one.url))

    def to_pdf(document: str) -> PdfReader:
        page.set_content(document)
        reader = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
        assert asked == []
        return reader

    yield to_pdf
    page.close()


def sizes(reader: PdfReader) -> set[float]:
    """Type sizes on the paper, pt."""
    found = set()

    def visit(text: str, cm: Any, tm: Any, font: Any, size: float) -> None:
        if text.strip():
            # the page's own matrix times the text's: how tall one unit of type is drawn
            found.add(round(abs(size * tm[3] * cm[3]), 2))

    for page in reader.pages:
        page.extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_example_and_method_prints_on_one_page(printed: Any, paper: str) -> None:
    hours = 24 if paper == "a4" else 12
    width, height = wall_page.PAPERS[paper]
    for name, scenario in ALL.items():
        sheet = wall_sheet(scenario, Style(start=HALF_PAST_SEVEN, hours=hours))
        reader = printed(wall_page.html(sheet, paper))
        assert len(reader.pages) == 1, f"{name} on {paper}"
        assert min(sizes(reader)) >= 15.95, f"{name}: type smaller than 16 pt"
        box = reader.pages[0].mediabox
        assert abs(float(box.width) - width) < 1.5
        assert abs(float(box.height) - height) < 1.5


@pytest.mark.parametrize("name", LONG)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_what_does_not_fit_is_split_into_numbered_pages(
    printed: Any, name: str, paper: str
) -> None:
    sheet = wall_sheet(LONG[name], Style(start=HALF_PAST_SEVEN, hours=12))
    promised = len(wall_page.layout(sheet, paper).pages)
    reader = printed(wall_page.html(sheet, paper))
    assert promised > 1
    assert len(reader.pages) == promised
    for number, page in enumerate(reader.pages, start=1):
        assert f"page {number} of {promised}" in page.extract_text()
    assert min(sizes(reader)) >= 15.95


@pytest.mark.parametrize("name", ["hold_and_changes", "transfer"])
def test_black_on_white(browser: Browser, name: str) -> None:
    width, height = wall_page.PAPERS["a4"]
    page = browser.new_page(viewport={"width": round(width / 0.75), "height": round(height / 0.75)})
    page.emulate_media(media="print")
    page.set_content(wall_page.html(wall_sheet(ALL[name], Style(start=HALF_PAST_SEVEN))))
    ARTEFACTS.mkdir(exist_ok=True)
    shot = page.screenshot(path=ARTEFACTS / f"wall-sheet-{name}.png")
    page.close()
    picture = Image.open(BytesIO(shot)).convert("RGB")
    pixels = picture.getcolors(picture.width * picture.height)
    # the edges of letters are smoothed with grey, or on some screens with faint colour
    assert max(pixels)[1] == (255, 255, 255)
    assert min(sum(colour) for _, colour in pixels) == 0
    grey = sum(count for count, colour in pixels if max(colour) - min(colour) < 8)
    assert grey > 0.97 * picture.width * picture.height
