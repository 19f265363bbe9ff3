"""Kinds of water and shuffled piles: direction, ends and limits of laws that are estimates."""

from __future__ import annotations

import math

import pytest

from washsim import advice, files, tables
from washsim.errors import InputError
from washsim.liquids import shuffled_film
from washsim.solve import solve
from washsim.vessels import Vessel, Water

ROOM = 293.15


def test_waters_keep_the_order_of_the_film_table():
    kinds = ("demineralised", "soft_tap", "hard_tap", "sea")
    found = [Water(kind=kind).quickening(ROOM) for kind in kinds]
    assert found == sorted(found)
    assert Water(kind="softened").quickening(ROOM) == Water(kind="hard_tap").quickening(ROOM)
    assert Water(kind="soft_tap").quickening(ROOM) == pytest.approx(1.0, rel=1e-12)


def test_alkalinity_runs_from_demineralised_to_hard():
    hard = tables.datum("liquids.water.alkalinity.hard").si
    none, full = Water(alkalinity=0.0), Water(alkalinity=hard)
    assert none.quickening(ROOM) == Water(kind="demineralised").quickening(ROOM)
    assert full.quickening(ROOM) == pytest.approx(Water(kind="hard_tap").quickening(ROOM))
    middle = Water(alkalinity=hard / 2).quickening(ROOM)
    assert middle == pytest.approx(0.5 * (none.quickening(ROOM) + full.quickening(ROOM)))


def test_alkalinity_is_shown_per_litre():
    """4 mmol/L is 4 mol/m3."""
    text = files.example_text("demo").replace("[water]", "[water]\nalkalinity_mmol_l = 4")
    assert files.loads(text).water.alkalinity == pytest.approx(4.0)


def test_hard_water_beats_demineralised_only_where_fixer_is_held():
    demo = files.example("demo")
    ends = {}
    for why in ("slow", "both"):
        for kind in ("demineralised", "hard_tap"):
            changed = demo.but({"sheet.explanation": why, "water.kind": kind})
            ends[why, kind] = solve(changed).worst_residual
    assert ends["slow", "hard_tap"] == pytest.approx(ends["slow", "demineralised"], rel=1e-12)
    assert ends["both", "hard_tap"] < 0.5 * ends["both", "demineralised"]


def test_softened_water_brings_its_caution():
    softened = solve(files.example("demo").but({"water.kind": "softened"}))
    assert any("swells" in caution for caution in advice.cautions(softened))


def test_a_pile_is_limited_by_the_water_between_or_by_diffusion_into_it():
    between = tables.datum("liquids.pile.between").si
    # seldom: all the water between two sheets, once an interval
    assert shuffled_film(3600.0, 1e-9) == pytest.approx(between / 3600, rel=1e-12)
    # all the time: Higbie's 2 sqrt(D / (pi t))
    assert shuffled_film(0.5, 1e-9) == pytest.approx(2 * math.sqrt(1e-9 / (math.pi * 0.5)))


def test_a_pile_washes_slower_the_less_it_is_shuffled():
    demo = files.example("demo")
    ends = []
    for minutes in (1, 5, 20):
        vessel = Vessel(
            name="tray", volume=4e-3, puddle=3e-4, stirring="shuffled", shuffle=60.0 * minutes
        )
        ends.append(solve(demo.but({"vessels.tray": vessel})).worst_residual)
    assert solve(demo).worst_residual < ends[0] < ends[1] < ends[2]


@pytest.mark.parametrize("words", [{"stirring": "shuffled"}, {"shuffle": 60.0}])
def test_an_interval_goes_with_a_pile(words):
    with pytest.raises(InputError, match="shuffle_min"):
        Vessel(name="tray", volume=1e-3, **words)


def test_sea_water_is_a_kind_of_one_step_and_wants_fresh_water_after_it():
    sea = files.with_method(files.example("demo"), "sea")
    fresh = sea.but({"steps.1.water": None})
    assert solve(sea).worst_residual < 0.8 * solve(fresh).worst_residual
    assert (
        solve(fresh).worst_residual == solve(sea.but({"steps.1.water": "soft_tap"})).worst_residual
    )
    assert not any("Sea water" in caution for caution in advice.cautions(solve(sea)))
    stopped = solve(sea.but(steps=sea.steps[:1]))
    assert any("finish in fresh water" in caution for caution in advice.cautions(stopped))


def test_a_tray_whose_water_cannot_cover_the_prints_is_told():
    """Fourteen of 0.203 x 0.254 m are 0.722 m2: 0.5 L makes 0.7 mm over each, 4 L 5.5 mm."""
    demo = files.example("demo").but({"settings.outputs": 20})
    shallow = demo.but({"vessels.tray.volume": 0.5e-3})

    def told(scenario) -> list[str]:
        return [one for one in advice.cautions(solve(scenario)) if "of water for each print" in one]

    assert told(demo) == []
    assert "0.5 L in 'tray' are 0.7 mm of water for each print" in told(shallow)[0]
    # who says what covers them is believed; a washer holds prints on edge
    assert told(shallow.but({"vessels.tray.least": 0.4e-3})) == []
    assert told(files.example("running").but({"vessels.washer.volume": 2e-3})) == []
