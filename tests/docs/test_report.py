"""The report on verification shows what the tests compared, and stops where one fails."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]

CHECKS = """
import numpy as np
import pytest

def test_number():
    assert 2.5 == pytest.approx(2.0, rel=0.5)

def test_array():
    assert np.array([1.0, 2.2, 3.0]) == pytest.approx([1.0, 2.0, 3.0], rel=0, abs=0.4)

def test_limit():
    error = 0.25
    assert error < 0.5  # a quarter
"""

ASK = """
import sys
sys.path.insert(0, "docs")
import checks
ran = checks.run_checks(sys.argv[1])
for name, one in ran.checks.items():
    print(name.split("::")[1], one.passed, [(c.expected, c.got, c.allowed, round(c.used, 9))
          for c in one.comparisons], one.bounds)
"""


def ask(tmp_path: Path, text: str) -> subprocess.CompletedProcess[str]:
    """What the recorder says of a file of checks, in a process of its own."""
    file = tmp_path / "test_made_up.py"
    file.write_text(text, encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-c", ASK, str(file)], cwd=ROOT, capture_output=True, text=True
    )


def test_keeps_expected_got_and_allowed(tmp_path):
    """By hand: off by 0.5 of 1 allowed; of the array the middle one, off by 0.2 of 0.4."""
    done = ask(tmp_path, CHECKS)
    assert done.stdout.splitlines() == [
        "test_number True [(2.0, 2.5, 1.0, 0.5)] []",
        "test_array True [(2.0, 2.2, 0.4, 0.5)] []",
        "test_limit True [] [('error < 0.5', '0.25 < 0.5')]",
    ], done.stderr


def test_a_failing_check_stops_the_report(tmp_path):
    done = ask(tmp_path, CHECKS.replace("2.5 ==", "3.5 =="))
    assert done.returncode == 1
    assert "test_number" in done.stderr
    assert not done.stdout
