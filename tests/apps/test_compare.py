"""The Compare page in a real browser."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from washsim import comparing, files, side_by_side
from washsim.solve import solve
from washsim_dashboard import arms, share

Visit = Callable[..., Page]


def answered(page: Page, number: int) -> None:
    page.wait_for_function(f"Number(document.body.dataset.answer) >= {number}", timeout=20_000)


def left(page: Page) -> list[float]:
    """g/m2 that each visible card shows."""
    return [
        float(text.strip("< ")) for text in page.locator(".arm:visible .left").all_inner_texts()
    ]


@pytest.mark.parametrize("name", comparing.questions())
def test_each_question_opens_finished_and_says_what_its_runs_say(visit: Visit, name: str) -> None:
    page = visit(f"compare?question={name}")
    found = comparing.question(name)
    results = [solve(one) for one in found.scenarios]
    assert page.locator("#asks").inner_text() == found.asks
    assert page.locator("#verdict").inner_text() == side_by_side.verdict(results)
    titles = page.locator(".arm:visible .title").all_inner_texts()
    assert titles == [one.title for one in found.scenarios]
    rows = page.locator("#rows").inner_text()
    for row in [*side_by_side.differences(found.scenarios), *side_by_side.outcomes(results)]:
        assert row.what in rows
    page.keyboard.press("End")
    for shown, result in zip(left(page), results, strict=True):
        # two figures, and four decimals
        assert shown == pytest.approx(1e3 * result.worst_residual, rel=0.06, abs=6e-5)


def test_all_pictures_move_on_one_clock(visit: Visit) -> None:
    page = visit("compare?question=three_ways")
    page.keyboard.press("Home")
    expect(page.locator("#clock")).to_have_text("0.0")
    pictures = [page.locator(".arm:visible canvas").nth(i) for i in range(3)]
    before = [one.screenshot() for one in pictures]
    page.locator("#play").click()
    page.wait_for_timeout(1500)
    page.locator("#play").click()
    reached = float(page.locator("#scrub").input_value())
    assert reached > 5
    assert all(one.screenshot() != was for one, was in zip(pictures, before, strict=True))
    minute = arms.race(comparing.question("three_ways")).told["clock"][int(reached)]
    assert float(page.locator("#clock").inner_text()) == pytest.approx(minute, abs=0.6)


def test_a_schedule_that_has_ended_waits_for_the_others(visit: Visit) -> None:
    page = visit("compare?question=forgotten")
    page.keyboard.press("End")
    assert page.locator(".arm .place").all_inner_texts()[:3] == ["finished", "finished", "tray"]


def test_playing_sends_nothing(visit: Visit, heard: dict[str, list[str]]) -> None:
    page = visit("compare")
    # Bokeh reports its own layout once when the page comes up; wait that out
    page.wait_for_timeout(1000)
    heard["sent"].clear()
    page.locator("#play").click()
    page.wait_for_timeout(1000)
    assert heard["sent"] == []


def test_another_question_and_ways_of_ones_own_by_the_keyboard(visit: Visit) -> None:
    page = visit("compare")
    page.get_by_label("Question").select_option("winter_tap")
    answered(page, 1)
    # the address follows once the choice rests
    expect(page).to_have_url(re.compile(r"\?question=winter_tap$"))
    expect(page.locator(".arm:visible")).to_have_count(2)
    expect(page.locator("#ways")).to_be_hidden()
    page.get_by_label("Question").select_option("own")
    answered(page, 2)
    expect(page.get_by_label("Way A")).to_be_visible()
    page.get_by_label("Way D").focus()
    # each letter chooses already; what is shown in the end is what was chosen last
    page.keyboard.type("Sea")
    page.wait_for_url("**/compare?ways=as_it_stands,slots,changes,sea", timeout=20_000)
    expect(page.locator(".arm:visible")).to_have_count(4)
    page.reload()
    page.wait_for_selector("body[data-answer]")
    assert page.get_by_label("Way D").input_value() == "sea"
    found = comparing.ways(files.example("demo"), ["as_it_stands", "slots", "changes", "sea"])
    assert page.locator("#verdict").inner_text() == side_by_side.verdict(
        [solve(one) for one in found.scenarios]
    )


def test_curves_differ_in_dash_and_letter(visit: Visit) -> None:
    page = visit("compare?question=which_way_up")
    dashes = page.evaluate(
        "[...document.querySelectorAll('.arm:not([hidden]) .sample path')]"
        ".map(one => getComputedStyle(one).strokeDasharray)"
    )
    assert len(set(dashes)) == 4
    assert page.locator(".arm:visible .letter").all_inner_texts() == ["A", "B", "C", "D"]


def test_nonsense_in_the_address_is_text_in_one_sentence(visit: Visit) -> None:
    page = visit(
        "compare?question=%3Cimg%20src%3Dx%20onerror%3D%22document.title%3D%27hit%27%22%3E"
    )
    expect(page.get_by_role("alert")).to_contain_text("got '<img src=x")
    assert page.title() != "hit"
    assert page.locator("#asks").inner_text() == comparing.question(arms.FIRST).asks


def test_the_batch_of_explore_is_carried_along_and_back(visit: Visit) -> None:
    mine = files.example("strip").but(title="<i>mine</i>")
    page = visit(f"?s={share.pack(mine)}")
    # the address is written a moment after the page is there
    page.wait_for_selector("a[href^='./compare?s=']")
    page.get_by_role("link", name="Compare").click()
    page.wait_for_function("document.querySelectorAll('.arm:not([hidden])').length === 3")
    assert page.locator("#batch").inner_text() == "<i>mine</i>"
    assert left(page)
    expect(page.locator(".arm:visible .title").first).to_have_text("As it stands")
    page.wait_for_selector("nav a[href^='./?s=']")
    page.get_by_role("link", name="Explore").click()
    expect(page.locator("#title")).to_have_text("<i>mine</i>")


def test_the_visitors_units_are_in_the_words(visit: Visit) -> None:
    page = visit("compare?question=winter_tap")
    page.get_by_label("Units").select_option("us")
    expect(page.locator("#rows")).to_contain_text("44.6 °F")


def test_how_sure_it_is_follows_in_rows_that_were_there(visit: Visit) -> None:
    page = visit("compare?question=strip_and_batch")
    rows = page.locator("#rows tr")
    count = rows.count()
    met = rows.filter(has_text="under the target, of 100 draws").locator("td").first
    expect(met).to_have_text(re.compile(r"\d"), timeout=60_000)
    assert rows.count() == count
    assert "…" not in page.locator("#rows").inner_text()
