"""The page Tonight in a real browser: plans to choose from, the wall sheet, the run."""

from __future__ import annotations

import json
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.apps.evening import ADDRESS, quick
from washsim import wall_page
from washsim.wall_sheet import wall_sheet
from washsim.wording import Style
from washsim_dashboard import share

Visit = Callable[..., Page]
ARTEFACTS = Path(__file__).parents[1] / "artefacts"


def found(page: Page) -> Page:
    """Wait until the search that a visit begins has brought its plans."""
    page.wait_for_selector("body[data-work=found]", timeout=300_000)
    return page


def own(page: Page) -> Page:
    """Choose the visitor's own schedule, the last in the list."""
    page.locator("#choices input").last.check()
    expect(page.locator("#which")).to_have_text("Your own schedule")
    return page


def test_first_paint_shows_the_own_schedule_in_full(visit: Visit) -> None:
    # plans that an earlier visit has found may already be there, the thriftiest shown first
    page = own(visit(ADDRESS))
    expect(page.locator("#lines p").first).to_contain_text("12 L of water")
    expect(page.locator("#front .point")).not_to_have_count(0)
    expect(page.locator("#ledger tr")).to_have_count(4)
    picture = Image.open(BytesIO(page.locator("#ribbon").screenshot())).convert("RGB")
    # a ribbon without residuals would have a handful of colours
    assert len(picture.getcolors(picture.width * picture.height)) > 60


