"""S9, a newcomer: three questions, then a plan with its band, why, and all that was assumed."""

from __future__ import annotations

import re
import time
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from washsim import solve
from washsim_dashboard import first, form

Visit = Callable[..., Page]
SIZES = {"wide": (1280, 720), "phone": (390, 844)}
BUDGET = 60
"""s from the first visit to the plan, as the story says."""

ASKED = ("sheet.count", "sheet.width", "sheet.height", "steps.1.duration", "title")
"""What the three questions ask, and what is named after them."""
NAMES = ("vessels.1.name", "steps.1.vessel")
ACCURACY = ("settings.nodes", "settings.outputs", "settings.accuracy")
"""How finely it is computed; no answer of the printer's depends on it."""
ABSENT = {
    **{"sheet.batches": 1, "water.thiosulfate": 0, "water.heat_price": 0},
    **{"steps.1.begin": "fresh", "steps.1.slots": 1},
    **{"vessels.1.dead_fraction": 0, "vessels.1.pieces": 1},
    # counts in still water alone
    "vessels.1.lying": "loose",
}
"""What is not there at this value, which the list says of all it does not name."""
IDLE = ("vessels.1.flow_loss", "vessels.1.dead_exchange")
"""What counts only together with something absent: a best flow, a dead part."""
OTHER_WAY = {
    "trays": {"vessels.1.flow": 0, "vessels.1.exchange_efficiency": 1},
    "washer": {"vessels.1.puddle": 0},
}

# What every picture holds, ten times a second: the colours on each canvas and the points of a curve.
WATCH = """() => {
  const deep = (root) => [...root.querySelectorAll('*')].flatMap(
    (one) => [one, ...(one.shadowRoot ? deep(one.shadowRoot) : [])]);
  window.seen = { points: Infinity, looks: 0, least: [], most: [] };
  const pictures = new Map(); // canvas: its place in the lists
  setInterval(() => {
    const canvases = deep(document).filter((one) => one.tagName === 'CANVAS' && one.width > 150 && one.height > 100);
    for (const canvas of canvases) {
      const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
      const words = new Uint32Array(data.buffer);
      const found = new Set();
      for (let i = 0; i < words.length; i += 3) found.add(words[i]);
      if (!pictures.has(canvas)) pictures.set(canvas, pictures.size);
      const at = pictures.get(canvas);
      seen.least[at] = Math.min(seen.least[at] ?? Infinity, found.size);
      seen.most[at] = Math.max(seen.most[at] ?? 0, found.size);
    }
    for (const model of Bokeh.documents[0]._all_models.values()) {
      if (model.name === 'curves') seen.points = Math.min(seen.points, ...Object.values(model.data).map((one) => one.length));
    }
    seen.looks += 1;
  }, 100);
}"""


@pytest.mark.parametrize("way", first.WAYS)
def test_all_that_a_first_plan_rests_on_was_asked_or_is_listed(way: str) -> None:
    plan = first.plan({"sheets": 10, "size": "8x10", "way": way, "minutes": 60})
    listed = {one.path: one.words for one in first.assumptions(plan, "metric")}
    absent = ABSENT | OTHER_WAY[way]
    for path, value in form.values(plan, "metric").items():
        if value is None or path in (*ASKED, *NAMES, *ACCURACY, *IDLE):
            continue
        assert path in listed or absent.get(path) == value, f"{path} = {value} is not told"
    assert not set(absent) & set(listed)
    assert listed["handling.drain"] == "each sheet drains 10 s when lifted"
    assert listed["sheet.explanation"] == "why it takes long: both"


@pytest.mark.parametrize("size", SIZES)
def test_s9_three_questions_to_a_plan_in_a_minute_and_no_blank_chart(
    visit: Visit, size: str
) -> None:
    begun = time.monotonic()
    page = visit("", SIZES[size])
    page.evaluate(WATCH)
    page.get_by_role("button", name="Three questions").click()
    page.get_by_label("sheets", exact=True).fill("14")
    page.get_by_label("Trays, water changed by hand").check()
    page.get_by_role("button", name="Make a plan").click()
    plan = first.plan({"sheets": 14, "size": "8x10", "way": "trays", "minutes": 60})
    told = page.locator("#plan")
    expect(told).to_contain_text(f"on {1e3 * solve.solve(plan).litres_total:g} L of water")
    # the band, then three sentences why
    band = r"How sure that is: (\d+ in 100|all|none) of \d+ draws of what nobody has measured"
    expect(told).to_contain_text(re.compile(band))
    expect(page.locator("#plan-limit")).to_contain_text("%")
    expect(page.locator("#plan-help")).not_to_have_text("…")
    assert time.monotonic() - begun < BUDGET
    expect(page.locator("#assumed a")).to_have_count(len(list(first.assumptions(plan, "metric"))))
    page.wait_for_timeout(500)
    seen = page.evaluate("seen")
    assert seen["looks"] > 5
    assert seen["points"] > 50, "a curve was empty"
    # each chart has a second canvas over it, for a pointer's marks: nothing is ever on those
    pictures = [pair for pair in zip(seen["least"], seen["most"], strict=True) if pair[1] > 1]
    assert len(pictures) >= 3, "cross-section, fixer left, fixer in the water"
    # axes and their smoothed figures come to some too, curves and layers to more
    assert min(least for least, _ in pictures) > 20, f"a picture was blank: {pictures}"


def test_every_assumption_leads_to_the_field_that_changes_it(visit: Visit) -> None:
    page = visit("")
    for way in first.WAYS.values():
        page.get_by_role("button", name="Three questions").click()
        page.get_by_label(way).check()
        page.get_by_role("button", name="Make a plan").click()
        expect(page.locator("#title")).to_contain_text(way.lower())
        count = page.locator("#assumed a").count()
        assert count > 15
        for number in range(count):
            page.locator("#assumed a").nth(number).click()
            field = page.locator(":focus")
            expect(field).to_have_attribute("id", re.compile(r"^f-"))
            expect(field).to_be_in_viewport()
            expect(field).to_be_editable()
            # nothing was changed, so the plan still stands when the questions are opened again
            page.get_by_role("button", name="Three questions").click()
            expect(page.locator("#assumed a")).to_have_count(count)
        page.locator("#questions-close").click()
    page.locator("#first").click()
    page.locator("#assumed a").first.click()
    page.locator("#f-sheet-paper").select_option("resin_coated")
    expect(page.locator("#sentence")).to_contain_text("g/m²")
    page.wait_for_function("Number(document.body.dataset.answer) >= 3")
    page.locator("#first").click()
    expect(page.locator("#plan")).to_be_hidden()
