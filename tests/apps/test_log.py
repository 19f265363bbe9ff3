"""The page Log in a real browser: an evening is saved, corrected, compared, carried away."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import FilePayload, Page, expect

from tests.apps.evening import quick
from washsim import logbook
from washsim.logbook import Entry
from washsim.readings import Drop, Tests
from washsim_dashboard import log_page, main, share

Visit = Callable[..., Page]
TESTS = Tests(title="Invented", readings=(Drop(below=1e-5, blank="clear"),))
ADDRESS = f"log?s={share.pack(quick())}&r={share.pack_readings(TESTS)}"
ARTEFACTS = Path(__file__).parents[1] / "artefacts"


def entry(**given: object) -> Entry:
    return Entry(**({"date": "2026-11-20", "title": "Invented", "scenario": quick()} | given))  # type: ignore[arg-type]


def test_an_evening_is_saved_corrected_compared_and_carried_away(
    visit: Visit, log_folder: Path
) -> None:
    logbook.add(log_folder, entry(tests=TESTS))
    wrong = log_folder / "2026-11-01_by_hand.toml"
    wrong.write_text('format = "washsim-log-1"\nverdct = "open"\n')
    page = visit(ADDRESS)
    expect(page.locator(".fault")).to_contain_text("verdct")
    expect(page.locator("#tonight")).to_contain_text("below 0.01 g/m²")
    count = page.locator("#evenings li").count()
    page.get_by_label("Batch of the paper", exact=True).fill("B7")
    page.keyboard.press("Tab")
    page.locator("#save").click()
    expect(page.locator("#evenings li")).to_have_count(count + 1)
    # newest first, with what the model foretold and its version
    first = page.locator("#evenings li").first
    expect(first).to_contain_text("batch B7")
    expect(first).to_contain_text("model version")
    expect(first).to_contain_text("below 0.01 g/m²")
    before = logbook.entries(log_folder)[0]
    first.get_by_role("button", name="Correct").click()
    expect(page.locator("#correcting")).to_be_visible()
    page.get_by_label("Verdict", exact=True).select_option("accepted")
    page.locator("#save").click()
    expect(first.locator(".verdict")).to_have_text("Accepted")
    expect(page.locator("#evenings li")).to_have_count(count + 1)
    after = logbook.entries(log_folder)[0]
    (new,) = set(after) - set(before)
    assert after[new].replaces in before
    assert after[new].prediction == before[after[new].replaces].prediction
    for n in (0, 1):
        page.locator("#evenings input").nth(n).check()
    page.locator("#compare").click()
    expect(page.locator("#compared")).to_contain_text("Effective diffusivity", timeout=120_000)
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / "log-compared.png", full_page=True)
    with page.expect_download() as saved:
        page.locator("#export").click()
    book = Path(saved.value.path()).read_bytes()
    back: FilePayload = {"name": "book.toml", "mimeType": "text/plain", "buffer": book}
    page.locator("#upload").set_input_files(back)
    expect(page.locator("#state")).to_contain_text("0 new")
    broken: FilePayload = {"name": "mine.toml", "mimeType": "text/plain", "buffer": b"x = "}
    page.locator("#upload").set_input_files(broken)
    expect(page.locator("#notice")).to_contain_text("mine.toml")
    assert wrong.read_text() == 'format = "washsim-log-1"\nverdct = "open"\n'
    wrong.unlink()


def test_where_others_can_reach_the_server_the_log_stays_shut(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setenv("WASHSIM_LOG", str(tmp_path))
    logbook.add(tmp_path, entry(title="Nobody else's business"))
    made = []
    monkeypatch.setattr(log_page, "Session", lambda *given: made.append(given))
    told = {}
    monkeypatch.setattr(
        log_page.layout, "template", lambda name, **given: told.update(name=name, **given)
    )
    main.pages("0.0.0.0")["/log"]()
    assert told == {"name": "log_closed.html", "here": "./log", "roots": {}, "values": {}}
    assert made == []


def test_nothing_is_written_by_a_change_that_is_refused(tmp_path: Path) -> None:
    session = log_page.Session(tmp_path, quick(), Tests())
    for change in (
        {"do": "set", "path": "date", "value": "yesterday"},
        {"do": "compare", "names": ["one"]},
        {"do": "correct", "name": "../../etc/passwd"},
        {"do": "import", "name": "mine.toml", "text": "x = "},
        {"do": "burn"},
    ):
        before = session.entry
        session.take("asked", {}, {"changes": [change]})
        assert session.board.told["error"]
        assert session.entry == before
    assert list(tmp_path.iterdir()) == []
