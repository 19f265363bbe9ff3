"""Run mode in a real browser: it counts, it is confirmed, it survives a reload and a dead server."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.apps.conftest import wait_for
from washsim import files
from washsim.wording import Style
from washsim_dashboard import run_mode

ARTEFACTS = Path(__file__).parents[1] / "artefacts"
SEVEN = datetime(2026, 3, 1, 19, 0, 0)
RUN = "assets/run.html"
PLAN = run_mode.plan(files.example("demo"), Style(start=19 * 3600 + 1800))
"""Sheets in at 0, lifted at 1:00, dumps at 11:10, 21:10, ..., out at 61:10."""

Open = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Opens run mode with a plan, on a clock that the test drives."""
    contexts = []

    def go(address: str, plan: Any = PLAN, size: tuple[int, int] = (1280, 720)) -> Page:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        contexts.append(context)
        page = context.new_page()
        page.clock.install(time=SEVEN - timedelta(seconds=1))
        page.clock.pause_at(SEVEN)
        page.goto(address + RUN)
        if plan is not None:
            keep = json.dumps({"plan": plan})
            page.evaluate("text => localStorage.setItem('washsim-run', text)", keep)
            page.reload()
        return page

    yield go
    for context in contexts:
        context.close()


def countdown(page: Page) -> str:
    return f"{page.locator('#when').inner_text()} {page.locator('#countdown').inner_text()}"


def test_the_plan_is_the_evenings_own_moments() -> None:
    """The demo by hand: a minute in the fixer, 10 s of draining, six baths of ten minutes."""
    assert [m["at"] for m in PLAN["moments"]] == [0, 60, *(70 + 600 * k for k in range(1, 7))]
    assert PLAN["moments"][2]["moves"] == ["Dump A, refill 4 L, sheets stay in"]
    assert PLAN["ready"] == ["F = fixer: rapid 1+4, 60 s a sheet", "A = tray: 4 L"]


def test_without_a_plan_it_says_where_to_get_one(opened: Open, address: str) -> None:
    page = opened(address, plan=None)
    expect(page.get_by_text("Choose a plan on the page")).to_be_visible()
    expect(page.locator("#going")).to_be_hidden()


def test_it_counts_down_and_is_driven_by_the_keyboard(opened: Open, address: str) -> None:
    page = opened(address)
    expect(page.locator("#vessels li")).to_have_text(PLAN["ready"])
    page.keyboard.press("Space")
    expect(page.locator("#what")).to_have_text("Sheets 1–14 into fixer F")
    page.keyboard.press("Space")
    page.clock.run_for(19_000)
    expect(page.locator("#what")).to_have_text("Lift sheets 1–14 from F, drain 10 s, into A")
    assert countdown(page) == "in 0:41"
    page.clock.run_for(50_000)
    expect(page.locator("body")).to_have_class("due")
    # fourteen sheets keep hands busy for 94 s: until then the move is due, not late
    assert countdown(page) == "now 0:09"
    page.clock.run_for(100_000)
    assert countdown(page) == "late 1:49"
    page.keyboard.press("Enter")
    expect(page.locator("#next-what")).to_have_text("Dump A, refill 4 L, sheets stay in")


def test_what_is_done_too_early_is_asked_about_once(opened: Open, address: str) -> None:
    page = opened(address)
    page.locator("#start").click()
    # a finger that presses twice does not take the prints out of the fixer
    page.locator("#done").dblclick()
    expect(page.locator("#asked")).to_contain_text("It is due in 1:00. Press again")
    expect(page.locator("#count")).to_have_text("2 of 8")
    page.locator("#done").click()
    expect(page.locator("#count")).to_have_text("3 of 8")
    page.keyboard.press("Space")
    expect(page.locator("#asked")).to_contain_text("It is due in 11:10. Press again")
    expect(page.locator("#count")).to_have_text("3 of 8")
    page.keyboard.press("Space")
    expect(page.locator("#count")).to_have_text("4 of 8")


def test_being_late_moves_the_rest_and_can_be_undone(opened: Open, address: str) -> None:
    """94 s of hands are the plan's own; three minutes more are late."""
    page = opened(address)
    page.locator("#start").click()
    page.locator("#done").click()
    page.clock.run_for((60 + 94 + 180) * 1000)
    page.keyboard.press("Space")
    expect(page.locator("#asked")).to_contain_text("3:00 late: all that follows is moved")
    expect(page.locator("#ends")).to_have_text("ends 20:04, 3:00 later than planned")
    # due at 11:10 + 3:00; now it is 5:34
    assert countdown(page) == "in 8:36"
    page.locator("#undo").click()
    expect(page.locator("#ends")).to_have_text("ends 20:01")
    page.locator("#later").click()
    expect(page.locator("#ends")).to_have_text("ends 20:02, 1:00 later than planned")
    # the space bar never repeats 'later'
    page.keyboard.press("Space")
    expect(page.locator("#count")).to_have_text("3 of 8")


