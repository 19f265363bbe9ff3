"""The questions that come along: what each claims, asked of its runs; the words that tell them."""

from __future__ import annotations

from functools import lru_cache

import pytest

from washsim import comparing, files, side_by_side
from washsim.errors import InputError
from washsim.result import Result
from washsim.solve import solve


@lru_cache
def runs(name: str) -> tuple[Result, ...]:
    return tuple(solve(one) for one in comparing.question(name).scenarios)


def minutes(result: Result) -> float:
    assert result.minutes_to_target is not None
    return result.minutes_to_target


def short_fix() -> None:
    """More than double the load, for less than a quarter more of the wash."""
    short, long, standard = runs("short_fix")
    for other in (long, standard):
        assert other.load[0] > 2 * short.load[0]
        assert minutes(short) < minutes(other) < 1.35 * minutes(short)


def forgotten() -> None:
    """The third quarter of an hour adds less than the first ten minutes did."""
    one, ten, thirty = runs("forgotten")
    loads = [result.load[0] for result in (one, ten, thirty)]
    assert 0 < loads[2] - loads[1] < 0.25 * (loads[1] - loads[0])
    assert minutes(one) < minutes(ten) < minutes(thirty) < minutes(ten) + 10


def three_ways() -> None:
    tap, changes, trays = runs("three_ways")
    for result in (tap, changes, trays):
        assert minutes(result) < 60
    # a filling and an hour's flow; five fillings; seven trays
    litres = [1e3 * result.litres_total for result in (tap, changes, trays)]
    assert litres == pytest.approx([20 + 4 * 60, 25, 21])


def still_or_rocked() -> None:
    still, rocked, brisk = runs("still_or_rocked")
    assert minutes(still) - minutes(rocked) > 10
    assert 0 < minutes(rocked) - minutes(brisk) < 0.2 * (minutes(still) - minutes(rocked))
    assert still.litres_total == rocked.litres_total == brisk.litres_total


def which_way_up() -> None:
    down, up, closed, rocked = runs("which_way_up")
    assert minutes(rocked) < minutes(down) < minutes(up)
    assert closed.minutes_to_target is None
    assert closed.worst_residual / up.worst_residual > 10 * up.worst_residual / down.worst_residual


def with_aid() -> None:
    held, held_without, slow, slow_without = runs("with_aid")
    assert held.worst_residual < 0.1 * held_without.worst_residual
    assert held.minutes_to_target is not None
    assert held_without.minutes_to_target is None
    assert slow.worst_residual == pytest.approx(slow_without.worst_residual, rel=0.05)


def coated_beside_fibre() -> None:
    coated, single, double = runs("coated_beside_fibre")
    assert minutes(coated) < 5
    assert minutes(single) > 5 * minutes(coated)
    assert minutes(double) > minutes(single)


def strip_and_batch() -> None:
    strip, batch = runs("strip_and_batch")
    # 5 L on 0.005 m2, and on fourteen sheets
    area = 14 * 0.203 * 0.254
    assert 1e3 * strip.water_to_paper(1) == pytest.approx(5 / 0.005)
    assert 1e3 * batch.water_to_paper(1) == pytest.approx(5 / area)
    assert strip.water_to_paper(1) > 100 * batch.water_to_paper(1)
    minutes(strip)
    assert batch.minutes_to_target is None
    floor = batch.floor(0, batch.run.timeline.end)
    assert floor > batch.scenario.target.limit
    assert batch.worst_residual == pytest.approx(floor, rel=0.05)


def winter_tap() -> None:
    warm, cold = runs("winter_tap")
    assert minutes(cold) > minutes(warm)
    assert cold.heat == 0
    # 32 L by 13 K, 4.18 kJ/kg/K, close to a kilogram a litre
    assert warm.heat / 3.6e6 == pytest.approx(32 * 4.18 * 13 / 3600, rel=5e-3)


CLAIMS = {
    claim.__name__: claim
    for claim in (
        short_fix,
        forgotten,
        three_ways,
        still_or_rocked,
        which_way_up,
        with_aid,
        coated_beside_fibre,
        strip_and_batch,
        winter_tap,
    )
}


def test_every_question_has_its_claim_checked():
    assert set(CLAIMS) == set(comparing.questions())


@pytest.mark.parametrize("name", CLAIMS)
def test_the_claim_follows_from_the_runs(name):
    CLAIMS[name]()


