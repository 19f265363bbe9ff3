"""What would help most next: each claim follows from a run of its own."""

from __future__ import annotations

import pytest

from washsim import files, helps, solve
from washsim.recipes import Bath
from washsim.scenario import Scenario
from washsim.units import litre, minute

DEMO = files.example("demo")
SOME = {
    "demo": DEMO,
    "running": files.example("running"),
    "still": files.example("still"),
    "face up": files.with_method(DEMO, "still_floor"),
    "row": files.with_method(DEMO, "row"),
    "short": DEMO.but({"steps.1.baths": 2}),
}


@pytest.mark.parametrize("scenario", SOME.values(), ids=SOME)
def test_each_help_says_what_its_own_run_says_and_helps(scenario: Scenario) -> None:
    result = solve.solve(scenario)
    found = helps.helps(result)
    assert found, "there is always something, in these"
    for one in found:
        again = solve.solve(one.scenario)
        assert one.minutes == again.minutes_to_target
        assert one.residual == again.worst_residual
        assert one.more_water == pytest.approx(again.litres_total - result.litres_total, abs=1e-12)
        if result.minutes_to_target is None:
            assert one.residual < result.worst_residual
        else:
            assert one.minutes is not None
            assert one.minutes < result.minutes_to_target - 1
    met = [one for one in found if one.minutes is not None]
    assert met == found[: len(met)], "what meets the target comes first"


def test_the_words_carry_minutes_and_litres() -> None:
    short = solve.solve(SOME["short"])
    assert short.minutes_to_target is None
    step = short.scenario.steps[0]
    assert isinstance(step, Bath)
    found = [one for one in helps.helps(short) if one.words == "one more bath"]
    told = helps.sentence(short, found)
    # a bath more is its time, give or take the draining before it, and its litres
    assert found[0].more_time == pytest.approx(step.duration, abs=DEMO.handling.drain)
    assert f"{step.duration / minute:.0f} min longer" in told
    poured = DEMO.vessels[0].volume - DEMO.vessels[0].puddle
    assert found[0].more_water == pytest.approx(poured, rel=0.2)
    assert f"{found[0].more_water / litre:.3g} L more" in told
    assert " gal more" in helps.sentence(short, found, "us")


def test_what_costs_nothing_says_so() -> None:
    result = solve.solve(DEMO)
    warm = [one for one in helps.helps(result) if one.words == "water at 25 °C"]
    assert "no more time, no more water" in helps.sentence(result, warm)
    assert any(one.words == "water at 77 °F" for one in helps.helps(result, "us"))


def test_warmer_water_stops_at_the_caution() -> None:
    warm = DEMO.but({"water.temperature": DEMO.water.temperature + 4})
    assert not any("water at" in words for words, _ in helps.options(warm))


def test_where_nothing_helps_it_says_so() -> None:
    strip = solve.solve(files.example("strip"))
    assert helps.helps(strip) == []
    assert "nothing that was tried" in helps.sentence(strip, [])


def test_what_cannot_be_done_is_left_out() -> None:
    # twice this flow is more than a field may hold
    slab = files.example("slab")
    assert all(one.words != "twice the flow" for one in helps.helps(solve.solve(slab)))


def test_a_covered_face_is_what_hurts_most() -> None:
    # job guide: one covered face costs about four-fold time (E2); so baring it helps most
    result = solve.solve(DEMO.but({"vessels.tray.open_faces": "front"}))
    assert helps.helps(result)[0].words == "both faces in the water"
