"""Readings: the scale, censoring, round trip, mistakes told in one sentence."""

from __future__ import annotations

import itertools
import math

import pytest

from washsim import files, ladders, observing, readings, stains
from washsim.errors import InputError
from washsim.ladders import Ladder, Rung
from washsim.readings import Drip, Drop, Laboratory, Tests

TEXT = """
format = "washsim-readings-1"
title = "Invented readings"
[ladder]
thiosulfate_g_l = 94
dry_g = 1.2
wet_g = 2.4477
[[ladder.steps]]
one_in = 1000
[[ladder.steps]]
one_in = 2000
[[ladder.steps]]
one_in = 5000
[[readings]]
kind = "drop"
lighter_than = 1
darker_than = 2
washed_min = 20
[[readings]]
kind = "drop"
lighter_than = 3
face = "back"
[[readings]]
kind = "drop"
darker_than = 1
washed_min = 10
face = "front"
[[readings]]
kind = "laboratory"
residual_g_m2 = 0.02
error_percent = 10
[[readings]]
kind = "drip"
colour = "stays"
"""


@pytest.fixture(scope="module")
def demo():
    return files.example("demo")


def test_what_the_steps_of_a_scale_mean(demo):
    """94 g/L in 0.25 L/m2 of liquid, diluted: by hand, 0.0235, 0.01175 and 0.0047 g/m2."""
    tests = readings.loads(TEXT)
    # 1.2477 g of water at 998.2 kg/m3 on 50 cm2
    assert tests.ladder.held_liquid(demo) == pytest.approx(0.25e-3, rel=1e-4)
    assert tests.ladder.residuals(demo) == pytest.approx((23.5e-6, 11.75e-6, 4.7e-6), rel=1e-4)
    back = ladders.dilutions(tests.ladder.residuals(demo), 94.0, tests.ladder.held_liquid(demo))
    assert back == pytest.approx((1000, 2000, 5000), rel=1e-12)


def test_an_unweighed_scale_takes_the_papers_liquid_and_the_scenarios_fixer(demo):
    ladder = Ladder(steps=(Rung(one_in=1000),))
    held = demo.sheet.material.held_liquid
    assert ladder.residuals(demo) == pytest.approx((demo.fixing.concentration * held / 1000,))


def test_readings_become_bounds(demo):
    between, clear, off, value, drip = observing.observations(demo, readings.loads(TEXT))
    assert (between.low, between.high) == pytest.approx((11.75e-6, 23.5e-6), rel=1e-4)
    assert (clear.what, clear.low) == ("back", 0.0)
    assert clear.high == pytest.approx(4.7e-6, rel=1e-4)
    assert off.low == pytest.approx(23.5e-6, rel=1e-4)
    assert math.isinf(off.high)
    assert value.low == value.high == pytest.approx(20e-6)
    assert (drip.what, drip.low) == ("water", 0.0)
    assert drip.high == pytest.approx(4e-3)
    # minutes count from the fixer; the last reading of the evening needs none
    assert between.at - demo.fixing.duration == pytest.approx(20 * 60)
    assert clear.at == pytest.approx(demo.timeline.end)


def test_a_step_of_two_comes_to_the_half_of_the_notes(demo):
    """0.35 (scale), 0.30 (eye) and ln 2 / sqrt(12) = 0.20 (between steps): 0.50 together."""
    first = observing.observations(demo, readings.loads(TEXT))[0]
    assert first.spread == pytest.approx(0.5, abs=0.005)
    assert first.middle == pytest.approx(math.sqrt(11.75e-6 * 23.5e-6), rel=1e-4)


@pytest.mark.parametrize("mishap", [{"waited": 600.0}, {"blank": "stained"}])
def test_a_late_look_or_a_stained_blank_leaves_an_upper_bound(demo, mishap):
    one = Drop(above=12e-6, below=24e-6, **mishap)
    (seen,) = observing.observations(demo, Tests(readings=(one,)))
    assert (seen.low, seen.high) == (0.0, 24e-6)