def test_a_reload_goes_on_where_it_was(opened: Open, address: str) -> None:
    page = opened(address)
    page.locator("#start").click()
    page.locator("#done").click()
    page.clock.run_for(65_000)
    page.locator("#done").click()
    page.clock.run_for(120_000)
    before = countdown(page)
    assert before == "in 8:05"
    page.reload()
    expect(page.locator("#count")).to_have_text("3 of 8")
    assert countdown(page) == before


def test_the_whole_evening_ends_with_its_times(opened: Open, address: str) -> None:
    page = opened(address)
    page.locator("#start").click()
    for moment, after in zip(PLAN["moments"], [*PLAN["moments"][1:], None], strict=True):
        page.keyboard.press("Space")
        if after:
            page.clock.run_for((after["at"] - moment["at"]) * 1000)
    expect(page.get_by_role("heading", name="All done")).to_be_visible()
    rows = page.locator("#log tr").all_inner_texts()
    assert len(rows) == 8
    assert rows[0].split("\t")[:2] == ["19:00", "19:00:00"]
    assert rows[-1].split("\t")[:2] == ["20:01", "20:01:10"]
    page.locator("#clear").click()
    page.reload()
    expect(page.locator("#none")).to_be_visible()


def test_it_can_wait_for_the_planned_start(opened: Open, address: str) -> None:
    page = opened(address)
    page.get_by_role("button", name="Start at 19:30").click()
    assert countdown(page) == "in 30:00"
    page.locator("#undo").click()
    expect(page.locator("#start")).to_be_visible()


@pytest.fixture
def mortal() -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A server of its own, to be stopped."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "washsim_dashboard", "--port", str(port), "--no-show"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as server:
        try:
            url = f"http://127.0.0.1:{port}/"
            wait_for(url, server)
            yield url, server
        finally:
            server.kill()


def test_it_keeps_working_when_the_server_is_gone(
    opened: Open, mortal: tuple[str, subprocess.Popen[bytes]]
) -> None:
    address, server = mortal
    page = opened(address)
    page.locator("#start").click()
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    server.kill()
    server.wait()
    with pytest.raises(OSError, match=r"refused"), socket.socket() as probe:
        probe.connect(("127.0.0.1", int(address.rsplit(":", 1)[1].strip("/"))))
    page.locator("#done").click()
    page.clock.run_for(30_000)
    expect(page.locator("#what")).to_contain_text("Lift sheets 1–14 from F")
    assert countdown(page) == "in 0:30"
    # even a reload finds the page, kept by the browser, and the run
    page.reload()
    expect(page.locator("#count")).to_have_text("2 of 8")
    assert countdown(page) == "in 0:30"
    page.keyboard.press("Space")
    expect(page.locator("#count")).to_have_text("3 of 8")


@pytest.mark.parametrize(("name", "size"), [("wide", (1280, 720)), ("phone", (390, 844))])
def test_it_can_be_read_from_afar(
    opened: Open, address: str, name: str, size: tuple[int, int]
) -> None:
    busy = run_mode.plan(files.example("transfer"), Style(start=19 * 3600 + 1800))
    page = opened(address, busy, size)
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"run-ready-{name}.png")
    page.keyboard.press("Space")
    page.clock.run_for(1000)
    page.screenshot(path=ARTEFACTS / f"run-{name}.png")
    for part in ("#countdown", "#done", "#what"):
        box = page.locator(part).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= size[1], f"{part} needs scrolling"
    height = page.evaluate(
        "parseFloat(getComputedStyle(document.getElementById('countdown')).fontSize)"
    )
    assert height >= 110
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    while page.locator("#what li").count() < 8:
        # far ahead of its time, so each moment asks once
        page.keyboard.press("Space")
    page.screenshot(path=ARTEFACTS / f"run-busy-{name}.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_axe_finds_nothing_serious(visit: Open) -> None:
    """On a clock that runs: axe-core waits for timers of the page."""
    page = visit(RUN, ready="#none")
    page.evaluate("text => localStorage.setItem('washsim-run', text)", json.dumps({"plan": PLAN}))
    page.reload()
    for step in ("#start", "#done"):
        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
        page.locator(step).click()
