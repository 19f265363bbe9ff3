"""The benchmark's engine and peers solve the same problems: their answers agree."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import candidates
from tests.benchmarks import problems as bench


def test_one_schedule() -> None:
    """Another integrator on the engine's own nodes, at a hundredth of its usual tolerance."""
    exact = bench.ours(bench.LAYERS[None])[0]
    other = bench.theirs(bench.odeint, 1e-9, family="lobatto")
    assert bench.error(other, exact) < 1e-6  # some hundred steps of 1e-9
    # and the even grid as a space of its own: (k dx)^2 / 12 of the first seconds' front
    assert bench.error(bench.theirs(bench.odeint, 1e-6), exact) < 1e-3


def test_members() -> None:
    papers = bench.members(3)
    together = bench.ours_batch(papers)
    for one, paper in zip(together, papers, strict=True):
        assert bench.error(bench.theirs(bench.odeint, 1e-9, paper, "lobatto"), one) < 1e-6


def test_one_tray() -> None:
    ours, theirs = bench.ours_tray(), bench.theirs_tray(bench.odeint, 1e-8, "lobatto")
    assert ours.shape == (bench.SHEETS, len(bench.OUTPUTS))
    # the last output lies at the end, when the engine has lifted the sheets
    assert bench.error(theirs, ours) < 5e-6
    assert np.all(ours[:, -1] > 0)
    assert ours[0, -1] == pytest.approx(theirs[0, -1], rel=5e-6)


def test_candidates() -> None:
    """The even grid's error at the end, as in the first problem, is some 1e-4."""
    dwells = np.random.default_rng(2).uniform(120.0, 1200.0, (3, candidates.CHANGES))
    for row, ours in zip(dwells, candidates.ours(dwells), strict=True):
        assert candidates.theirs(row) == pytest.approx(ours, rel=2e-3, abs=1e-6)