def test_round_trip():
    tests = readings.loads(TEXT)
    assert readings.loads(readings.dumps(tests)) == tests


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("lighter_than = 3", "lighter_than = 4", "reading 2: expected a step of the ladder"),
        ("darker_than = 2", "darker_than = 1", "darker_than: expected a weaker step"),
        ("washed_min = 20", "washed_min = 9999", "washed_min: expected 0 to 6000 min"),
        ("one_in = 5000", "one_in = 2000", "each more dilute than the one before"),
        ("wet_g = 2.4477", "wet_g = 1.1", "wet_g: expected more than dry_g"),
        ("wet_g = 2.4477", "", "wet_g: expected together with dry_g"),
        ('colour = "stays"', 'colour = "pink"', "colour: expected stays or fades, got 'pink'"),
        ("residual_g_m2 = 0.02", "", "either residual_g_m2 or below_g_m2"),
        ('kind = "drip"', 'kind = "drop"', "unknown key, expected"),
        ('kind = "drip"', 'kind = "drib"', "did you mean 'drip'"),
        ("washsim-readings-1", "washsim-readings-9", "format: expected"),
    ],
)
def test_mistakes_are_told_in_one_sentence(old, new, words):
    assert old in TEXT
    with pytest.raises(InputError, match=words) as caught:
        readings.loads(TEXT.replace(old, new), "mine.toml")
    assert str(caught.value).startswith("mine.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (Drop(sheet=200, below=1e-5), "reading 1, sheet: expected one of the scenario's"),
        (Drop(washed=60000.0, below=1e-5), "reading 1, washed_min: expected at most"),
    ],
)
def test_readings_that_do_not_fit_the_evening(demo, one, words):
    with pytest.raises(InputError, match=words):
        observing.observations(demo, Tests(readings=(one,)))


def test_readings_in_words(demo):
    found = [observing.said(one) for one in observing.observations(demo, readings.loads(TEXT))]
    assert found[0] == "0.012 to 0.023 g/m² at 21 min"
    assert found[1].startswith("back, below 0.0047 g/m²")
    assert found[2].startswith("front, above 0.023 g/m²")
    assert found[4].startswith("water, below 4 mg/L")


def test_a_late_stain_off_the_scale_counts_for_nothing(demo):
    one = Drop(above=12e-6, waited=600.0)
    (seen,) = observing.observations(demo, Tests(readings=(one,)))
    assert (seen.low, seen.high) == (0.0, math.inf)
    assert observing.said(seen).startswith("nothing that counts")


def test_a_laboratory_limit_is_an_upper_bound(demo):
    (seen,) = observing.observations(demo, Tests(readings=(Laboratory(below=5e-6),)))
    assert (seen.low, seen.high, seen.shared) == (0.0, 5e-6, 0.0)
    (faded,) = observing.observations(demo, Tests(readings=(Drip(colour="fades"),)))
    assert faded.low == pytest.approx(4e-3)
    assert math.isinf(faded.high)


def test_stains_darken_yellow_first_and_level_off():
    """Thin stain: blue density 0.07 per 0.01 g/m2 by its datum; thick: the ceiling's datum."""
    assert stains.blue_density(1e-8) == pytest.approx(7e-5, rel=1e-3)
    assert stains.blue_density(1.0) == pytest.approx(1.2)
    bare = stains.reflectance(0.0)
    assert bare == pytest.approx((0.95, 0.93, 0.88))
    ladder = [stains.reflectance(r * 1e-6) for r in (2.5, 5, 12, 24, 50, 120)]
    for light, dark in itertools.pairwise(ladder):
        assert all(a > b for a, b in zip(light, dark, strict=True))
        # told apart without colour as well: blue falls first, red last
        red, green, blue = (d / b for d, b in zip(dark, bare, strict=True))
        assert red > green > blue
    # sRGB of the bare paper, by the published curve and hand: 0.95 -> 249, 0.93 -> 247, 0.88 -> 241
    assert stains.colour(0.0) == "#f9f7f1"
