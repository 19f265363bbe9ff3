"""The page Tests in a real browser: a reading is told, learnt from, kept and opened again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import FilePayload, Page, expect

from tests.apps.evening import quick
from tests.stories import bench
from tests.stories.test_readings import HOUR, RUNNING
from washsim import files, readings
from washsim.readings import Drip, Drop, Laboratory
from washsim_dashboard import share, tests_form

Visit = Callable[..., Page]
ADDRESS = f"tests?s={share.pack(quick())}"
ARTEFACTS = Path(__file__).parents[1] / "artefacts"


def changed(page: Page, act: Callable[[], object]) -> None:
    """Do something that the server answers, and wait for the answer."""
    before = page.locator("body").get_attribute("data-answer")
    act()
    expect(page.locator("body")).not_to_have_attribute("data-answer", str(before))


def test_a_reading_is_told_learnt_from_kept_and_opened_again(visit: Visit) -> None:
    page = visit(ADDRESS)
    page.wait_for_selector("body[data-work=found]")
    expect(page.locator("#next")).to_contain_text("Take a strip that lies with sheet")
    expect(page.locator("#patches li")).to_have_count(7)
    # read between the second and the third step: far above what resin-coated prints can hold
    changed(page, lambda: page.get_by_label("Lighter than step", exact=True).select_option("2"))
    changed(page, lambda: page.get_by_label("Darker than step", exact=True).select_option("3"))
    page.locator("#learn").click()
    expect(page.locator("#cancel")).to_be_visible()
    expect(page.locator("#scores")).to_contain_text("disagrees")
    expect(page.locator("#scores")).to_contain_text("no mishap that was tried leads to it")
    page.wait_for_selector("body[data-work=found]", timeout=300_000)
    expect(page.locator("#state")).to_contain_text("of 100 draws")
    expect(page.locator("#learnt .warning")).to_contain_text("do not trust this fit")
    expect(page.locator("#learnt")).to_contain_text("Minutes to the target")
    expect(page.locator("#decisions li")).not_to_have_count(0)
    expect(page.locator("#explained")).to_contain_text("Share of the evidence")
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / "tests-learnt.png", full_page=True)
    with page.expect_download() as saved:
        page.locator("#save").click()
    kept = readings.load(saved.value.path())
    (drop,) = kept.readings
    assert isinstance(drop, Drop)
    assert (drop.lighter_than, drop.darker_than) == (2, 3)
    # the address carries the readings; a wrong file changes nothing, a right one does
    page.reload()
    page.wait_for_selector("body[data-answer]")
    expect(page.get_by_label("Lighter than step", exact=True)).to_have_value("2")
    wrong: FilePayload = {"name": "mine.toml", "mimeType": "text/plain", "buffer": b"format = 3"}
    changed(page, lambda: page.locator("#upload").set_input_files(wrong))
    expect(page.locator("#notice")).to_contain_text("mine.toml")
    expect(page.get_by_label("Lighter than step", exact=True)).to_have_value("2")
    other = readings.dumps(readings.Tests(title="Other", readings=(Drop(below=1e-5),))).encode()
    right: FilePayload = {"name": "other.toml", "mimeType": "text/plain", "buffer": other}
    changed(page, lambda: page.locator("#upload").set_input_files(right))
    expect(page.locator("#named")).to_have_text("Other")
    expect(page.locator("#patches li")).to_have_count(0)


def test_causes_come_first_and_what_was_learnt_is_carried_on(visit: Visit) -> None:
    """S8: 0.0018 foretold, read between 0.012 and 0.024: causes, then a refit near 2.1e-11."""
    slab = files.loads(bench.scenario("slab", RUNNING, sheet="count = 1"))
    page = visit(f"tests?s={share.pack(slab)}&r={share.pack_readings(HOUR)}")
    page.wait_for_selector("body[data-work=found]")
    page.set_viewport_size({"width": 390, "height": 844})
    # in reach of a thumb, wherever the form stands
    expect(page.locator("#learn")).to_be_in_viewport()
    page.locator("#learn").click()
    expect(page.locator("#scores")).to_contain_text("look into this before the fit is believed")
    causes = page.locator("#scores li")
    expect(causes.first).to_contain_text("no blank was dropped")
    expect(causes.nth(1)).to_contain_text("a face covered for 21 min of step 1")
    expect(causes.nth(1)).to_contain_text("a run shows that it can be")
    page.wait_for_selector("body[data-work=found]", timeout=60_000)
    expect(page.locator("#learnt")).to_contain_text("Effective diffusivity")
    told = page.locator("#learnt tr", has_text="Effective diffusivity").locator("td").last
    assert float(told.inner_text().split()[0]) == pytest.approx(2.1, abs=0.3)
    page.locator("#see").click()
    carried = page.get_by_role("link", name="Plan tonight with it").get_attribute("href")
    assert carried is not None
    learnt = share.unpack(carried.partition("?s=")[2]).sheet.known
    assert learnt is not None
    assert learnt.middle("paper.hindrance") == pytest.approx(0.7, abs=0.1)
    # readings begin from the tables again: the same drop would count twice
    page = visit(carried.replace("./tonight", "tests"))
    expect(page.locator(".aside")).to_contain_text("set aside")


def test_work_can_be_given_up(visit: Visit) -> None:
    page = visit("tests")
    page.locator("#learn").click()
    page.locator("#cancel").click()
    expect(page.locator("#learn")).to_be_visible()
    expect(page.locator("#state")).to_contain_text("press Learn")


def test_a_drop_says_between_nothing_visible_and_off_the_scale() -> None:
    scenario = quick()
    tests = tests_form.invented(scenario)

    def put(name: str, value: object) -> Drop:
        nonlocal tests
        change = {"do": "set", "path": f"readings.1.{name}", "value": value}
        tests = tests_form.apply(tests, change, scenario, "metric")
        one = tests.readings[0]
        assert isinstance(one, Drop)
        return one

    assert (put("seen", "none").lighter_than, put("seen", "none").darker_than) == (6, None)
    assert (put("seen", "off").lighter_than, put("seen", "off").darker_than) == (None, 1)
    put("seen", "between")
    known = put("scale", "known")
    steps = tests.ladder.residuals(scenario) if tests.ladder else ()
    assert (known.below, known.above) == (steps[4], steps[5])
    # 0.024 g/m² is 2.4e-5 kg/m²
    assert put("below", 0.024).below == pytest.approx(2.4e-5, rel=1e-12)
    assert put("seen", "none").above is None


def test_laboratory_drip_and_weights_are_told() -> None:
    scenario = quick()
    tests = tests_form.invented(scenario)
    for change in (
        {"do": "add", "kind": "laboratory"},
        {"do": "set", "path": "readings.2.reported", "value": "below"},
        {"do": "add", "kind": "drip"},
        {"do": "set", "path": "readings.3.colour", "value": "fades"},
        {"do": "set", "path": "ladder.held", "value": "weighed"},
    ):
        tests = tests_form.apply(tests, change, scenario, "metric")
    labels = [one["label"] for one in tests_form.shape(tests, scenario, "us")["ladder"]["fields"]]
    # nobody has weighed it yet
    assert labels[-2:] == ["Strip dry (estimate)", "Strip wet (estimate)"]
    for change in (
        {"do": "set", "path": "ladder.dry", "value": 1.0},
        {"do": "set", "path": "ladder.wet", "value": 2.0},
    ):
        tests = tests_form.apply(tests, change, scenario, "metric")
    labels = [one["label"] for one in tests_form.shape(tests, scenario, "us")["ladder"]["fields"]]
    assert labels[-2:] == ["Strip dry", "Strip wet, blotted"]
    _, laboratory, drip = tests.readings
    assert isinstance(laboratory, Laboratory)
    assert isinstance(drip, Drip)
    assert (laboratory.residual, drip.colour) == (None, "fades")
    assert tests.ladder is not None
    # 1 g of water at 20 °C, 998.2 kg/m³, on 5 cm by 10 cm
    assert tests.ladder.held_liquid(scenario) == pytest.approx(1e-3 / 998.2 / 0.005, rel=1e-4)
