"""Style, types and floors of the house, by the tools that know them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINT_IMPORTS = "from importlinter.cli import lint_imports_command; lint_imports_command()"


@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "check", "--output-format", "concise", "."],
        ["-m", "ruff", "format", "--check", "--output-format", "concise", "."],
        ["-m", "mypy", "--no-error-summary"],
        ["-c", LINT_IMPORTS],
    ],
    ids=["ruff check", "ruff format", "mypy", "lint-imports"],
)
def test_house_rules(command):
    done = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True)
    if done.returncode:
        # a long list of faults says no more than its beginning
        pytest.fail((done.stdout + done.stderr)[:4000], pytrace=False)
