"""The printer's stories, through the calls a user makes. Expected digits come from closed forms or
the independent finite volumes of tests/references, never from the product."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.references import cases, closed_forms
from tests.stories.bench import baths, clean, running, washed
from washsim import advice, files
from washsim.recipes import Running
from washsim.solve import solve

SHEET = 0.203 * 0.254
HELD = 0.25  # L/m2
FULL = 25.0  # g/m2
ONE = "count = 1"
# slab mode in near-clean water: the bath's own backlog adds less than 2e-4 to a residual
SLAB = 5e-4


def _array(value: float) -> np.ndarray:
    return np.array([value])


def test_s1_strip_and_batch_in_the_same_five_litres():
    """A strip passes, the batch cannot: the floor is held / (held + water)."""
    strip = washed("ideal", baths(5, 1, 60), sheet="width_cm = 5\nheight_cm = 10\ncount = 1")
    batch = washed("ideal", baths(5, 1, 60))
    for result, area in ((strip, 0.005), (batch, 14 * SHEET)):
        floor = FULL * HELD * area / (HELD * area + 5)
        assert 1e3 * result.worst_residual == pytest.approx(floor, rel=1e-6)
        assert 1e3 * result.floor(0, result.run.timeline.end) == pytest.approx(floor, rel=1e-6)
        assert 1e3 * result.water_to_paper(1) == pytest.approx(5 / area)
    assert strip.minutes_to_target is not None
    assert batch.minutes_to_target is None
    assert "cannot get it below 0.87" in advice.sentence(batch)


def test_s3_a_tenth_of_the_water_in_the_same_hour():
    film = "film_um = 100"
    run = washed("slab", running(20, 4, 60, film))
    changes = washed("slab", baths(4, 6, 10, film + "\npuddle_l = 0.3"))
    tap = cases.coupled(cases.running(20, 4, 60))
    still = cases.coupled(cases.changes(4, [10] * 6))
    # the reference's 200 cells are good to 3e-4 here (its own doubling says so)
    assert 1e3 * run.worst_residual == pytest.approx(tap.residual[-1], rel=1e-3)
    assert 1e3 * changes.worst_residual == pytest.approx(still.residual[-1], rel=1e-3)
    assert run.minutes_to_target == pytest.approx(cases.minutes_to(tap), abs=0.05)
    assert changes.minutes_to_target == pytest.approx(cases.minutes_to(still), abs=0.05)
    assert 1e3 * run.litres_total == pytest.approx(20 + 240)  # the first filling counts
    assert 1e3 * changes.litres_total == pytest.approx(24)


def slab_residual(fix_s: float, wash_min: float, faces: int = 2) -> float:
    times = cases.in_slab_time(fix_s), cases.in_slab_time(60 * wash_min)
    series = (
        closed_forms.slab_fixed_then_washed if faces == 2 else closed_forms.slab_one_face_washed
    )
    return FULL * series(*times)


def slab_minutes(fix_s: float, faces: int = 2, load: float = FULL) -> float:
    scaled = closed_forms.time_to_fraction(0.015 / load, cases.in_slab_time(fix_s), faces)
    return scaled / cases.in_slab_time(60.0)


@pytest.fixture(scope="module")
def short_and_long():
    return [
        washed("slab", clean(60), sheet=ONE, fixing=f"duration_s = {seconds}")
        for seconds in (60, 300)
    ]


def test_s6_sixty_seconds_against_three_hundred(short_and_long):
    for result, seconds in zip(short_and_long, (60, 300), strict=True):
        assert 1e3 * result.load[0] == pytest.approx(slab_residual(seconds, 0), rel=SLAB)
        assert result.minutes_to_target == pytest.approx(slab_minutes(seconds), rel=SLAB)
    at = [r.run.left_fixer[0] + 30 * 60 for r in short_and_long]
    seen = [r.at(0, _array(t))[0] for r, t in zip(short_and_long, at, strict=True)]
    assert seen[1] / seen[0] == pytest.approx(
        slab_residual(300, 30) / slab_residual(60, 30), rel=SLAB
    )
    assert seen[1] / seen[0] == pytest.approx(3.8, abs=0.2)


def test_s7_forgotten_for_five_minutes(short_and_long):
    short, forgotten = short_and_long
    extra = forgotten.minutes_to_target - short.minutes_to_target
    assert extra == pytest.approx(slab_minutes(300) - slab_minutes(60), abs=0.03)
    more = 1e3 * (forgotten.load[0] - short.load[0])
    assert more == pytest.approx(slab_residual(300, 0) - slab_residual(60, 0), rel=SLAB)
    weak = washed("slab", clean(60), sheet=ONE, fixing="duration_s = 300").scenario
    halved = solve(weak.but({"fixing.thiosulfate": 50.0}))
    # linear: half the strength is half the load, and saves ln 2 of the slowest time constant
    assert halved.load[0] == pytest.approx(0.5 * forgotten.load[0], rel=1e-9)
    saved = forgotten.minutes_to_target - halved.minutes_to_target
    assert saved == pytest.approx(math.log(2) * 0.35e-3**2 / (math.pi**2 * 3e-11) / 60, abs=0.02)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_s12_one_litre_in_several_baths(count):
    result = washed("ideal", baths(1 / count, count, 60), sheet=ONE)
    expected = FULL * closed_forms.cross_current(1 / count / (HELD * SHEET), count)
    assert 1e3 * result.worst_residual == pytest.approx(expected, rel=1e-5)


def test_s16_a_covered_face_costs_four_times():
    covered = washed("slab", clean(200, 'stirring = "perfect"\nopen_faces = "front"'), sheet=ONE)
    assert covered.minutes_to_target == pytest.approx(slab_minutes(300, faces=1), rel=SLAB)
    after_an_hour = covered.at(0, _array(covered.run.left_fixer[0] + 3600))[0]
    assert 1e3 * after_an_hour == pytest.approx(slab_residual(300, 60, faces=1), rel=SLAB)
    assert covered.minutes_to_target / slab_minutes(300) == pytest.approx(4.1, abs=0.1)


def test_s17_winter_tap():
    winter = washed("slab", clean(90), sheet=ONE, water="temperature_c = 7")
    factor = cases.viscosity_time_factor(280.15)
    assert factor == pytest.approx(1.49, abs=0.005)
    # IAPWS by another library, good to 1e-4 here
    assert winter.minutes_to_target == pytest.approx(factor * slab_minutes(300), rel=1e-3)
    warm = washed("slab", baths(14, 5, 10), water="temperature_c = 20\ntap_temperature_c = 7")
    # 70 L x 0.998 kg/L x 4.184 kJ/kg/K x 13 K
    assert warm.heat / 3.6e6 == pytest.approx(70 * 0.9982 * 4.184 * 13 / 3600, rel=2e-3)


@pytest.mark.parametrize("puddle", [0.0, 0.3, 1.0])
def test_s19_drained_or_not(puddle):
    vessel = f'stirring = "perfect"\npuddle_l = {puddle}'
    result = washed("ideal", baths(10, 2, 60, vessel))
    expected = FULL * closed_forms.puddle_changes(14 * SHEET * HELD, 10, puddle, 2)
    assert 1e3 * result.worst_residual == pytest.approx(expected, rel=1e-6)
    assert 1e3 * result.litres_total == pytest.approx(20)


def test_s22_resin_coated():
    wash = {"steps": (Running(vessel="washer", duration=60 * 60.0),)}
    fibre = solve(files.example("demo").but(wash))
    coated = solve(fibre.scenario.but({"sheet.paper": "resin_coated"}))
    assert coated.minutes_to_target < 5 < fibre.minutes_to_target
    assert any(c.startswith("In water for more than 15 min") for c in advice.cautions(coated))
    long_fix = solve(coated.scenario.but({"fixing.duration": 180.0}))
    assert any(c.startswith("Fixed for more than 2 min") for c in advice.cautions(long_fix))
    brief = solve(coated.scenario.but({"steps.1.duration": 10 * 60.0}))
    assert not any("edges" in caution for caution in advice.cautions(brief))


def test_s23_jug_and_dye():
    flow = advice.jug_flow(1e-3, 12.0)
    assert 6e4 * flow.value == pytest.approx(5.0)
    # half a second in twelve and 20 mL in a litre, in quadrature
    assert flow.relative == pytest.approx(math.hypot(0.5 / 12, 0.02), rel=1e-12)
    assert advice.clearing_time(20e-3, flow.value) / 60 == pytest.approx(4 * math.log(10))
    exchange = advice.dye_exchange(20e-3, flow, 23 * 60)
    assert exchange.value == pytest.approx(4 * math.log(10) / 23)
    assert exchange.error == pytest.approx(0.06, abs=0.005)


def test_s25_silver_in_the_first_ten_litres():
    result = washed("ideal", baths(10, 2, 60), fixing="silver_g_l = 1")
    held = 14 * SHEET * HELD
    first = result.first_water
    assert 1e3 * first.volume == pytest.approx(10)
    # 1 g/L of silver in the held liquid, spread over it and ten litres
    strength = 1e3 * result.first_silver
    assert strength == pytest.approx(1e3 * held / (held + 10), rel=1e-6)
    carried = 1e3 * result.silver_to_drain()
    assert carried == pytest.approx(held * (1 - (held / (held + 10)) ** 2), rel=1e-6)


def test_s26_cost_card():
    result = washed("slab", baths(14, 5, 10), water="price_per_m3 = 4")
    assert result.cost == pytest.approx(0.28)
    assert result.cost / result.sheets == pytest.approx(0.02)
    assert result.heat == 0  # until a warm temperature is chosen
    tap = washed("slab", running(20, 4, 147), water="price_per_m3 = 4")
    assert tap.cost == pytest.approx(4 * 0.608)  # 20 L to fill and 588 L run
