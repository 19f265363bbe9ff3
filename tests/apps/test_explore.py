"""The Explore page in a real browser: what a visitor sees, and what must never happen."""

from __future__ import annotations

import re
from collections.abc import Callable
from io import BytesIO
from itertools import combinations
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from washsim import advice, band, files, helps, solve
from washsim.units import celsius
from washsim_dashboard import doubt, edits, first, inputs, share

DEMO = files.example("demo")

ARTEFACTS = Path(__file__).parents[1] / "artefacts"
SIZES = {"wide": (1280, 720), "large": (1920, 1080), "phone": (390, 844)}


@pytest.fixture(params=["wide"])
def page(visit: Callable[..., Page], request: Any) -> Page:
    return visit("", SIZES[request.param])


def answered(page: Page, number: int) -> None:
    """Wait until the page shows the server's answer of that number; 0 is the first paint."""
    page.wait_for_function(f"Number(document.body.dataset.answer) >= {number}", timeout=20_000)


def settle(page: Page) -> None:
    """Wait until Bokeh has painted what it was given."""
    page.evaluate(
        "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )


def colours(page: Page, place: str) -> int:
    """Different colours in a part of the page."""
    picture = Image.open(BytesIO(page.locator(place).screenshot())).convert("RGB")
    return len(picture.getcolors(picture.width * picture.height))


both_sizes = pytest.mark.parametrize("page", list(SIZES), indirect=True)


@both_sizes
def test_nothing_leaves_the_machine_and_nothing_goes_wrong(
    page: Page, address: str, heard: dict[str, list[str]]
) -> None:
    page.locator("#in-sheets").fill("20")
    answered(page, 1)
    page.locator("#play").click()
    page.wait_for_timeout(500)
    host = address.removeprefix("http://").rstrip("/")
    own = re.compile(rf"(https?|ws)://{re.escape(host)}/|blob:|data:")
    assert heard["requests"], "the listener heard nothing at all"
    assert [url for url in heard["requests"] if not own.match(url)] == []
    assert [line for line in heard["console"] if line.startswith(("error", "warning"))] == []


@both_sizes
def test_first_paint_shows_a_finished_run(page: Page) -> None:
    settle(page)
    expected = advice.sentence(solve.solve(files.example("demo")))
    assert page.locator("#sentence").inner_text() == expected
    assert page.locator("#limit").inner_text().strip()
    # a flat picture has a handful of colours, a profile through the colour map hundreds
    assert colours(page, "#section") > 100
    assert colours(page, "[data-chart=residual]") > 20
    assert colours(page, "[data-chart=water]") > 20
    percents = [text.strip("< ") for text in page.locator(".parts b span").all_inner_texts()]
    assert sum(map(float, percents)) == pytest.approx(100, abs=1.5)


def test_a_slider_changes_what_is_said_and_drawn(page: Page) -> None:
    before = page.locator("#section").screenshot()
    page.locator("#in-fixing_time").fill("300")
    answered(page, 1)
    changed = files.example("demo").but({"fixing.duration": 300.0})
    assert page.locator("#sentence").inner_text() == advice.sentence(solve.solve(changed))
    assert page.locator("#section").screenshot() != before
    page.get_by_role("button", name="Reset fixing time to 60 s").click()
    answered(page, 2)
    expected = advice.sentence(solve.solve(files.example("demo")))
    assert page.locator("#sentence").inner_text() == expected


def test_every_slider_reaches_the_scenario_and_can_be_reset(page: Page) -> None:
    first = page.locator("#sentence").inner_text()
    answers = 0
    for slider in inputs.sliders(DEMO):
        page.locator(f"#in-{slider.name}").fill(f"{slider.high:g}")
        answers += 1
        answered(page, answers)
        assert page.locator("#sentence").inner_text() != first, slider.name
        page.locator(f"[data-control={slider.name}] button").click()
        answers += 1
        answered(page, answers)
        assert page.locator("#sentence").inner_text() == first, slider.name


def test_a_method_is_a_starting_point_with_sliders_of_its_own(page: Page) -> None:
    expect(page.get_by_role("slider", name="Water per bath")).to_be_visible()
    expect(page.locator("#in-flow")).to_have_count(0)
    page.get_by_label("Way of washing").select_option("slots")
    answered(page, 1)
    expect(page.locator("#in-bath_volume")).to_have_count(0)
    expect(page.get_by_role("slider", name="Flow")).to_be_visible()
    expected = advice.sentence(solve.solve(files.with_method(DEMO, "slots")))
    assert page.locator("#sentence").inner_text() == expected


def test_steps_are_edited_by_keyboard_alone(page: Page) -> None:
    def press(name: str) -> None:
        page.get_by_role("button", name=name).focus()
        page.keyboard.press("Enter")

    page.get_by_label("Kind of step to add").focus()
    page.keyboard.press("w")  # the list jumps to what is typed: wash aid
    press("Add a step")
    answered(page, 1)
    heads = page.locator("[data-part=steps] h3")
    expect(heads).to_have_text(["1 Standing baths", "2 Wash aid, each sheet"])
    press("Move up: 2 Wash aid, each sheet")
    answered(page, 2)
    expect(heads).to_have_text(["1 Wash aid, each sheet", "2 Standing baths"])
    assert page.evaluate("document.activeElement.id") == "steps-1-down", "focus goes along"
    press("Duplicate: 2 Standing baths")
    answered(page, 3)
    expect(heads).to_have_count(3)
    press("Remove: 3 Standing baths")
    answered(page, 4)
    page.locator("#f-steps-1-duration").fill("7")
    page.keyboard.press("Tab")
    answered(page, 5)
    aid = edits.apply(DEMO, {"do": "add", "list": "steps", "at": 0, "kind": "aid"})
    expected = edits.apply(aid, {"do": "set", "path": "steps.1.duration", "value": 7})
    assert page.locator("#sentence").inner_text() == advice.sentence(solve.solve(expected))
    for number in range(6, 11):
        page.keyboard.press("Escape")
        press("Undo")
        answered(page, number)
    assert page.locator("#sentence").inner_text() == advice.sentence(solve.solve(DEMO))
    expect(page.locator("#undo")).to_be_disabled()
    expect(heads).to_have_text(["1 Standing baths"])


def test_a_wrong_value_is_told_and_changes_nothing(page: Page) -> None:
    before = page.locator("#sentence").inner_text()
    volume = page.locator("#f-vessels-1-volume")
    volume.fill("-3")
    page.keyboard.press("Tab")
    answered(page, 1)
    expect(page.get_by_role("alert")).to_contain_text("vessel 1, volume: expected 0.05 to 2000 L")
    assert page.locator("#sentence").inner_text() == before
    expect(volume).to_have_value("4")
    volume.fill("5")
    page.keyboard.press("Tab")
    answered(page, 2)
    expect(page.locator("#notice")).to_be_hidden()


def test_hostile_text_is_shown_as_text(page: Page, address: str) -> None:
    hostile = "</title><img src=x onerror=alert(1)><b>{{ 7*7 }}"
    scenario = edits.apply(DEMO, {"do": "set", "path": "title", "value": hostile})
    named = edits.apply(scenario, {"do": "set", "path": "vessels.1.name", "value": hostile})
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.goto(f"{address}?s={share.pack(named)}")
    answered(page, 0)
    assert page.locator("h1").inner_text() == hostile
    assert page.locator("[data-part=vessels] h3").first.inner_text() == hostile
    assert page.locator("main img, .editor img, .notes img").count() == 0
    assert asked == []


def test_the_address_reopens_the_same_scenario(page: Page, browser: Browser, address: str) -> None:
    page.locator("#in-sheets").fill("3")
    answered(page, 1)
    told = page.locator("#sentence").inner_text()
    scenario = DEMO.but({"sheet.count": 3})
    expect(page).to_have_url(f"{address}?s={share.pack(scenario)}")
    other = browser.new_page()
    other.goto(page.url)
    answered(other, 0)
    assert other.locator("#sentence").inner_text() == told
    expect(other.locator("#in-sheets")).to_have_value("3")
    other.goto(f"{address}?s=no-such-thing")
    answered(other, 0)
    expect(other.get_by_role("alert")).to_contain_text("The demo evening is shown instead")
    assert other.locator("#sentence").inner_text() == advice.sentence(solve.solve(DEMO))
    other.close()


def test_files_come_back_the_same(page: Page, tmp_path: Path) -> None:
    page.get_by_label("Way of washing").select_option("row")
    answered(page, 1)
    told = page.locator("#sentence").inner_text()
    page.locator("#keep summary").click()
    with page.expect_download() as kept:
        page.get_by_role("link", name="Scenario file").click()
    path = tmp_path / kept.value.suggested_filename
    kept.value.save_as(path)
    assert files.load(path) == edits.apply(DEMO, {"do": "method", "name": "row"})
    with page.expect_download() as kept:
        page.get_by_role("link", name="Curves").click()
    rows = Path(kept.value.path()).read_text().splitlines()
    assert rows[0].startswith("minutes,")
    assert len(rows) == 1 + DEMO.settings.outputs
    page.locator("#undo").click()
    answered(page, 2)
    page.locator("#keep summary").click()
    page.locator("#upload").set_input_files(path)
    answered(page, 3)
    assert page.locator("#sentence").inner_text() == told
    path.write_text("format = 'washsim-scenario-1'\n[[steps]]\nkind = 'soak'\n")
    page.locator("#upload").set_input_files(path)
    answered(page, 4)
    expect(page.get_by_role("alert")).to_contain_text("kind: expected")
    assert page.locator("#sentence").inner_text() == told


def test_a_damaged_download_address_gets_one_sentence(page: Page, address: str) -> None:
    for name in ("scenario.toml", "curves.csv"):
        answer = page.request.get(f"{address}{name}?s=%3Cscript%3E")
        assert answer.status == 400
        assert answer.headers["content-type"].startswith("text/plain")
        assert answer.text().count("\n") == 1


def test_pictures_are_made_in_the_browser(page: Page, heard: dict[str, list[str]]) -> None:
    page.locator("#keep summary").click()
    asked = len(heard["requests"])
    for name, label in (
        ("section", "Cross-section"),
        ("residual", "Fixer left"),
        ("water", "Fixer in the water"),
    ):
        with page.expect_download() as kept:
            page.get_by_role("button", name=f"{label} as PNG").click()
        picture = Image.open(kept.value.path()).convert("RGB")
        assert picture.width > 400, name
        assert len(picture.getcolors(picture.width * picture.height)) > 20, name
        with page.expect_download() as kept:
            page.get_by_role("button", name=f"{label} as SVG").click()
        root = ElementTree.parse(kept.value.path()).getroot()
        assert root.tag.endswith("svg")
        drawn = {one.tag.rpartition("}")[2] for one in root.iter()}
        assert {"path", "text"} <= drawn, name
        assert DEMO.title in "".join(root.itertext()), name
    # the browser fetches the page's icon when it likes
    later = [url for url in heard["requests"][asked:] if not url.endswith("icon.svg")]
    assert [url for url in later if not url.startswith("blob:")] == []


def test_the_page_prints_in_shades_of_grey(page: Page) -> None:
    # as the browser does around printing
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    settle(page)
    expect(page.locator("img.printed")).to_have_count(2)
    for gone in ("#undo", "#play", "#inputs", ".chart >> nth=0", "#steps-add"):
        expect(page.locator(gone)).to_be_hidden()
    expect(page.locator("#sentence")).to_be_visible()
    ARTEFACTS.mkdir(exist_ok=True)
    page.pdf(path=ARTEFACTS / "explore.pdf")
    page.emulate_media(media="screen")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    expect(page.locator("img.printed")).to_have_count(0)


@both_sizes
def test_three_questions_lead_to_a_run_with_its_assumptions(page: Page) -> None:
    page.get_by_role("button", name="Three questions").click()
    page.get_by_label("sheets", exact=True).fill("6")
    page.get_by_label("A washer with running water").check()
    page.get_by_role("button", name="Make a plan").click()
    answered(page, 1)
    plan = first.plan({"sheets": 6, "size": "8x10", "way": "washer", "minutes": 60})
    told = advice.sentence(solve.solve(plan))
    expect(page.locator("#plan-sentence")).to_have_text(told)
    result = solve.solve(plan)
    helped = helps.sentence(result, helps.helps(result))
    expect(page.locator("#plan-help")).to_have_text(helped)
    page.locator("#assumed a").first.click()
    assert page.evaluate("document.activeElement.id") == "f-sheet-paper"
    expect(page.locator("#f-sheet-paper")).to_be_visible()
    assert page.locator("#sentence").inner_text() == told


def test_what_helps_most_is_told_once_the_slider_rests(page: Page) -> None:
    result = solve.solve(DEMO)
    expected = helps.sentence(result, helps.helps(result))
    expect(page.locator("#help")).to_have_text(expected, timeout=20_000)
    page.locator("#in-baths").fill("2")
    answered(page, 1)
    short = solve.solve(DEMO.but({"steps.1.baths": 2}))
    expected = helps.sentence(short, helps.helps(short))
    expect(page.locator("#help")).to_have_text(expected, timeout=20_000)


def test_the_band_of_what_is_not_known_follows(page: Page) -> None:
    words = doubt.sure(band.solve_band(DEMO))
    expect(page.locator("#sure")).to_have_text(words, timeout=30_000)
    settle(page)
    shown = page.locator("[data-chart=residual]").screenshot()
    page.locator("#in-baths").fill("2")
    answered(page, 1)
    # what was said of another scenario is gone at once
    expect(page.locator("#sure")).to_have_text("…")
    short = doubt.sure(band.solve_band(DEMO.but({"steps.1.baths": 2})))
    assert short != words
    expect(page.locator("#sure")).to_have_text(short, timeout=30_000)
    settle(page)
    assert page.locator("[data-chart=residual]").screenshot() != shown


def test_the_target_in_the_chart_moves_with_the_target(page: Page) -> None:
    def drawn() -> list[float | str]:
        found: list[float | str] = page.evaluate(
            """() => {
              const models = Bokeh.documents[0]._all_models;
              const of = (type) => [...models.values()].filter((one) => one.type === type);
              const line = of("Span").find((one) => one.dimension === "width");
              return [line.location, of("Label").find((one) => /target/.test(one.text)).text];
            }"""
        )
        return found

    assert drawn() == [pytest.approx(0.014), "target 0.014 g/m²"]
    page.locator("#editor summary", has_text="Target").click()
    page.locator("#f-target-preset").select_option("strict")
    answered(page, 1)
    assert drawn() == [pytest.approx(0.007), "target 0.007 g/m²"]


def test_us_units(page: Page, address: str) -> None:
    page.get_by_label("Units").select_option("us")
    answered(page, 1)
    warmth = page.locator("[data-control=temperature] output")
    expect(warmth).to_have_text("68 °F")
    expect(page.locator("[data-control=bath_volume] output")).to_have_text("1.057 gal")
    page.locator("#in-temperature").fill("50")
    answered(page, 2)
    expected = DEMO.but({"water.temperature": celsius(10)})
    minutes = solve.solve(expected).minutes_to_target
    assert f"within {minutes:.0f} min" in page.locator("#sentence").inner_text()
    page.goto(address)
    answered(page, 0)
    expect(warmth).to_have_text("68 °F")


def test_playing_moves_and_sends_nothing(page: Page, heard: dict[str, list[str]]) -> None:
    page.locator("#scrub").focus()
    page.keyboard.press("Home")
    until_quiet(page, heard["sent"])
    places = "() => [...document.querySelectorAll('main *')].filter((one) => one.offsetHeight && !one.closest('.bar, #limit, .readout, .control')).map((one) => one.offsetTop + ' ' + one.offsetHeight)"
    before = page.evaluate(places)
    last = int(page.locator("#scrub").get_attribute("max") or 0)
    for frame in range(0, last, 7):
        page.locator("#scrub").fill(str(frame))
        assert page.evaluate(places) == before, f"something jumped at frame {frame}"
    page.keyboard.press("Home")
    page.locator("#play").click()
    page.wait_for_timeout(1500)
    page.locator("#play").click()
    reached = float(page.locator("#scrub").input_value())
    # ten frames of the run a second; a slow machine draws fewer pictures, not a slower clock
    assert 8 < reached < 25
    assert heard["sent"] == []


def until_quiet(page: Page, sent: list[str]) -> None:
    """Waits until Bokeh has reported its own layout: a second without a message; forgets those."""
    page.wait_for_timeout(1000)
    while sent:
        sent.clear()
        page.wait_for_timeout(1000)


def test_keyboard_drives_the_clock(page: Page) -> None:
    def position() -> float:
        return float(page.locator("#scrub").input_value())

    page.keyboard.press("Home")
    assert position() == 0
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert position() == 2
    page.keyboard.press("ArrowLeft")
    assert position() == 1
    page.keyboard.press("End")
    assert position() == float(page.locator("#scrub").get_attribute("max") or 0) > 100
    page.keyboard.press("Home")
    page.keyboard.press("Space")
    expect(page.locator("#play")).to_have_attribute("aria-label", "Pause")
    page.keyboard.press("Space")
    expect(page.locator("#play")).to_have_attribute("aria-label", "Play")


def test_the_theme_is_remembered(page: Page, address: str) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(ground)
    page.get_by_role("button", name="Dark colours").click()
    dark = page.evaluate(ground)
    assert dark != light
    page.goto(address)
    answered(page, 0)
    assert page.evaluate(ground) == dark


def test_the_curve_scrubs_the_clock(page: Page) -> None:
    box = page.locator("[data-chart=residual]").bounding_box()
    assert box is not None
    middle = box["y"] + box["height"] / 3
    page.mouse.click(box["x"] + 0.8 * box["width"], middle)
    late = float(page.locator("#clock").inner_text())
    page.mouse.click(box["x"] + 0.3 * box["width"], middle)
    early = float(page.locator("#clock").inner_text())
    assert late > early + 20


@both_sizes
def test_layout(page: Page, request: pytest.FixtureRequest) -> None:
    settle(page)
    name = request.node.callspec.params["page"]
    width, height = SIZES[name]
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"explore-{name}.png")
    page.screenshot(path=ARTEFACTS / f"explore-{name}-whole.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    blocks = {}
    parts = (
        ".bar-top .title .answer #section .limit .residual .stairs .where .inputs .editor .notes"
    )
    for part in parts.split():
        box = page.locator(part).bounding_box()
        assert box is not None, f"{part} is not shown"
        assert box["x"] >= 0, part
        assert box["x"] + box["width"] <= width, part
        blocks[part] = box
    for (one, a), (other, b) in combinations(blocks.items(), 2):
        apart = (
            a["x"] + a["width"] <= b["x"] + 0.5
            or b["x"] + b["width"] <= a["x"] + 0.5
            or a["y"] + a["height"] <= b["y"] + 0.5
            or b["y"] + b["height"] <= a["y"] + 0.5
        )
        assert apart, f"{one} lies over {other}"
    if name != "phone":
        seen = ["#section", "#play", ".residual", ".stairs"] + [
            f"#in-{one.name}" for one in inputs.sliders(DEMO)
        ]
        for part in seen:
            box = page.locator(part).bounding_box()
            assert box is not None
            assert box["y"] + box["height"] <= height, f"{part} needs scrolling"


def test_scrub_chart_and_sliders_follow_a_finger(browser: Browser, address: str) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("body[data-answer]")
    hand = context.new_cdp_session(page)

    def drag(place: str, start: float, stop: float) -> None:
        """Along the middle of something, between two shares of its width."""
        page.locator(place).scroll_into_view_if_needed()
        box = page.locator(place).bounding_box()
        assert box

        def touch(kind: str, *shares: float) -> None:
            y = box["y"] + box["height"] / 2
            points = [{"x": box["x"] + share * box["width"], "y": y} for share in shares]
            hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        touch("touchStart", start)
        for step in range(1, 7):
            touch("touchMove", start + (stop - start) * step / 6)
        touch("touchEnd")

    scrub = page.locator("#scrub")
    last = float(scrub.get_attribute("max") or 0)
    drag("#scrub", 0.9, 0.3)
    # the thumb is as wide as a tenth of the bar
    assert float(scrub.input_value()) == pytest.approx(0.3 * last, abs=0.1 * last)
    drag("[data-chart=residual]", 0.4, 0.8)
    page.wait_for_function(f"document.getElementById('scrub').value > {0.6 * last}")
    drag("#in-fixing_time", 0.1, 0.9)
    expect(page.locator("[data-control=fixing_time] output")).to_have_text(re.compile("^5[0-9]0 s"))
    answered(page, 1)
    context.close()
