"""What an import drags in: the engine and the solver stand on numpy alone."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = {"scipy", "pandas", "panel", "bokeh", "holoviews", "param"}


@pytest.mark.parametrize("module", ["washsim", "washsim.solve", "washsim.files", "washsim.advice"])
def test_nothing_heavy_is_imported(module: str) -> None:
    code = f"import sys, json, {module}; print(json.dumps(sorted(sys.modules)))"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    loaded = {name.split(".")[0] for name in json.loads(shown.stdout)}
    assert module.split(".")[0] in loaded
    assert not loaded & HEAVY
