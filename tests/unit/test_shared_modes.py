"""Runs that share what they worked out of a paper end exactly where runs by themselves do."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import files
from washsim.solve import Shared, solve
from washsim.units import celsius

CHANGES: list[dict] = [
    {"fixing.duration": 61.0},
    {"water.temperature": celsius(12)},
    {"steps.1.duration": 500.0, "sheet.count": 9},
    {"vessels.1.volume": 3e-3},
    {"sheet.paper": "fibre_single"},
    {"vessels.1.open_faces": "front"},
    {"fixing.duration": 61.0},
]


@pytest.mark.parametrize("name", ["demo", "late_sheet", "aid"])
def test_shared_modes_change_nothing(name: str) -> None:
    shared: Shared = {}
    for changes in CHANGES:
        scenario = files.example(name).but(changes)
        alone, among = solve(scenario), solve(scenario, shared=shared)
        np.testing.assert_array_equal(among.residual, alone.residual)
        assert among.numerical_error == alone.numerical_error
    assert len({paper for paper, _ in shared}) == 2
    assert all(shared.values())