def test_plans_are_found_and_chosen_by_keyboard_and_by_point(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    choices = page.locator("#choices label")
    count = choices.count()
    assert count >= 2
    expect(page.locator("#found")).to_contain_text("meet")
    # the thriftiest plan is shown first, the own schedule stands last in the list
    chosen = page.locator("#choices input:checked")
    expect(chosen).to_have_value(str(count - 2))
    before = page.locator("#lines p").first.inner_text()
    chosen.focus()
    page.keyboard.press("ArrowDown")
    expect(page.locator("#which")).to_have_text("Your own schedule")
    assert page.locator("#lines p").first.inner_text() != before
    expect(page.locator("#choices input:checked")).to_be_focused()
    page.locator(f"#front .point[data-index='{count - 2}']").click()
    expect(page.locator("#which")).to_have_text(f"Plan {count - 1}")
    expect(page.locator("#lines p").first).to_have_text(before)
    # asked for once more, the plans stay, and what was said of them
    told = page.evaluate("document.body.dataset.answer")
    page.locator("#seek").click()
    page.wait_for_function("told => document.body.dataset.answer !== told", arg=told)
    expect(page.locator("#found")).to_contain_text("meet")


def test_a_plan_opens_in_explore(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    href = page.locator("#explore").get_attribute("href")
    assert href is not None
    plan = share.unpack(href.removeprefix("./?s="))
    assert plan.sheet == quick().sheet
    page.locator("#explore").click()
    page.wait_for_selector("#scrub")
    assert page.url.endswith(href.removeprefix("."))


def test_other_things_at_hand_need_other_plans(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    page.get_by_role("spinbutton", name="Sheets", exact=True).fill("5")
    page.keyboard.press("Tab")
    expect(page.locator("#found")).to_contain_text("press Find plans")
    expect(page.locator("#choices label")).to_have_count(1)
    page.get_by_role("spinbutton", name="Time there is").fill("0")
    page.keyboard.press("Tab")
    expect(page.locator("#notice")).to_contain_text("time there is: expected 1 to 1440 min")
    page.locator("#seek").click()
    found(page)
    assert page.locator("#choices label").count() >= 2


def test_a_late_print_is_added_planned_for_and_taken_away(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    page.locator("#add-late").click()
    after = page.get_by_role("spinbutton", name="After it began")
    expect(after).to_have_value("5")
    after.fill("2")
    page.keyboard.press("Tab")
    expect(page.locator("#found")).to_contain_text("press Find plans")
    page.locator("#seek").click()
    found(page)
    expect(page.locator("#choices")).to_contain_text("the late print joins")
    page.locator("#remove-late-1").click()
    expect(after).to_have_count(0)
    expect(page.locator("#choices")).not_to_contain_text("the late print joins")


def test_a_search_can_be_stopped_and_the_page_is_never_frozen(visit: Visit) -> None:
    """The demo has many schedules to try: while they are, the page answers."""
    page = visit("tonight")
    expect(page.locator("#cancel")).to_be_visible()
    page.get_by_role("spinbutton", name="Evenings a year").fill("7")
    page.keyboard.press("Tab")
    expect(page.locator("#ledger")).to_contain_text("year of 7")
    if page.evaluate("document.body.dataset.work") == "working":
        page.locator("#cancel").click()
        expect(page.locator("#found")).to_contain_text("press Find plans")
        expect(page.locator("#seek")).to_be_visible()


def test_the_wall_sheet_is_shown_and_saved(visit: Visit) -> None:
    page = own(found(visit(ADDRESS)))
    page.locator("#sheet").click()
    expect(page.locator("#paper-title")).to_have_text("Wall sheet, one page")
    sheet = page.frame_locator("#preview")
    expect(sheet.locator("h1")).to_have_text(quick().title)
    with page.expect_download() as saved:
        page.locator("#save-html").click()
    path = saved.value.path()
    expected = wall_page.html(wall_sheet(quick(), Style(start=19.5 * 3600)))
    assert Path(path).read_text(encoding="utf-8") == expected
    with page.expect_download() as saved:
        page.locator("#save-text").click()
    assert saved.value.suggested_filename.endswith(".txt")
    page.keyboard.press("Escape")
    expect(page.locator("#paper")).to_be_hidden()


def test_a_plan_is_run_and_found_again(visit: Visit) -> None:
    page = own(found(visit(ADDRESS)))
    expect(page.locator("#going")).to_be_hidden()
    page.locator("#run").click()
    expect(page.locator("#vessels li").first).to_contain_text("fixer")
    assert page.url.endswith("assets/run.html")
    kept = json.loads(page.evaluate("localStorage.getItem('washsim-run')"))
    assert kept["plan"]["title"] == quick().title
    page.locator("#start").click()
    expect(page.locator("#what")).to_contain_text("into fixer F")
    page.get_by_role("link", name="Tonight").click()
    page.wait_for_selector("body[data-answer]")
    expect(page.locator("#going")).to_be_visible()
    # another plan does not push a run aside unasked
    asked: list[str] = []
    page.on("dialog", lambda one: (asked.append(one.message), one.dismiss()))
    page.locator("#run").click()
    assert asked == ["A run is going on. Put this plan in its place?"]
    page.locator("#going").click()
    expect(page.locator("#count")).to_contain_text("1 of")


@pytest.mark.parametrize(("name", "size"), [("wide", (1280, 720)), ("phone", (390, 844))])
def test_a_ribbon_is_read_without_colour(visit: Visit, name: str, size: tuple[int, int]) -> None:
    """Thick above the target, thin under it, hatched in the fixer: in greyscale too."""
    page = own(found(visit(ADDRESS, size)))
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"tonight-found-{name}.png", full_page=True)
    picture = Image.open(BytesIO(page.locator("#ribbon").screenshot())).convert("L")
    paper = picture.getpixel((picture.width - 2, 2))
    # the first print's row of 24 px begins below 30 px of clock
    early = covered(picture, 0.22, paper)
    late = covered(picture, 0.95, paper)
    assert early > 18
    assert 6 <= late <= 12


def covered(picture: Image.Image, share_of_width: float, paper: object) -> int:
    """Pixels of the first row that differ from the paper, at a share of the width."""
    x = round(share_of_width * picture.width)
    return sum(
        abs(int(picture.getpixel((x, y))) - int(paper)) > 40  # type: ignore[arg-type, call-overload]
        for y in range(30, 54)
    )


@pytest.mark.parametrize("size", [(1280, 720), (390, 844)])
def test_s29_residual_silver_is_told_before_any_pass(visit: Visit, size: tuple[int, int]) -> None:
    spent = quick().but({"fixing.sheets_per_litre": 60.0})
    page = visit(f"tonight?s={share.pack(spent)}", size)
    note = page.locator("#press")
    expect(note).to_contain_text("counts as spent")
    expect(note).to_contain_text("residual silver")
    below = note.bounding_box()
    assert below is not None
    for later in ("#found", "#choices", "#lines"):
        box = page.locator(later).bounding_box()
        assert box is not None
        assert box["y"] >= below["y"] + below["height"]
    # the numbers are given all the same
    expect(page.locator("#ledger tr")).to_have_count(4)
    page.get_by_role("spinbutton", name="Sheets fixed before").fill("0")
    page.keyboard.press("Tab")
    expect(note).to_be_hidden()


def test_nothing_below_the_plans_moves_while_new_ones_are_looked_for(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    place = "document.querySelector('.evening').offsetTop"
    before = page.evaluate(place)
    page.get_by_role("spinbutton", name="Time there is").fill("85")
    page.keyboard.press("Tab")
    expect(page.locator("#choices label")).to_have_count(1)
    assert page.evaluate(place) == before
    page.locator("#seek").click()
    page.wait_for_selector("body[data-work=working]")
    assert page.evaluate(place) == before
    found(page)
    expect(page.locator("#choices label")).not_to_have_count(1)
    assert page.evaluate(place) == before


def test_what_a_field_means_is_in_sight_where_it_is_filled_in(visit: Visit) -> None:
    page = visit(ADDRESS)
    for name in ("Time there is", "Fixing time", "Water in it"):
        page.get_by_role("spinbutton", name=name).first.focus()
        expect(page.locator("#meaning")).to_contain_text(name)
        expect(page.locator("#meaning")).to_be_in_viewport(ratio=0.9)


def test_a_time_before_the_own_schedule_ends_is_drawn_too(visit: Visit) -> None:
    """Prints ten minutes apart: the own schedule is over long after the time there is."""
    page = visit(f"tonight?s={share.pack(quick().but({'sheet.interval': 600.0}))}")
    page.get_by_role("spinbutton", name="Time there is").fill("5")
    page.keyboard.press("Tab")
    expect(page.locator("#found")).to_contain_text("press Find plans")
    chart, wall = page.locator("#front").bounding_box(), page.locator("#front .wall")
    drawn = wall.bounding_box()
    assert chart is not None
    assert drawn is not None
    assert chart["x"] < drawn["x"] < chart["x"] + chart["width"]
    page.locator("#seek").click()
    expect(page.locator("#found")).to_contain_text("the last print leaves the fixer 30 min after")


def test_a_saved_wall_sheet_is_named_after_its_plan(visit: Visit) -> None:
    page = found(visit(ADDRESS))
    names = set()
    for choose in ("first", "last"):
        getattr(page.locator("#choices input"), choose).check()
        page.wait_for_function(
            "(own) => document.getElementById('which').textContent.startsWith('Your') === own",
            arg=choose == "last",
        )
        page.locator("#sheet").click()
        with page.expect_download() as saved:
            page.locator("#save-text").click()
        names.add(saved.value.suggested_filename)
        page.locator("#shut").click()
    assert len(names) == 2
