"""The ledger against sums that can be done by hand."""

from __future__ import annotations

import json
import re

import pytest

from tests.stories.bench import baths, running, washed
from washsim import __main__ as cli
from washsim import export, files, ledger
from washsim.errors import InputError
from washsim.solve import solve

SHEETS, AREA = 14, 14 * 0.203 * 0.254
HELD = 0.25 * AREA  # L of liquid in all sheets of the text-book set-ups


@pytest.fixture(scope="module")
def demo():
    warmed = {"water.tap_temperature": 283.15, "water.heat_price": 0.3 / 3.6e6}
    return solve(files.example("demo").but({**warmed, "settings.outputs": 20}))


def test_shares_of_an_evening_are_plain_division(demo):
    found = ledger.ledger(demo, evenings=40)
    assert found.evening.water == pytest.approx(24e-3)
    assert found.per_print.water == pytest.approx(24e-3 / SHEETS)
    assert found.per_m2.water == pytest.approx(24e-3 / AREA)
    assert found.per_year.water == pytest.approx(0.96)
    # 24 L x 0.998 kg/L x 4.184 kJ/(kg K) x 10 K; mean heat capacity and density to 2e-3
    heat = 24 * 0.9982 * 4.184e3 * 10
    assert found.evening.heat == pytest.approx(heat, rel=2e-3)
    assert found.evening.cost == pytest.approx(24e-3 * 4 + heat / 3.6e6 * 0.3, rel=2e-3)
    assert found.per_year.cost == pytest.approx(40 * found.evening.cost)


def test_an_hour_of_running_water_takes_filling_and_flow(demo):
    """20 L to fill the demo's own washer and an hour at its 4 L/min."""
    hour = ledger.ledger(demo).running
    assert (hour.vessel, hour.flow) == ("washer", pytest.approx(4e-3 / 60))
    assert 1e3 * hour.water == pytest.approx(20 + 240)
    assert 1e3 * ledger.ledger(demo, flow=2e-3 / 60).running.water == pytest.approx(20 + 120)
    assert "236 L more" in ledger.sentence(ledger.ledger(demo))


def test_the_running_hour_waits_for_prints_that_come_one_by_one(demo):
    """The last of 14 comes 13 x 8 min after the first; the tap runs from the first on."""
    apart = demo.scenario.but({"sheet.interval": 480.0})
    hour = 20 + 4 * (13 * 8 + 60)
    assert 1e3 * ledger.running_hour(apart).timeline.volume(1) == pytest.approx(hour)
    told = ledger.sentence(ledger.ledger(solve(apart)))
    assert told == (
        "Running water in 'washer' at 4 L/min until an hour after the last print has come would "
        f"take {hour} L: {hour - 24} L more than this."
    )


def test_each_batch_has_its_own_running_hour(demo):
    told = ledger.sentence(ledger.ledger(solve(demo.scenario.but({"sheet.batches": 2}))))
    assert told.startswith("An hour of running water in 'washer' at 4 L/min for each batch would")
    assert f"take {2 * 260} L: {2 * 260 - 2 * 24} L more" in told


def test_without_a_tap_the_catalogues_washer_stands_in():
    result = washed("ideal", baths(10, 2, 60))
    hour = ledger.ledger(result).running
    usual = files.with_method(result.scenario, "slots").vessels[0]
    assert hour.flow == usual.flow
    assert hour.water == pytest.approx(usual.volume + usual.flow * 3600)
    # 25 L and 60 x 4 L/min
    assert "in a slot washer of 25 L at 4 L/min would take 265 L" in ledger.sentence(
        ledger.ledger(result)
    )


def test_an_hour_of_running_water_beside_itself_saves_nothing():
    result = washed("slab", running(20, 4, 60))
    assert "as much as this evening" in ledger.sentence(ledger.ledger(result))


