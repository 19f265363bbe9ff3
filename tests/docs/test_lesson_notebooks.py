"""The lessons' notebooks and the one that builds the solver: up to date, run, and right."""

from __future__ import annotations

import re
import runpy
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
from jupyter_client.manager import KernelManager
from nbclient import NotebookClient

from tests.references import cases, closed_forms
from washsim import lessons

FOLDER = Path(__file__).parents[2] / "notebooks"
GENERATOR = runpy.run_path(str(FOLDER / "generate.py"))
PATHS = {name: FOLDER / GENERATOR["file_name"](lessons.lesson(name)) for name in lessons.names()}
SOLVER = FOLDER / "build_the_solver_yourself.ipynb"
SECONDS = 300
"""For all of them together; about half a minute where the machine has nothing else to do."""


def read(path: Path) -> Any:
    return nbformat.read(path, as_version=4)


@pytest.mark.parametrize("name", lessons.names())
def test_a_lesson_is_as_its_data_say(name: str):
    text = PATHS[name].read_text(encoding="utf-8")
    assert text == GENERATOR["notebook"](lessons.lesson(name)), "python notebooks/generate.py"


@pytest.mark.parametrize("path", [*PATHS.values(), SOLVER], ids=lambda path: path.stem)
def test_is_committed_small_and_without_outputs(path: Path):
    code = [cell for cell in read(path).cells if cell.cell_type == "code"]
    assert code
    assert all(not cell.outputs and cell.execution_count is None for cell in code)
    assert path.stat().st_size < 30_000


@pytest.fixture(scope="module")
def executed() -> Iterator[tuple[dict[str, Any], float]]:
    """All of them run to the end, and how long that took, s.

    One kernel after another notebook's names are wiped from it: starting it takes longer than a
    lesson does.
    """
    kernel = KernelManager(kernel_name="python3")
    kernel.start_kernel()
    start, found = time.monotonic(), {}
    for path in [*PATHS.values(), SOLVER]:
        notebook = read(path)
        notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset -f"))
        NotebookClient(notebook, km=kernel, timeout=SECONDS).execute()
        found[path.stem] = notebook
    yield found, time.monotonic() - start
    kernel.shutdown_kernel(now=True)


def test_all_together_finish_in_time(executed):
    assert executed[1] < SECONDS


def printed(notebook: Any) -> str:
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    assert not [output for output in outputs if output.get("name") == "stderr"]
    return "".join(output.text for output in outputs if output.output_type == "stream")


@pytest.mark.parametrize("name", lessons.names())
def test_a_lesson_prints_the_figures_of_its_page(executed, name: str):
    notebook = executed[0][PATHS[name].stem]
    answer, text = lessons.answer(name), printed(notebook)
    for one in answer.lesson.figures:
        assert f"{one.label}: {answer.words[one.name]}\n" in text
    if answer.number is not None:
        assert f"The runs say {answer.right}\n" in text
    if answer.choice is not None:
        assert f"{answer.choice + 1}. {answer.right}   <- the runs\n" in text
        assert text.count("<- the runs") == 1
    explained = [
        output.data["text/markdown"]
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if "text/markdown" in output.get("data", {})
    ]
    assert answer.explain in explained


@pytest.mark.parametrize("name", lessons.names())
def test_a_lesson_draws_its_runs_and_a_slider_and_fetches_nothing(executed, name: str):
    outputs = [o for cell in executed[0][PATHS[name].stem].cells for o in cell.get("outputs", [])]
    pages = [o.data["text/html"] for o in outputs if "text/html" in o.get("data", {})]
    # Panel's own start page, the picture, the slider with its picture
    drawn = [page for page in pages if "embed_document" in page or "roots" in page]
    assert len(drawn) >= 3
    assert any("Slider" in page for page in drawn)
    for page in pages:
        assert not re.findall(r"<(?:script|link|img)\b[^>]*(?:src|href)=[\"']https?:", page)


def test_the_solver_comes_to_the_closed_form(executed):
    """Crank 1975 eq. 4.17 and 4.18; the notebook's own asserts hold it against washsim."""
    text = printed(executed[0][SOLVER.stem])
    expected = 25 * closed_forms.slab_fixed_then_washed(
        cases.in_slab_time(300), cases.in_slab_time(1800)
    )
    on_paper = re.search(r"^on paper:   (\d\.\d+) g/m2$", text, re.MULTILINE)
    ours = re.search(r"^ 80 slices: (\d\.\d+) g/m2", text, re.MULTILINE)
    assert on_paper
    assert ours
    # six decimals are printed
    assert float(on_paper[1]) == pytest.approx(expected, abs=6e-7)
    # second order: 1e-4 with 80 slices, as the notebook's own table shows
    assert float(ours[1]) == pytest.approx(expected, rel=1e-4)
    held = 14 * 0.203 * 0.254 * 0.25
    load = 25 * closed_forms.slab_fixed_then_washed(cases.in_slab_time(300), 0)
    floor = re.search(r"^floor on paper (\d\.\d+) g/m2", text, re.MULTILINE)
    assert floor
    # the grid's own load is good to 2e-4
    assert float(floor[1]) == pytest.approx(load * held / (held + 10), rel=5e-4)
