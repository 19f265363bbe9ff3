"""The lessons in a real browser: predict, watch, explain, by mouse, finger and keyboard."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Callable
from io import BytesIO
from unicodedata import normalize
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from washsim import files, lessons
from washsim_dashboard import share

Visit = Callable[..., Page]
WIDE, PROJECTOR, PHONE = (1280, 720), (1920, 1080), (390, 844)
READY = "main"
A4 = (595, 842)
"""Points."""
SMALLEST = 24
"""px, of every word in large type."""


def lesson(name: str) -> str:
    return f"learn?lesson={name}"


def predict(page: Page) -> None:
    """Predict something, whatever is asked."""
    if page.locator("#exact").count():
        page.locator("#exact").fill("12" if "covered" not in page.url else "3")
    elif page.locator("#paper").count():
        draw(page)
    else:
        page.locator("input[name=choice]").first.check(force=True)
    page.locator("#commit").click()
    page.wait_for_selector("[data-stage=observe] .observe:not([hidden])", timeout=20_000)


def draw(page: Page) -> None:
    box = page.locator("#paper svg").bounding_box()
    assert box is not None
    left, width, top = box["x"] + 80, box["width"] - 110, box["y"] + 60
    page.mouse.move(left, top)
    page.mouse.down()
    page.mouse.move(left + width / 2, top + 60, steps=15)
    page.mouse.move(left + width, top + 90, steps=15)
    page.mouse.up()


def explained(page: Page) -> None:
    page.locator("#reveal").click()
    page.wait_for_selector("[data-stage=explain] .explain:not([hidden])")


def test_the_list_leads_to_thirteen_lessons(visit: Visit):
    page = visit("learn", ready=READY)
    assert page.locator(".lessons a.open").count() == 13
    page.locator(".lessons a.open").nth(1).click()
    expect(page.locator("h1")).to_have_text(lessons.lesson("one_litre").title)
    page.get_by_role("link", name="Next lesson").click()
    expect(page.locator("h1")).to_have_text(lessons.lesson("strip").title)


def test_nothing_is_asked_or_shown_before_the_prediction(visit: Visit, heard):
    page = visit(lesson("stream"), ready=READY)
    expect(page.locator("#commit")).to_be_disabled()
    assert not [url for url in heard["requests"] if "answer" in url]
    assert page.locator(".observe, .explain").evaluate_all("all => all.every(one => one.hidden)")


def test_a_number_by_keyboard_alone(visit: Visit, heard):
    page = visit(lesson("covered"), ready=READY)
    page.locator("#exact").focus()
    page.keyboard.type("2.5")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-stage=observe]")
    expect(page.locator("#said")).to_have_text("You said 2.5 times.")
    page.keyboard.press("Space")  # the play button has the focus: it pauses
    expect(page.locator("#play")).to_have_attribute("aria-label", "Play")
    before = page.locator("#clock").text_content()
    page.locator("h1").click()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")  # the first may only go to the end of a frame
    assert page.locator("#clock").text_content() != before
    page.keyboard.press("e")
    expect(page.locator("#told")).to_have_text("You said 2.5 times. The runs say 4.1 times.")
    line = page.locator("#scale svg")
    assert "The runs say 4.1 times, you said 2.5" in (line.get_attribute("aria-label") or "")
    own = line.locator(".own").bounding_box()
    truth = line.locator(".truth").bounding_box()
    assert own
    assert truth
    assert own["x"] < truth["x"]
    assert not [text for text in heard["console"] if text.startswith(("error", "warning"))]


def test_a_number_out_of_range_cannot_be_said(visit: Visit):
    page = visit(lesson("covered"), ready=READY)
    page.locator("#exact").fill("200")
    expect(page.locator("#commit")).to_be_disabled()
    expect(page.locator("#hint")).to_have_text("Between 1 and 10 times.")


def test_a_choice_is_marked_beside_the_right_one(visit: Visit):
    page = visit(lesson("strip"), ready=READY)
    page.keyboard.press("Tab")
    page.locator("input[name=choice]").first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-stage=observe]")
    explained(page)
    rows = page.locator("#scale .votes li b").all_text_contents()
    assert rows == ["", "you", "", "the runs"]


def test_a_drawn_curve_lies_over_the_answer(visit: Visit):
    page = visit(lesson("guest"), ready=READY)
    expect(page.locator("#commit")).to_be_disabled()
    predict(page)
    assert page.locator("#chart .guess").count() == 1
    assert page.locator("#chart .curve").count() == 3
    explained(page)
    assert "you drew" in (page.locator("#told").text_content() or "")


def test_a_curve_can_be_drawn_by_keyboard(visit: Visit):
    page = visit(lesson("guest"), ready=READY)
    page.locator("#paper svg").focus()
    page.keyboard.press("ArrowUp")
    for _ in range(40):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#commit")).to_be_enabled()
    text = page.locator("#paper svg").get_attribute("aria-valuetext") or ""
    assert text.startswith("minute 108: 0.003")
    page.locator("#wipe").click()
    expect(page.locator("#commit")).to_be_disabled()


def test_by_finger_on_a_phone(browser: Browser, address: str):
    context = browser.new_context(
        viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    page.goto(address + lesson("sink"))
    page.locator(".choices label").nth(2).tap()
    page.locator("#commit").tap()
    page.wait_for_selector("[data-stage=observe]")
    page.locator("#tabs label").nth(1).tap()
    expect(page.locator("#tabs input").nth(1)).to_be_checked()
    page.locator("#reveal").tap()
    expect(page.locator("#told")).to_contain_text("So say the runs")
    context.close()


def test_what_has_not_happened_yet_is_covered(visit: Visit):
    page = visit(lesson("stream"), ready=READY)
    page.emulate_media(reduced_motion="reduce")
    predict(page)
    # stands at the beginning: with reduced motion nothing plays by itself
    shown = page.locator("#chart clipPath rect").last.get_attribute("width")
    assert float(shown or 1) < 1
    assert page.locator("#chart .letters").evaluate("one => one.style.display") == "none"
    page.locator("#scrub").focus()
    page.keyboard.press("End")
    assert page.locator("#chart .letters").evaluate("one => one.style.display") == ""


@pytest.mark.parametrize("name", ["stream", "guest", "sink", "coated"])
@pytest.mark.parametrize("size", [WIDE, PROJECTOR, PHONE])
def test_fits_and_asks_nobody_else(visit: Visit, heard, address: str, name: str, size):
    page = visit(lesson(name), size=size, ready=READY)
    assert not sideways(page)
    predict(page)
    assert not sideways(page)
    explained(page)
    assert not sideways(page)
    assert {urlsplit(url).netloc for url in heard["requests"]} == {urlsplit(address).netloc}
    assert not [text for text in heard["console"] if text.startswith(("error", "warning"))]


def sideways(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > window.innerWidth"))


@pytest.mark.parametrize("name", ["stream", "guest", "strip"])
def test_large_type_is_large_everywhere(visit: Visit, name: str):
    page = visit(lesson(name) + "&large=1", size=PROJECTOR, ready=READY)
    assert not small_words(page)
    predict(page)
    assert not small_words(page)
    explained(page)
    assert not small_words(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= PROJECTOR[0]


def small_words(page: Page) -> list[str]:
    """Visible words smaller than SMALLEST."""
    return page.evaluate(
        """smallest => {
          const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
          const found = [];
          while (walker.nextNode()) {
            const { parentElement: box, data } = walker.currentNode;
            if (!data.trim() || box.closest("script, option, [hidden]")) continue;
            const { fontSize, visibility, display } = getComputedStyle(box);
            const seen = box.getClientRects().length && visibility !== "hidden" && display !== "none";
            if (seen && parseFloat(fontSize) < smallest) found.push(`${data.trim()} ${fontSize}`);
          }
          return found;
        }""",
        SMALLEST - 0.5,
    )


@pytest.mark.parametrize("path", ["learn", "teach?lesson=strip", "handout?lesson=strip"])
def test_other_pages_fit_and_are_accessible(visit: Visit, path: str):
    for size in (WIDE, PHONE):
        page = visit(path, size=size, ready=READY)
        page.wait_for_timeout(300)
        assert not sideways(page)
        assert not serious(page)


@pytest.mark.parametrize("name", ["stream", "strip", "guest"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_lessons_are_accessible_in_every_stage(visit: Visit, name: str, theme: str):
    page = visit(lesson(name), ready=READY)
    page.evaluate("theme => { document.documentElement.dataset.theme = theme }", theme)
    assert not serious(page)
    predict(page)
    assert not serious(page)
    explained(page)
    assert not serious(page)


def serious(page: Page) -> list[str]:
    """What the accessibility checker finds serious or worse."""
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {one['nodes'][0]['html'][:120]}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def test_the_teacher_sees_what_the_class_predicts(visit: Visit, address: str):
    page = visit("teach?lesson=bill", ready=READY)
    page.locator("#clear").click()
    expect(page.locator("#tally")).to_have_text("No predictions yet.")
    for voter, number in (("a", 1), ("b", 5)):
        ask(address, {"lesson": "bill", "voter": voter, "predicted": number})
    expect(page.locator("#tally")).to_contain_text("2 predictions: from 1.0 kWh", timeout=10_000)
    assert page.locator("#scale .vote").count() == 2
    expect(page.locator("main")).to_contain_text("Expected: 3.0 kWh")


def ask(address: str, body: object) -> dict:
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    with urllib.request.urlopen(urllib.request.Request(address + "learn/answer", data)) as answer:
        return json.load(answer)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"not json", "as JSON"),
        (b"x" * 60_000, "at most 50000 bytes"),
        ([1], "as JSON"),
        ({"lesson": "stream", "voter": "a"}, "as JSON"),
        ({"lesson": 3, "voter": "a", "predicted": 1}, "the lesson's name"),
        ({"lesson": "streams", "voter": "a", "predicted": 1}, "did you mean 'stream'"),
        ({"lesson": "stream", "voter": "a", "predicted": 99}, "a number from 0 to 40 min"),
    ],
)
def test_a_wrong_request_gets_one_sentence(address: str, body: object, says: str):
    with pytest.raises(urllib.error.HTTPError) as refused:
        ask(address, body)
    assert refused.value.code == 400
    assert says in json.load(refused.value)["error"]


def test_an_unknown_lesson_shows_the_list_and_why(visit: Visit):
    page = visit("learn?lesson=<b>strips</b>", ready=READY)
    expect(page.get_by_role("alert")).to_contain_text("lesson: expected")
    assert page.locator(".wrong b").count() == 0


@pytest.mark.parametrize("name", ["hold_and_changes", "aid"])
def test_the_handout_of_an_evening_is_two_pages_of_paper(visit: Visit, name: str):
    evening = files.example(name)
    page = visit(f"handout?s={share.pack(evening)}", ready=READY)
    paper = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
    first, second = (normalize("NFKC", leaf.extract_text()) for leaf in paper.pages)
    assert evening.title in " ".join(first.split())
    assert "What limited us" in second
    page.get_by_role("link", name="Explore").last.click()
    expect(page.locator("#title")).to_have_text(evening.title)


@pytest.mark.parametrize("name", lessons.names())
def test_the_handout_is_two_pages_of_paper(visit: Visit, address: str, name: str):
    found = lessons.lesson(name)
    if found.predict.kind != "curve":
        for i in range(3):
            predicted = i if found.predict.kind == "choice" else found.predict.low + i
            ask(address, {"lesson": name, "voter": f"voter {i}", "predicted": predicted})
    page = visit(f"handout?lesson={name}", ready=READY)
    paper = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(paper.pages) == 2
    for leaf in paper.pages:
        size = float(leaf.mediabox.width), float(leaf.mediabox.height)
        assert size == pytest.approx(A4, abs=1)
    # the printer joins f and i; NFKC takes them apart
    first, second = (normalize("NFKC", leaf.extract_text()) for leaf in paper.pages)
    assert found.title in first
    assert "The runs say" in first.replace("\n", " ")
    assert "Three questions" in second
    assert "safety data sheets" in second.replace("\n", " ")
