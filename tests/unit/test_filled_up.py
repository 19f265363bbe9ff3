"""The explanation in which what holds fixer fills up, from a scenario to its result."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import files, tables
from washsim.papers import Sheet
from washsim.recipes import Bath
from washsim.solve import solve

ION = 112.126  # g/mol


def test_the_pool_is_what_a_sheet_holds_in_the_reference_fixer():
    """The same amount as in the explanation 'both', by the law itself."""
    reference = 967 * ION * 1e-3
    pools = {}
    for why in ("both", "saturating"):
        layers = Sheet(explanation=why).material.layers
        filled = [1 / (1 + reference / x.saturation) if x.saturation else 1.0 for x in layers]
        pairs = zip(layers, filled, strict=True)
        pools[why] = sum(x.thickness * x.retention * reference * f for x, f in pairs)
    # the molar mass is rounded in its fourth digit
    assert pools["saturating"] == pytest.approx(0.3e-3 * ION * 1e-3, rel=1e-5)
    assert pools["both"] == pytest.approx(pools["saturating"], rel=1e-12)


def test_weak_fixer_fills_it_nearly_as_well():
    """At a tenth of the strength the linear pool holds a tenth, the one that fills up nine parts."""
    full = tables.datum("papers.explanation.saturating.saturation").si
    held = {}
    for why in ("both", "saturating"):
        for strength in (100.0, 10.0):
            scenario = files.example("demo").but(
                {
                    "sheet.explanation": why,
                    "fixing.dilution": None,
                    "fixing.thiosulfate": strength,
                    "fixing.duration": 7200.0,
                }
            )
            result = solve(scenario)
            _, layers = result.by_layer(0, np.array([7200.0]))
            held[why, strength] = layers.sum()
    assert held["both", 10.0] / held["both", 100.0] == pytest.approx(0.1, rel=1e-3)
    law = 10 / (10 + full) * (100 + full) / 100
    assert held["saturating", 10.0] / held["saturating", 100.0] == pytest.approx(law, rel=1e-3)


def test_the_floor_of_a_standing_bath_is_the_root_of_a_quadratic():
    """Fixer spread over water, pores and places that fill up; three days stand for ever."""
    scenario = files.example("still").but(
        {
            "sheet.explanation": "saturating",
            "steps": (Bath(vessel="tray", duration=3000 * 60.0),),
        }
    )
    result = solve(scenario)
    slab = result.run.slab
    paper = scenario.paper_area
    mobile, held, bend = slab.mobile.sum(), slab.held.sum(), slab.bend[0, 0]
    start = result.run.segment_at(0, result.run.left_fixer[0] + 60.0)
    area = np.zeros((1, 1))
    amount = start.solute_at(area)[0, 0]
    amount += paper * start.slab_at(0, area, slab.capacity[None])[0, 0, 0]
    free = float(start.volumes.sum()) + paper * mobile
    roots = np.roots([free * bend, free + paper * held - amount * bend, -amount])
    c = float(roots.max())
    expected = c * (mobile + held / (1 + bend * c))
    assert result.floor(0, result.run.left_fixer[0] + 60.0) == pytest.approx(expected, rel=1e-9)
    # what is left is beyond what the places hold at that strength by less than a thousandth
    assert result.worst_residual == pytest.approx(expected, rel=1e-3)
