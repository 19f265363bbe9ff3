"""The Class page and the Join page in a real browser, and who can reach a server."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree

import pytest
from playwright.sync_api import Page, expect

from washsim import comparing, side_by_side
from washsim.solve import solve
from washsim_dashboard import join

Visit = Callable[..., Page]


def position(page: Page) -> float:
    return float(page.locator("#scrub").input_value())


def test_it_is_frozen_until_a_prediction_is_chosen(visit: Visit) -> None:
    page = visit("class?question=three_ways")
    # fixed for a minute: frozen as the sheets leave the fixer
    expect(page.locator("#clock")).to_have_text("1.0")
    frozen = position(page)
    for key in ("Space", "End", "ArrowRight", "Home"):
        page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert position(page) == frozen
    for part in ("#race", "#claim", ".transport", ".bottom .chart"):
        expect(page.locator(part)).to_be_hidden()
    expect(page.get_by_role("button", name="D", exact=True)).to_be_hidden()
    page.keyboard.press("d")  # there is no fourth schedule
    assert position(page) == frozen
    page.keyboard.press("c")
    page.wait_for_timeout(500)
    assert position(page) > frozen
    expect(page.locator("#said")).to_have_text("Predicted: C first.")
    expect(page.locator("#race")).to_be_hidden()


def test_the_answer_comes_at_the_end_in_the_words_of_the_runs(visit: Visit) -> None:
    page = visit("class?question=strip_and_batch")
    page.get_by_role("button", name="all alike").click()
    page.keyboard.press("End")
    found = comparing.question("strip_and_batch")
    results = [solve(one) for one in found.scenarios]
    expect(page.locator("#race")).to_have_text(side_by_side.race(results))
    expect(page.locator("#claim")).to_have_text(found.claim)
    expect(page.locator("#said")).to_have_text("Predicted: all alike.")
    expect(page.locator(".under")).to_have_count(1)


def test_the_answer_can_be_asked_for_and_the_question_put_again(visit: Visit) -> None:
    page = visit("class")
    page.keyboard.press("a")
    page.get_by_role("button", name="Show the answer").click()
    expect(page.locator("#race")).to_be_visible()
    page.keyboard.press("r")
    expect(page.locator("#race")).to_be_hidden()
    expect(page.locator("#prompt")).to_be_visible()
    frozen = position(page)
    page.keyboard.press("Space")
    page.wait_for_timeout(200)
    assert position(page) == frozen


def test_the_curve_ahead_is_covered(visit: Visit) -> None:
    page = visit("class?question=short_fix")
    page.keyboard.press("a")
    page.keyboard.press("Space")
    covers = "[...Bokeh.documents[0]._all_models.values()].filter(m => m.type === 'BoxAnnotation' && m.level === 'overlay')"
    state = page.evaluate(f"{covers}.map(m => [m.visible, m.left])")
    minute = float(page.locator("#clock").inner_text())
    assert state[0][0] is True
    assert state[0][1] == pytest.approx(minute, abs=0.5)
    page.keyboard.press("End")
    assert page.evaluate(f"{covers}.map(m => m.visible)") == [False]


def test_keys_turn_the_pages(visit: Visit) -> None:
    page = visit("class")
    names = comparing.questions()
    for key, name in (("PageDown", names[1]), ("PageUp", names[0]), ("PageUp", names[-1])):
        page.keyboard.press(key)
        expect(page.locator("#asks")).to_have_text(comparing.question(name).asks)
        # the address follows once the choice rests
        expect(page).to_have_url(re.compile(rf"\?question={name}$"))


@pytest.mark.parametrize(("size", "least"), [((1280, 720), 24), ((390, 844), 20)])
def test_all_words_are_large(visit: Visit, size: tuple[int, int], least: int) -> None:
    """On a projector for the last row, on a phone as large as four cards beside it leave room."""
    page = visit("class?question=with_aid", size)
    sizes = """[...document.querySelectorAll('main *')].filter(one =>
        one.checkVisibility() && [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
        .map(one => [one.className, parseFloat(getComputedStyle(one).fontSize)])"""
    small = [found for found in page.evaluate(sizes) if found[1] < least]
    page.keyboard.press("a")
    page.keyboard.press("End")
    small += [found for found in page.evaluate(sizes) if found[1] < least]
    assert small == []


def test_on_this_machine_alone_join_says_so(visit: Visit) -> None:
    page = visit("join", ready=".about")
    expect(page.locator("main")).to_contain_text("Only this machine can reach the app")
    expect(page.locator("main")).to_contain_text("washsim serve --address 0.0.0.0")
    expect(page.locator(".qr")).to_have_count(0)


@pytest.mark.parametrize(
    ("listening", "hosts"),
    [
        ("127.0.0.1", ()),
        ("localhost", ()),
        ("::1", ()),
        ("192.168.1.20", ("192.168.1.20",)),
        ("0.0.0.0", ("10.0.0.7",)),
        ("::", ("10.0.0.7",)),
    ],
)
def test_hosts_that_a_class_can_use(
    monkeypatch: pytest.MonkeyPatch, listening: str, hosts: tuple[str, ...]
) -> None:
    monkeypatch.setattr(join, "network_addresses", lambda: ("10.0.0.7",))
    assert join.reachable(listening) == hosts


def test_no_network_address_is_a_loopback() -> None:
    for one in join.network_addresses():
        assert re.fullmatch(r"\d+(\.\d+){3}", one)
        assert not one.startswith("127.")


@pytest.mark.parametrize(
    ("header", "port"),
    [("10.0.0.7:5006", 5006), ("darkroom", 80), ("[::1]:81", 81), ("x:99999", 80), ("x:<b>", 80)],
)
def test_the_port_is_the_one_the_browser_used(header: str, port: int) -> None:
    assert join.port(header) == port


def test_addresses_are_written_as_typed() -> None:
    assert join.url("10.0.0.7", 5006) == "http://10.0.0.7:5006/class"
    assert join.url("fe80::1", 80) == "http://[fe80::1]:80/class"


def test_the_code_is_a_picture_of_the_page_itself() -> None:
    picture = join.code("http://10.0.0.7:5006/class")
    root = ElementTree.fromstring(picture)
    # 26 characters at the middle level of correction: version 2, 25 modules and the quiet zone
    assert root.attrib["viewBox"] == f"0 0 {8 * (25 + 2 * 4)} {8 * (25 + 2 * 4)}"
    assert root.findtext("{*}title") == "QR code of http://10.0.0.7:5006/class"
    assert "http" not in picture.replace("QR code of http", "").replace("http://www.w3.org", "")
