"""The notebook on test strips runs to its end, and what it prints hangs together."""

from __future__ import annotations

import re
import time
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOK = Path(__file__).parents[2] / "notebooks" / "is_an_hour_enough_for_my_paper.ipynb"
SECONDS = 60
"""It takes about ten here by itself: a fit is three thousand runs."""


@pytest.fixture(scope="module")
def run():
    """The executed notebook and how long it took, s."""
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    start = time.monotonic()
    NotebookClient(notebook, timeout=2 * SECONDS, kernel_name="python3").execute()
    return notebook, time.monotonic() - start


@pytest.fixture(scope="module")
def printed(run):
    outputs = (output for cell in run[0].cells for output in cell.get("outputs", []))
    return "".join(output.text for output in outputs if output.output_type == "stream")


def test_is_committed_small_without_outputs_and_says_it_is_invented():
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(not cell.outputs and cell.execution_count is None for cell in code)
    assert NOTEBOOK.stat().st_size < 20_000
    assert "invented" in notebook.cells[0].source
    assert "poisonous" in notebook.cells[0].source


def test_finishes_in_time(run):
    assert run[1] < SECONDS


def test_steps_of_the_scale_by_hand(printed):
    """94 g/L in (2.45 - 1.20) g on 50 cm2 at 0.9982 g/mL: 0.2505 L/m2."""
    held = 1.25e-3 / 998.2 / 50e-4
    for one_in in (500, 1000, 2000, 5000):
        found = re.search(rf"^1 in +{one_in}: (\d\.\d+) g/m²$", printed, re.MULTILINE)
        assert found is not None
        assert float(found[1]) == pytest.approx(1e3 * 94 * held / one_in, abs=6e-5)


def test_the_reading_narrows_the_band(printed):
    def ends(word):
        found = re.search(rf"^{word} +([\d., e-]+) g/m²", printed, re.MULTILINE)
        assert found is not None
        low, _, high = (float(x) for x in found[1].split(","))
        return high / low

    assert ends("after") < 0.5 * ends("before")


def test_plans_a_strip_and_ends_with_what_to_do(printed):
    assert printed.count("Take a strip that lies with sheet") == 3
    assert re.search(r"^1\. ", printed, re.MULTILINE)


def test_draws_without_asking_the_network(run):
    pages = [
        output.data["text/html"]
        for cell in run[0].cells
        for output in cell.get("outputs", [])
        if output.output_type == "display_data"
    ]
    assert len(pages) == 3
    for page in pages:
        tags = re.findall(r"<(?:script|link|img)\b[^>]*>", page)
        assert not [tag for tag in tags if "src=" in tag or "href=" in tag]