def test_s25_collecting_the_first_rinse_keeps_its_share_from_the_drain():
    """Ideal mode: of the silver in the held liquid the first bath takes water / (held + water)."""
    found = ledger.ledger(washed("ideal", baths(10, 2, 60), fixing="silver_g_l = 1"))
    taken = 10 / (HELD + 10)
    assert 1e3 * found.first_water == pytest.approx(10)
    assert 1e3 * found.first_silver == pytest.approx(HELD * taken, rel=1e-6)
    assert found.first_share == pytest.approx(taken / (1 - (1 - taken) ** 2), rel=1e-6)
    words = ledger.first_sentence(found)
    # the story: 18 mg/L and 0.18 g (2 %)
    assert "0.18 g" in words
    assert "18 mg/L" in words


def test_running_water_is_not_to_be_collected():
    """Ideal mode: all of the silver flows away with the 240 L, and nobody keeps those."""
    result = washed("ideal", running(20, 4, 60), fixing="silver_g_l = 1")
    words = ledger.first_sentence(ledger.ledger(result))
    assert words.startswith(f"The first 240 L of running water carry {HELD:.2g} g of silver")
    assert "collecting it keeps" not in words


def test_s26_cost_card():
    """608 L against 70 L at 4 per m3, 14 prints."""
    price = "price_per_m3 = 4"
    tap = ledger.ledger(washed("slab", running(20, 4, 147), water=price))
    still = ledger.ledger(washed("slab", baths(14, 5, 10), water=price))
    assert tap.evening.cost == pytest.approx(2.432)
    assert tap.per_print.cost == pytest.approx(2.432 / 14)
    assert still.evening.cost == pytest.approx(0.28)
    assert still.per_print.cost == pytest.approx(0.02)
    assert still.evening.heat == 0


def test_no_silver_no_sentence():
    found = ledger.ledger(washed("ideal", baths(10, 2, 60), fixing="silver_g_l = 0"))
    assert ledger.first_sentence(found) == ""
    assert found.first_share == 0


def test_silver_that_nobody_spoke_of_is_not_told_as_none(capsys, tmp_path):
    """The prints of the evening leave silver in a bath that was fresh: nought would be wrong."""
    assert cli.main(["simulate", "--no-band"]) == 0
    assert "silver in the wash water, g" in capsys.readouterr().out
    silent = washed("ideal", baths(10, 2, 60))
    assert "No silver is counted" in ledger.uncounted(ledger.ledger(silent))[0]
    path = tmp_path / "silent.toml"
    path.write_text(files.dumps(silent.scenario), encoding="utf-8")
    assert cli.main(["simulate", "--no-band", str(path)]) == 0
    out = capsys.readouterr().out
    assert "silver in the wash water, g" not in out
    assert "No silver is counted" in out


def test_warm_water_from_a_tap_nobody_spoke_of_is_said_to_be_unheated():
    usual = files.example("demo").but({"settings.outputs": 20})
    for changes, told in (
        ({}, False),
        ({"water.temperature": 297.15}, True),
        ({"steps.1.temperature": 297.15}, True),
        ({"water.temperature": 297.15, "water.tap_temperature": 285.15}, False),
    ):
        found = ledger.uncounted(ledger.ledger(solve(usual.but(changes))))
        assert ("No heat is counted" in " ".join(found)) is told


@pytest.mark.parametrize("evenings", [0, 367, 2.5, True])
def test_evenings_no_year_has_are_refused(demo, evenings):
    with pytest.raises(InputError, match="evenings: expected a whole number from 1 to 366"):
        ledger.ledger(demo, evenings)


def test_a_closed_tap_is_no_running_water(demo):
    with pytest.raises(InputError, match="flow_l_min: expected more than 0"):
        ledger.ledger(demo, flow=0.0)


def test_terminal_and_json_say_the_same(capsys):
    assert cli.main(["simulate", "--evenings", "30"]) == 0
    assert "year of 30" in capsys.readouterr().out
    assert cli.main(["simulate", "--evenings", "30", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["ledger"]
    assert found["per_year"]["litres"] == pytest.approx(30 * 24)
    assert found["running_hour"]["litres"] == pytest.approx(260)
    assert set(found) <= set(re.findall(r"\w+", export.KEYS["ledger"]))
    assert cli.main(["simulate", "--evenings", "0"]) == 2
    assert "evenings" in capsys.readouterr().err
