"""What holds for every test: where checks take their values from, and who runs beside whom."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

# matrices here are small: more threads only wait for each other (measured: up to 18 times slower)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

HERE = Path(__file__).parent
CHECKS = (HERE / "verification", HERE / "validation")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse silent checks; with `-n 2`, one process drives the browser, the other computes."""
    for item in items:
        # the browser's tests share one served app; elsewhere a file's fixtures serve the whole file
        browser = HERE / "apps" in item.path.parents
        item.add_marker(pytest.mark.xdist_group("browser" if browser else item.path.name))
    refuse_silent(items)


def refuse_silent(items: list[pytest.Item]) -> None:
    """Fail unless every test in the folders of CHECKS has a `source` marker with text."""
    silent = [
        item.nodeid
        for item in items
        if any(folder in item.path.parents for folder in CHECKS)
        and not any(str(text).strip() for mark in item.iter_markers("source") for text in mark.args)
    ]
    if silent:
        raise pytest.UsageError(
            "these tests need @pytest.mark.source('author, title, edition, place') or "
            "('common practice, no source') or ('derived: ...'):\n  " + "\n  ".join(silent)
        )
