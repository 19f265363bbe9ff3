"""Sheets that stick together, and water that warms or cools, against the independent references."""

from __future__ import annotations

import numpy as np
import pytest

from tests.references import cases, closed_forms
from tests.references.finite_volume import Phase, Vessel, run
from tests.stories.bench import baths, clean, running, scenario, washed
from washsim import files
from washsim.errors import InputError
from washsim.liquids import at_temperature

FULL = 25.0


def stuck(how: str, other: str, duration: float | None = None, after: float = 0.0) -> str:
    lines = [f'how = "{how}"', "step = 1", f"after_min = {after}", "sheet = 3", other]
    if duration is not None:
        lines.append(f"duration_min = {duration}")
    return "\n[[stuck]]\n" + "\n".join(lines)


def test_a_pair_stuck_back_to_back_is_one_sheet_of_double_thickness():
    pair = washed("slab", clean(200) + stuck("back_to_back", "other = 4"), sheet="count = 5")
    expected = closed_forms.time_to_fraction(0.015 / FULL, cases.in_slab_time(300), faces=1)
    minutes = [None if s is None else s / 60 for s in pair.seconds_to_target]
    of_sheet = [minutes[lot] for lot in pair.lot_of_sheet]
    # the closeness of the set-up to clean water, see test_stories
    assert of_sheet[2:4] == pytest.approx([expected / cases.in_slab_time(60)] * 2, rel=5e-4)
    free = closed_forms.time_to_fraction(0.015 / FULL, cases.in_slab_time(300))
    assert [of_sheet[i] for i in (0, 1, 4)] == pytest.approx(
        [free / cases.in_slab_time(60)] * 3, rel=5e-4
    )
    assert pair.worst_sheet == 3


def test_unstuck_after_twenty_minutes():
    """Covered for the first 20 of 60 min in a vessel of its own, by finite volumes."""
    text = running(20, 4, 60, "film_um = 100") + stuck("back_to_wall", "", duration=20)
    found = washed("slab", text.replace("sheet = 3", "sheet = 1"), sheet="count = 1")
    water = Vessel(volume=0.02, flow=4e-3 / 60)
    covered = Phase(
        duration=1200,
        bath=water,
        diffusivity=cases.PORE_DIFFUSIVITY,
        film_front=cases.FILM,
        film_back=0.0,
    )
    rest = cases.washing(40, Vessel(volume=0.0, flow=4e-3 / 60, puddle=0.02))
    history = run(cases.slab(), [cases.fixing(300), covered, rest], area=cases.SHEET_AREA)
    # 200 cells: 3e-4
    assert 1e3 * found.worst_residual == pytest.approx(history.residual[-1], rel=1e-3)


@pytest.mark.parametrize(
    ("block", "message"),
    [
        (stuck("back_to_wall", "other = 4"), "other"),
        (stuck("back_to_back", "other = 40"), "expected a sheet from 1 to 14"),
        (stuck("back_to_wall", "", after=90), "expected less than 60"),
    ],
)
def test_mistakes_are_told(block, message):
    with pytest.raises(InputError, match=message):
        _ = files.loads(scenario("slab", baths(4, 6, 10) + block)).timeline


def test_water_that_cools_washes_like_its_mean_diffusivity():
    """In clean water only the integral of D over time counts (one exponent): 20 to 10 C."""
    minutes = 60
    vessel = clean(minutes).replace("duration_min", "temperature_end_c = 10\nduration_min")
    found = washed("slab", vessel, sheet="count = 1")
    kelvin = 293.15 - 10 * (np.arange(1000) + 0.5) / 1000
    scaled = np.mean([at_temperature(1.0, 293.15, float(t)) for t in kelvin])
    expected = FULL * closed_forms.slab_fixed_then_washed(
        cases.in_slab_time(300), cases.in_slab_time(60 * minutes * float(scaled))
    )
    # pieces of 1 K, each at its middle: second order; 5e-4 for water not quite clean
    assert 1e3 * found.worst_residual == pytest.approx(expected, rel=1e-3)
