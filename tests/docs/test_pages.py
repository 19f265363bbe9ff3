"""The documents: generated ones are up to date, links lead somewhere, commands agree."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.references import cases, closed_forms
from washsim import files, schema

ROOT = Path(__file__).parents[2]
SITE = ROOT / "docs" / "site"
PAGES = sorted(
    [*ROOT.glob("*.md"), *(p for p in ROOT.glob("docs/**/*.md") if SITE not in p.parents)]
)


def test_generated_pages_are_up_to_date():
    done = subprocess.run(
        [sys.executable, "docs/generate.py", "--check"], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, f"run: python docs/generate.py ({done.stdout}{done.stderr})"


def test_published_schema_is_the_programs():
    published = json.loads((ROOT / "docs" / "scenario.schema.json").read_text(encoding="utf-8"))
    assert published == schema.schema()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files(page):
    text = page.read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)#]+)", text):
        assert "://" not in link, f"{link}: works are cited by author, title, year"
        assert (page.parent / link).exists(), link


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_anchors_in_a_page_exist(page):
    text = page.read_text(encoding="utf-8")
    headings = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    # as Markdown makes them: lower case, spaces to hyphens, other signs gone
    anchors = {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}
    assert set(re.findall(r"\]\(#([^)]+)\)", text)) <= anchors


def test_every_decision_is_numbered_once():
    names = sorted(path.name for path in (ROOT / "docs" / "decisions").glob("[0-9]*.md"))
    assert [int(name.split("-")[0]) for name in names] == list(range(1, len(names) + 1))


def test_ci_runs_the_test_command_of_the_readme():
    """It greps the line with -m pytest: there must be one, which installs [test]."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    commands = [line for line in lines if "-m pytest" in line]
    assert len(commands) == 1
    assert "python3 -m venv .venv && " in commands[0]
    assert "-e '.[test]'" in commands[0]
    assert "grep -m 1 -- '-m pytest' README.md" in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_scenario_files_named_in_commands_are_examples(page):
    for name in re.findall(r"washsim\s+example[ \n](\w+)", page.read_text(encoding="utf-8")):
        assert name in files.examples()


def test_table_of_one_litre_is_arithmetic():
    """The job guide's table against 25 (1 + E)^-n, E = litres of a bath over held litres."""
    text = (ROOT / "docs" / "job.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d)(?: equal)? baths? \| ([\d.]+) \| ([\d.]+) \|$", text, re.MULTILINE)
    assert [int(row[0]) for row in rows] == [1, 2, 3, 4]
    held = 0.25 * cases.SHEET_AREA
    for row in rows:
        baths = int(row[0])
        left = 25 * closed_forms.cross_current(1 / baths / held, baths)
        assert row[1] == f"{left:.{len(row[1]) - 2}f}"
        litres = baths * held * ((25 / 0.015) ** (1 / baths) - 1)
        assert row[2] == f"{litres:.3g}" or row[2] == f"{litres:.2f}"
