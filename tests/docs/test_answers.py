"""The computed pages: their scenarios are short, invented and shown; a false claim ends the build."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from washsim import files

ROOT = Path(__file__).parents[2]
QUESTIONS = sorted((ROOT / "docs" / "questions").glob("*.toml"))
FOLDER = ROOT / "docs" / "templates"
TEMPLATES = sorted(FOLDER.rglob("*.md.jinja"))


def answers(code: str) -> subprocess.CompletedProcess[str]:
    """What docs/answers.py says, in a process of its own."""
    begin = 'import sys; sys.path.insert(0, "docs"); import answers; '
    return subprocess.run(
        [sys.executable, "-c", begin + code], cwd=ROOT, capture_output=True, text=True
    )


@pytest.mark.parametrize("path", QUESTIONS, ids=lambda path: path.stem)
def test_each_scenario_is_ten_lines_or_so_invented_and_shown(path):
    text = path.read_text(encoding="utf-8")
    assert files.load(path).title.startswith("Invented: ")
    assert len(text.splitlines()) <= 14
    shown = [page for page in TEMPLATES if f'shown("{path.stem}")' in page.read_text("utf-8")]
    assert shown
    for page in shown:
        assert text in (ROOT / "docs" / page.relative_to(FOLDER).with_suffix("")).read_text(
            encoding="utf-8"
        )


def test_a_change_in_the_words_of_the_file_is_that_change():
    """One litre more a minute, by hand: 60 L more in the hour."""
    done = answers(
        "print(round(answers.run('running', {'vessels.washer.flow_l_min': 5}).litres"
        " - answers.run('running').litres, 9))"
    )
    assert done.stdout.strip() == "60.0", done.stderr


def test_a_claim_that_no_longer_holds_ends_the_build():
    done = answers("answers.claim(True, 'day'); answers.claim(1 > 2, 'one is more')")
    assert done.returncode == 1
    assert "no longer true: one is more" in done.stderr


def test_items_of_a_list_stay_items():
    done = answers("print(answers.tidy('1. one\\n   more\\n2. two ' + 'word ' * 30))")
    lines = done.stdout.splitlines()
    assert lines[0] == "1. one more"
    assert lines[1].startswith("2. two word")
    assert lines[2].startswith("   word")


def test_prose_is_filled_and_tables_and_code_are_not():
    words = "word " * 30
    done = answers(
        f"print(answers.tidy({words!r} + '\\n\\n\\n| a |\\n|---|\\n\\n```\\nx\\n\\n\\ny\\n```'))"
    )
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[2:] == ["", "| a |", "|---|", "", "```", "x", "", "y", "```", ""]
