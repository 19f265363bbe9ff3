"""The page Log in a real browser: an evening is saved, corrected, compared, carried away."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from bokeh.core.types import ID
from bokeh.util.token import generate_jwt_token
from playwright.sync_api import FilePayload, Page, expect

from tests.apps.conftest import wait_for
from tests.apps.evening import quick
from washsim import logbook
from washsim.logbook import Entry
from washsim.readings import Drop, Tests
from washsim_dashboard import log_page, share

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


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The port of a server that listens to all of this machine's networks."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "washsim", "serve", "--no-browser"]
    surroundings = os.environ | {"WASHSIM_LOG": str(tmp_path_factory.mktemp("kept"))}
    with subprocess.Popen(
        [*command, "--port", str(port), "--address", "0.0.0.0"], env=surroundings
    ) as server:
        try:
            wait_for(f"http://127.0.0.1:{port}/", server)
            yield port
        finally:
            server.terminate()


def asked(port: int, path: str, **headers: str) -> tuple[int, str]:
    """Status and text of what a machine's own address is answered."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request("GET", path, headers=names)
        answer = connection.getresponse()
        # an open socket has no end to read to
        return answer.status, "" if answer.status == 101 else answer.read().decode()
    finally:
        connection.close()


@pytest.mark.parametrize(
    ("headers", "status", "shown"),
    [
        ({}, 101, True),
        ({"Host": "prints.example"}, 403, False),
        ({"X-Forwarded-For": "192.0.2.7"}, 403, False),
        ({"Origin": "http://elsewhere.example"}, 403, True),
        ({"Origin": "http://localhost:1"}, 403, True),
    ],
    ids=("the host itself", "another name", "a relay", "another page", "another port"),
)
def test_an_open_server_shows_its_log_to_the_host_alone(
    opened: int, headers: dict[str, str], status: int, shown: bool
) -> None:
    """The page by who asks; its socket, over which all of the log goes, by whose page asks too."""
    own = {"Host": f"localhost:{opened}", "Origin": f"http://localhost:{opened}"} | headers
    told, page = asked(opened, "/log", **own)
    assert told == (200 if shown else 403)
    assert ("Log: closed to other machines" in page) == (not shown)
    assert ("bokeh" in page) == shown
    assert asked(opened, "/log/autoload.js?bokeh-autoload-element=x", **own)[0] == told
    token = generate_jwt_token(ID("A" * 44))
    upgrade = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==",
        "Sec-WebSocket-Protocol": f"bokeh, {token}",
    }
    assert asked(opened, "/log/ws", **own, **upgrade)[0] == status
    # the other pages are for the class
    if "Origin" not in headers:
        assert asked(opened, "/ws", **own, **upgrade)[0] == 101


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
