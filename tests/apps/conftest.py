"""The app served once, and one Chromium, for all browser tests."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

# a machine that is busy with other work is slow, not wrong
expect.set_options(timeout=20_000)
QUIET = (
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-sandbox",
)


def chromium() -> str:
    """Path of a Chromium; skips the test where there is none, fails it in CI."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = next((path for path in map(shutil.which, names) if path), None)
    if found is None:
        with sync_playwright() as driver:
            found = driver.chromium.executable_path
    if not Path(found).exists():
        message = "no Chromium found: `playwright install chromium` gets one"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(message)
    return found


@pytest.fixture(scope="session")
def log_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the served app keeps its log: not with whoever runs the tests."""
    return tmp_path_factory.mktemp("log")


@pytest.fixture(scope="session")
def address(log_folder: Path) -> Iterator[str]:
    """The app, served by a process of its own on a free port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "washsim_dashboard", "--port", str(port), "--no-show"]
    surroundings = os.environ | {"WASHSIM_LOG": str(log_folder)}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=surroundings
    ) as server:
        try:
            url = f"http://127.0.0.1:{port}/"
            wait_for(url, server)
            yield url
        finally:
            server.terminate()


def wait_for(url: str, server: subprocess.Popen[bytes], seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline and server.poll() is None:
        try:
            urllib.request.urlopen(f"{url}assets/shell.css", timeout=5).close()
            return
        except OSError:
            time.sleep(0.1)
    server.kill()
    output = server.stdout.read().decode() if server.stdout else ""
    pytest.fail(f"the app did not start: {output}")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=path, args=list(QUIET))
        yield started
        started.close()


@pytest.fixture
def heard() -> dict[str, list[str]]:
    """What the page asked of the network, said on the console and sent to the server."""
    return {"requests": [], "console": [], "sent": []}


@pytest.fixture
def visit(
    browser: Browser, address: str, heard: dict[str, list[str]]
) -> Iterator[Callable[..., Page]]:
    """Opens a page of the app and waits for its first paint; all it does is heard."""
    opened = []

    def go(
        path: str = "", size: tuple[int, int] = (1280, 720), ready: str = "body[data-answer]"
    ) -> Page:
        page = browser.new_page(viewport={"width": size[0], "height": size[1]})
        opened.append(page)
        page.on("request", lambda one: heard["requests"].append(one.url))
        page.on("console", lambda one: heard["console"].append(f"{one.type}: {one.text}"))
        page.on("pageerror", lambda error: heard["console"].append(f"error: {error}"))
        page.on(
            "websocket",
            lambda socket: (
                heard["requests"].append(socket.url),
                socket.on("framesent", lambda data: heard["sent"].append(str(data)[:80])),
            ),
        )
        page.goto(address + path)
        page.wait_for_selector(ready, timeout=20_000)
        return page

    yield go
    for page in opened:
        page.close()