@pytest.mark.parametrize("name", CLAIMS)
def test_a_question_puts_two_to_four_schedules_that_differ_as_listed(name):
    found = comparing.question(name)
    assert comparing.FEWEST <= len(found.scenarios) <= comparing.MOST
    assert len({one.title for one in found.scenarios}) == len(found.scenarios)
    assert found.asks.endswith("?")
    rows = side_by_side.differences(found.scenarios)
    assert rows
    for row in rows:
        assert len(row.values) == len(found.scenarios)
        assert len(set(row.values)) > 1
    assert side_by_side.differences([found.scenarios[0]] * 2) == []


def test_an_unknown_question_names_the_nearest():
    with pytest.raises(InputError, match="did you mean 'winter_tap'"):
        comparing.question("winter_tab")


def test_differences_are_told_in_darkroom_units():
    demo = files.example("demo")
    other = demo.but(
        {"fixing.duration": 300.0, "water.temperature": 280.15, "vessels.tray.volume": 6e-3}
    )
    rows = {row.what: row.values for row in side_by_side.differences([demo, other])}
    assert rows == {
        "fixing, duration": ("60 s", "300 s"),
        "water, temperature": ("20 °C", "7 °C"),
        "wash": ("6 baths of 4 L, 10 min each", "6 baths of 6 L, 10 min each"),
    }


@pytest.mark.parametrize("name", files.methods())
def test_every_method_is_told_in_words(name):
    scenario = files.with_method(files.example("demo"), name)
    told = side_by_side.wash(scenario)
    assert " L" in told
    assert "min" in told
    assert len(told.split(", then ")) == len(scenario.steps)


def test_the_verdict_says_who_is_first_and_what_it_takes():
    results = runs("three_ways")
    tap, changes, trays = map(minutes, results)
    assert side_by_side.verdict(results).startswith(
        f"C is under the target of 0.014 g/m² {trays:.0f} min after leaving the fixer; "
        f"B {changes - trays:.0f} min later and A {tap - trays:.0f} min later."
    )
    # 260 over 21
    assert side_by_side.verdict(results).endswith(
        "C takes least water, 21 L; A takes 12 times as much."
    )
    assert "B not at all" in side_by_side.verdict(runs("strip_and_batch"))


def test_equal_schedules_are_told_to_be_alike():
    (result, *_) = runs("forgotten")
    told = side_by_side.verdict([result, result])
    assert told.startswith("A and B are under the target")
    assert "They end alike" in told
    assert "least water" not in told


def test_none_under_the_target_is_said():
    _, batch = runs("strip_and_batch")
    assert side_by_side.verdict([batch, batch]).startswith("None of them gets under the target")


def test_rows_of_outcomes_carry_their_units():
    rows = side_by_side.outcomes(runs("winter_tap"))
    assert [row.what.rpartition(", ")[2] for row in rows] == [
        "g/m²",
        "g/m²",
        "min",
        "L",
        "L",
        "L/m²",
        "kWh",
    ]
    assert "heat, kWh" not in [row.what for row in side_by_side.outcomes(runs("forgotten"))]


def test_words_in_us_units():
    results = runs("winter_tap")
    scenarios = [result.scenario for result in results]
    (warmth, *_) = side_by_side.differences(scenarios, "us")
    assert warmth.values == ("68 °F", "44.6 °F")
    rows = {row.what: row.values for row in side_by_side.outcomes(results, "us")}
    # 32 L over 3.785 L a gallon
    assert rows["fresh water, gal"] == ("8.5", "8.5")
    told = side_by_side.verdict(runs("three_ways"), "us")
    assert "C takes least water, 5.55 gal;" in told
    assert side_by_side.wash(runs("three_ways")[1].scenario, "us") == (
        "5 baths of 1.32 gal, 12 min each"
    )


def test_a_batch_as_it_stands_beside_other_ways():
    batch = files.example("late_sheet")
    found = comparing.ways(batch, [comparing.AS_IT_STANDS, "sea"])
    assert found.scenarios[0] == batch.but(title="As it stands")
    assert found.scenarios[1].steps == files.with_method(batch, "sea").steps
    with pytest.raises(InputError, match="did you mean 'as_it_stands'"):
        comparing.ways(batch, ["as_it_stand", "sea"])


@pytest.mark.parametrize("name", comparing.all_ways())
def test_every_way_can_be_told_from_another(name):
    other = "row" if name != "row" else "sea"
    found = comparing.ways(files.example("demo"), [name, other])
    rows = side_by_side.differences(found.scenarios, "us")
    assert "wash" in [row.what for row in rows]
    assert all(value.strip() for row in rows for value in row.values)
