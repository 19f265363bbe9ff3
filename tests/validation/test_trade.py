"""The default prints against what the trade says of prints. Wide by nature: practice, not data."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import files, tables
from washsim.papers import Sheet
from washsim.recipes import Bath, Running
from washsim.solve import solve
from washsim.vessels import Handling

PRACTICE = "common practice, no source"
HOUR = tables.datum("limits.fibre_hour")
QUARTER = tables.datum("limits.rc_quarter")


def running(paper: str = "fibre_double", explanation: str = "both", minutes: float = 180, **more):
    """Demo batch, standard five-minute fix, running water moved by the tap alone."""
    return solve(
        files.example("demo").but(
            {
                "sheet.paper": paper,
                "sheet.explanation": explanation,
                "fixing.dilution": None,
                "fixing.fixer": "plain",
                "fixing.duration": 300.0,
                "steps": (Running(vessel="washer", duration=60.0 * minutes),),
                **more,
            }
        )
    )


@pytest.mark.source(PRACTICE)
@pytest.mark.parametrize("explanation", ["slow", "held", "both", "saturating"])
def test_fibre_takes_about_an_hour_of_running_water(explanation):
    """Articles and postings run from half an hour to an hour and a half."""
    minutes = running(explanation=explanation).minutes_to_target
    assert HOUR.low <= minutes <= HOUR.high


@pytest.mark.source(PRACTICE)
def test_resin_coated_takes_at_most_a_quarter_of_that():
    minutes = running("resin_coated", minutes=60).minutes_to_target
    assert minutes <= QUARTER.value
    assert minutes <= running().minutes_to_target / 4


@pytest.mark.source(PRACTICE)
def test_a_thirty_by_forty_print_holds_at_most_fifty_millilitres():
    """An upper bound that must include the clinging film; a drained print lies well under it."""
    paper = Sheet(width=0.3, height=0.4)
    held = 1e6 * paper.area * paper.material.held_liquid
    drained = 1e6 * paper.area * (paper.material.held_liquid + Handling().film(10.0))
    dripping = 1e6 * paper.area * (paper.material.held_liquid + Handling().film(0.0))
    assert 15 < held < drained < dripping < 50


@pytest.mark.source(PRACTICE)
def test_four_half_litres_beat_two_litres_at_once():
    """Per sheet, same water, same hour."""
    one = files.example("demo").but({"sheet.count": 1})
    once = one.but(
        {"vessels.tray.volume": 2e-3, "steps": (Bath(vessel="tray", baths=1, duration=3600.0),)}
    )
    four = one.but(
        {"vessels.tray.volume": 5e-4, "steps": (Bath(vessel="tray", baths=4, duration=900.0),)}
    )
    assert solve(once).litres_total == pytest.approx(solve(four).litres_total)
    assert solve(four).worst_residual < 0.2 * solve(once).worst_residual


@pytest.mark.source("US Army lesson SS0509: double weight needs close to twice the wash of single")
def test_double_weight_takes_about_twice_as_long_as_single():
    """Pure diffusion squares the thickness (2.7), a thick film makes it linear (1.7)."""
    double, single = (
        running(paper, "slow").minutes_to_target for paper in ("fibre_double", "fibre_single")
    )
    assert 1.7 <= double / single <= 2.8


@pytest.mark.source(
    "Eaton, Crabtree, Washing photographic films and prints in sea water, J. SMPE, 1943 "
    "(abstract): 20 to 40 F warmer, 25 to 50 % faster"
)
def test_warmth_helps_no_more_than_diffusion_allows():
    """10 against 21 C. Published +25 to +50 %; the viscosity of water alone gives +39 %."""
    cold, warm = (
        running(explanation="slow", **{"water.temperature": 273.15 + t}).minutes_to_target
        for t in (10, 21)
    )
    assert 1.25 <= cold / warm <= 1.50


@pytest.mark.source(
    "trade postings, a five-minute fix read by stain: flat at an hour, still falling"
)
def test_after_a_long_fix_the_tail_is_slow_release():
    """Half an hour early on cuts the residual by a far larger factor than the last, which still
    falls."""
    result = running(explanation="both", minutes=90)
    start = result.run.left_fixer[0]
    at = [result.at(0, np.array([start + 60 * m]))[0] for m in (15, 30, 60, 90)]
    assert (at[0] / at[1]) ** 2 > 10 * at[2] / at[3]
    assert at[3] < 0.9 * at[2]
    assert result.shares(0, start + 90 * 60)["release"] > 0.5


@pytest.mark.source("trade articles: ten sheets 20 x 25 cm take a litre of fixer to 0.5 g/L silver")
def test_ten_sheets_a_litre_bring_half_a_gram_of_silver():
    scenario = files.example("demo").but({"fixing.sheets_per_litre": 10.0})
    silver = solve(scenario).silver_per_fixer * scenario.fixing.concentration
    assert silver == pytest.approx(0.5, rel=0.1)
