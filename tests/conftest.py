"""Refuses to collect a check of the physics that does not say where its expected values come from."""

from __future__ import annotations

from pathlib import Path

import pytest

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
