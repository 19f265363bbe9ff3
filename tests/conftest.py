"""Refuses to collect checks of the physics that do not say where their values come from."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

# matrices here are small: more threads only wait for each other (measured: up to 18 times slower)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

HERE = Path(__file__).parent
CHECKS = (HERE / "verification", HERE / "validation")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
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
