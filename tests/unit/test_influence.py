"""What matters: each end is the scenario with that number; shares of variance by arithmetic."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest

from washsim import __main__ as cli
from washsim import files, unknowns
from washsim.influence import (
    Effect,
    Outcome,
    drawn_out,
    influence,
    sentence,
    swing,
    variance_shares,
)
from washsim.solve import solve

MINUTE = 60.0


@pytest.fixture(scope="module")
def found():
    return influence(files.example("demo"))


def named(found, label: str) -> Effect:
    return next(one for one in found.effects if one.label == label)


@pytest.mark.parametrize(
    ("label", "low", "high"),
    [
        ("fixing time", {"fixing.duration": 30.0}, {"fixing.duration": 120.0}),
        ("number of prints", {"sheet.count": 7}, {"sheet.count": 28}),
        ("draining", {"handling.drain": 0.0}, {"handling.drain": 30.0}),
        ("volume of a filling", {"vessels.tray.volume": 2e-3}, {"vessels.tray.volume": 8e-3}),
        (
            "agitation",
            {"vessels.tray.stirring": "still_face_up"},
            {"vessels.tray.stirring": "brisk"},
        ),
    ],
)
def test_each_end_of_a_knob_is_the_scenario_with_it(found, label, low, high) -> None:
    effect = named(found, label)
    for outcome, changes in ((effect.at_low, low), (effect.at_high, high)):
        own = files.example("demo").but(changes)
        longer = solve(drawn_out(own))
        # straight lines between 400 outputs, and the coarsest nodes that agree to a hundredth
        assert outcome.seconds / MINUTE == pytest.approx(longer.minutes_to_target, rel=0.01)
        assert outcome.residual == pytest.approx(solve(own).worst_residual, rel=0.02)
        baths = math.ceil((outcome.seconds - own.handling.drain) / (10 * MINUTE))
        assert outcome.volume == pytest.approx(baths * own.vessels[0].volume)


def test_each_end_of_an_unknown_is_the_scenario_with_that_factor(found) -> None:
    scenario = files.example("demo")
    one = next(x for x in unknowns.unknowns(scenario) if x.name == "stock")
    effect = named(found, one.label)
    for outcome, factor in ((effect.at_low, one.low), (effect.at_high, one.high)):
        told = solve(drawn_out(scenario.but({"fixing.stock": factor * 453.9})))
        assert outcome.seconds / MINUTE == pytest.approx(told.minutes_to_target, rel=0.01)


def test_strongest_first_and_every_unknown_there(found) -> None:
    sizes = [swing(one, found.nominal) for one in found.effects]
    assert sizes == sorted(sizes, reverse=True)
    labels = {one.label for one in unknowns.unknowns(files.example("demo"))}
    assert {one.label for one in found.effects if one.unknown} == labels
    assert {label for label, _, _ in found.shares} == labels


def test_words_follow_the_minutes() -> None:
    def outcome(minutes: float | None) -> Outcome:
        seconds = None if minutes is None else 60 * minutes
        return Outcome(seconds=seconds, volume=seconds and 0.004, residual=1e-5)

    def told(low: float | None, high: float | None) -> str:
        effect = Effect(
            label="flow",
            unknown=False,
            low="a",
            high="b",
            at_low=outcome(low),
            at_high=outcome(high),
        )
        return sentence(effect, outcome(40))

    assert told(40, 41).startswith("Flow hardly matters here: a, 40 min and 4 L; b, 41 min")
    assert told(40, 45).startswith("Flow matters a little here")
    assert told(40, 60).startswith("Flow matters here")
    assert told(40, 90).startswith("Flow matters much here")
    assert "matters much here: a, 40 min and 4 L; b, not under the target, 0.01 g" in told(40, None)


def test_where_the_target_is_met_nowhere_what_is_left_decides() -> None:
    """A quarter of an hour at 7 or 25 C is far too little, and not the same: it is no answer that
    the temperature hardly matters because minutes to the target cannot be told."""
    short = files.example("demo").but({"steps.1.baths": 1, "steps.1.duration": 60.0})
    found = influence(short)
    assert found.nominal.seconds is None
    effect = named(found, "temperature of the water")
    cold, warm = (solve(short.but({"water.temperature": at + 273.15})) for at in (7, 25))
    apart = (cold.worst_residual - warm.worst_residual) / solve(short).worst_residual
    assert swing(effect, found.nominal) == pytest.approx(apart, rel=0.1)
    words = sentence(effect, found.nominal)
    assert "7 °C, not under the target" in words
    assert "g/m² at the end" in words


def test_what_costs_water_and_no_time_is_said_to() -> None:
    def at(minutes: float, litres: float) -> Outcome:
        return Outcome(seconds=60 * minutes, volume=1e-3 * litres, residual=1e-5)

    def told(minutes: float, litres: float) -> str:
        effect = Effect(
            label="volume",
            unknown=False,
            low="a",
            high="b",
            at_low=at(40, 10),
            at_high=at(minutes, litres),
        )
        return sentence(effect, at(40, 10))

    assert told(40, 10).startswith("Volume hardly matters here: a, 40")
    assert told(40, 11).startswith(
        "Volume hardly matters here for the time, a little for the water"
    )
    assert told(45, 14).startswith("Volume matters a little here for the time, more for the water")
    assert told(41, 20).startswith("Volume hardly matters here for the time, much for the water: a")
    # where the time says it already, the water adds nothing
    assert told(90, 20).startswith("Volume matters much here: a")


def test_waiting_for_prints_to_come_hides_nothing() -> None:
    """Fourteen prints 8 min apart: 104 min pass until the last has come, whatever the wash. Of its
    own 26 min a still tray adds more than half, and that is no trifle."""
    scenario = files.example("hold_and_changes")
    found = influence(scenario)
    assert found.nominal.waited == pytest.approx(13 * 8 * MINUTE)
    effect = named(found, "agitation")
    own = found.nominal.seconds - 13 * 8 * MINUTE
    change = effect.at_low.seconds - effect.at_high.seconds
    assert swing(effect, found.nominal) == pytest.approx(change / own)
    assert 0.6 < swing(effect, found.nominal) < 1
    for name, waited in (("demo", 0.0), ("late_sheet", 39 + 5 / 6), ("two_batches", 50.0)):
        nominal = influence(files.example(name)).nominal
        assert nominal.waited / MINUTE == pytest.approx(waited, abs=0.2), name


def test_batches_are_taken_as_they_are() -> None:
    """Were the last filling of each batch to go on, the second would wait for water it does not
    need: the answer is when its slowest print passes in the steps as written."""
    scenario = files.example("two_batches")
    result = solve(scenario)
    left = result.run.left_fixer
    passed = max(at + seconds for at, seconds in zip(left, result.seconds_to_target, strict=True))
    found = influence(scenario)
    assert not found.goes_on
    assert found.nominal.seconds == pytest.approx(passed - min(left), rel=0.01)
    assert found.nominal.volume == pytest.approx(8 * 4e-3)
    assert found.nominal.seconds < found.end


@pytest.mark.parametrize(("name", "near"), [("strip", 0.05), ("resin_coated", 0.02)])
def test_a_quick_wash_is_told_to_the_second(name: str, near: float) -> None:
    """Outputs spread over hours would find any print clean after the first of them."""
    scenario = files.example(name)
    told = solve(scenario.but({"settings.outputs": 5000}))
    assert told.minutes_to_target < 3
    nominal = influence(scenario).nominal
    assert nominal.seconds / MINUTE == pytest.approx(told.minutes_to_target, rel=near)


def test_one_unknown_has_all_the_doubt_and_none_shares_nothing() -> None:
    assert [(a, t) for _, a, t in influence(files.example("slab")).shares] == [(1.0, 1.0)]
    assert influence(files.example("batch")).shares == ()


def test_a_step_with_its_own_water_is_turned_as_well(found) -> None:
    own = {"steps.1.temperature": 293.15, "steps.1.water": "soft_tap"}
    same = influence(files.example("demo").but(own))
    for label in ("temperature of the water", "kind of water"):
        mine, theirs = named(same, label), named(found, label)
        for a, b in ((mine.at_low, theirs.at_low), (mine.at_high, theirs.at_high)):
            assert a.seconds == pytest.approx(b.seconds, rel=1e-6)


def test_in_still_water_agitation_and_density_are_asked_as_well() -> None:
    scenario = files.example("still")
    found = influence(scenario)
    tray = scenario.vessels[0]
    for label, low, high in (
        ("agitation", {}, {"stirring": "brisk"}),
        ("density (face up or down, nothing moved)", {"lying": "floor"}, {"lying": "face_down"}),
    ):
        effect = named(found, label)
        for outcome, changes in ((effect.at_low, low), (effect.at_high, high)):
            one = scenario.but({"vessels.tray": dataclasses.replace(tray, **changes)})
            longer = solve(drawn_out(one))
            # currents bend the law: a hundredth for the steps as well
            assert outcome.seconds / MINUTE == pytest.approx(longer.minutes_to_target, rel=0.02)


def test_what_goes_on_stays_as_warm_as_it_ended() -> None:
    cooling = files.example("demo").but(
        {"steps.1.temperature": 298.15, "steps.1.temperature_end": 285.15}
    )
    first, second = drawn_out(cooling).steps
    assert first == cooling.steps[0]
    assert (second.temperature, second.temperature_end, second.baths) == (285.15, None, 12)
    assert len(influence(cooling).effects) > 0


def test_a_knob_that_cannot_be_turned_so_far_is_named() -> None:
    big = files.example("demo").but({"vessels.tray.volume": 1.5})
    found = influence(big)
    assert found.left_out == ("volume of a filling (3000 L)",)


def test_ends_are_told_in_the_units_of_people(capsys) -> None:
    assert cli.main(["influence", "--units", "us"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "44.6 °F" in out
    # 4 L fillings; 1 gal is 3.785411784 L
    assert "0.528 gal" in out
    assert "2.11 gal" in out


def test_shares_of_a_product_are_those_of_its_factors() -> None:
    """ln of a product is a sum, so a factor's share is its own variance. Of a normal with width a
    below and b above the middle that is (a2 + b2) / 2 - (b - a)2 / (2 pi) (moments of half normals)."""
    known = unknowns.unknowns(files.example("demo"))[-5:]
    variances = []
    for one in known:
        low, high = -math.log(one.low) / unknowns.FIFTH, math.log(one.high) / unknowns.FIFTH
        variances.append((low**2 + high**2) / 2 - (high - low) ** 2 / (2 * math.pi))

    def product(z: np.ndarray) -> np.ndarray:
        factors = unknowns.sample(known, z).factors
        return sum(np.log(factors[one.name]) for one in known)

    shares = {label: (a, t) for label, a, t in variance_shares(known, product, base=2048)}
    for one, variance in zip(known, variances, strict=True):
        alone, total = shares[one.label]
        # 2048 points, and draws held back beyond 2.5 widths
        assert alone == pytest.approx(variance / sum(variances), abs=0.03)
        assert total == pytest.approx(variance / sum(variances), abs=0.03)


def test_the_command_tells_people_and_machines(capsys, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert cli.main(["influence"]) == 0
    out = capsys.readouterr().out
    assert "Agitation matters here" in out
    assert "Share of the doubt" in out
    assert max(map(len, out.splitlines())) <= 80
    assert cli.main(["influence", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == "washsim-influence-1"
    assert {one["kind"] for one in told["effects"]} == {"unknown", "knob"}


def test_progress_may_cancel() -> None:
    class Stopped(Exception):
        pass

    def stop(share: float) -> None:
        raise Stopped

    with pytest.raises(Stopped):
        influence(files.example("demo"), stop)
