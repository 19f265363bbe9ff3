"""The built site: no warning, no dead link or anchor, and no request that leaves the machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest

ROOT = Path(__file__).parents[2]
HTML = ROOT / "docs" / "site" / "html"
THEME = "https://github.com/pradyunsg/furo"
"""The one address outside: the theme names itself at the foot of each page."""


@pytest.fixture(scope="module")
def site() -> Path:
    """The folder of the site, built afresh."""
    for package in ("sphinx", "myst_parser", "furo", "matplotlib"):
        pytest.importorskip(package, reason=f"{package}: the extra `docs` is not installed")
    # the checks themselves run beside this test: the page lists them here
    done = subprocess.run(
        [sys.executable, "docs/build.py", "--list-checks"], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return HTML


class Links(HTMLParser):
    """What a page points to, what it loads, and where in it one can point."""

    def __init__(self, page: Path) -> None:
        super().__init__()
        self.targets: list[str] = []
        self.loads: list[str] = []
        self.anchors: set[str] = set()
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.anchors.update(given[name] for name in ("id", "name") if name in given)
        if tag == "a" and "href" in given:
            self.targets.append(given["href"])
        elif tag in ("link", "script", "img", "iframe", "source", "object"):
            self.loads += [given[name] for name in ("href", "src", "data") if name in given]


def test_every_link_and_anchor_leads_somewhere(site):
    pages = {path: Links(path) for path in site.rglob("*.html")}
    dead = []
    for path, page in pages.items():
        for link in [*page.targets, *page.loads]:
            if link.startswith("data:") or (link == THEME and link in page.targets):
                continue
            assert "://" not in link, f"{path.name}: {link}"
            file, _, anchor = link.partition("#")
            file = unquote(file.partition("?")[0])
            target = (path.parent / file).resolve() if file else path
            found = target.exists() and (
                not anchor or target not in pages or unquote(anchor) in pages[target].anchors
            )
            if not found:
                dead.append(f"{path.relative_to(site)}: {link}")
    assert not dead
    # every module of the program has a page, and the hand-written pages are all there
    assert len(pages) > 40


def test_each_picture_of_the_gallery_was_made_by_about_ten_lines(site):
    """Imports and empty lines not counted; every script's picture is on the page."""
    page = (site / "gallery" / "index.html").read_text(encoding="utf-8")
    scripts = sorted((ROOT / "docs" / "gallery").glob("*.py"))
    for script in scripts:
        code = script.read_text(encoding="utf-8").split('"""', 2)[2].splitlines()
        lines = [line for line in code if line and not line.startswith(("import", "from"))]
        assert len(lines) <= 12, script.name
        name = script.stem.split("_", 1)[1]
        assert f"{name}.svg" in page
        assert (site / "_images" / f"{name}.svg").stat().st_size > 5000
    assert page.count("<img") == len(scripts)


@pytest.mark.browser
def test_no_request_leaves_the_machine(site):
    """Every page, read from the disk as a reader would, the search included."""
    playwright = pytest.importorskip("playwright.sync_api")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        assert not os.environ.get("CI"), "CI must have a Chromium"
        pytest.skip("no Chromium here")
    asked: list[str] = []
    faults: list[str] = []

    def read() -> None:
        with playwright.sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
            page = browser.new_page()
            page.on("request", lambda request: asked.append(request.url))
            page.on("pageerror", lambda error: faults.append(str(error)))
            for file in sorted(site.rglob("*.html")):
                page.goto(file.as_uri())
            page.goto((site / "search.html").as_uri() + "?q=puddle")
            page.wait_for_selector("ul.search li a")
            browser.close()

    # the browser tests of the app keep a driver of their own in this thread
    with ThreadPoolExecutor(1) as threads:
        threads.submit(read).result()
    assert not faults
    assert len(asked) > 100
    assert not [url for url in asked if not url.startswith(("file:", "data:"))]
