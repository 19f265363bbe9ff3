"""What the planner may try: only what stands at the sink, filled so that sheets are covered."""

from __future__ import annotations

from dataclasses import replace

import pytest

from washsim import candidates, files
from washsim.recipes import Aid, Bath, Hold, Rinse, Running, Transfer
from washsim.scenario import Scenario
from washsim.vessels import Vessel

LITRE = 1e-3
MINUTE = 60.0


def evening(**changes) -> Scenario:
    """The demo's sheets, one every eight minutes."""
    return files.example("demo").but({"sheet.interval": 8 * MINUTE} | changes)


def every(scenario: Scenario, aid: bool = False) -> list[candidates.Shape]:
    return [size for shape in candidates.shapes(scenario, aid) for size in shape.sizes()]


@pytest.mark.parametrize("name", ["demo", "hold_and_changes", "transfer", "running"])
@pytest.mark.parametrize("aid", [False, True])
def test_every_shape_can_be_carried_out_with_what_there_is(name: str, aid: bool) -> None:
    scenario = files.example(name)
    at_hand = {vessel.name: vessel for vessel in scenario.vessels}
    found = every(scenario, aid)
    assert found
    for shape in found:
        made = shape.at(6 * MINUTE, min(2, shape.fillings), last=7 * MINUTE)
        assert made.timeline.end > 0
        for vessel in made.vessels:
            known = at_hand[vessel.name]
            assert vessel.volume <= known.volume
            assert vessel.flow <= known.flow
            assert replace(vessel, volume=1.0, flow=0.0) == replace(known, volume=1.0, flow=0.0)
        assert aid or not any(isinstance(step, Aid) for step in made.steps)


def test_a_row_needs_as_many_trays_as_there_are() -> None:
    scenario = evening()
    assert not any(isinstance(s.scenario.steps[0], Transfer) for s in every(scenario))
    rows = [
        shape.scenario.steps[0].trays
        for shape in every(scenario.but({"vessels.tray.pieces": 4}))
        if isinstance(shape.scenario.steps[0], Transfer)
    ]
    assert set(rows) == {2, 3, 4}
    # a row that the user's own steps use is at hand, whatever is stated
    assert candidates.trays_at_hand(files.example("transfer"), _vessel("transfer", "small")) == 7


def _vessel(example: str, name: str) -> Vessel:
    return next(v for v in files.example(example).vessels if v.name == name)


def test_nothing_runs_where_there_is_no_tap() -> None:
    assert any(isinstance(s.scenario.steps[-1], Running) for s in every(files.example("demo")))
    dry = files.example("demo").but({"vessels.washer.flow": 0.0})
    assert not any(isinstance(s.scenario.steps[-1], Running) for s in every(dry))


def test_sheets_that_come_one_by_one_are_held() -> None:
    def holds(shape: candidates.Shape) -> bool:
        return any(isinstance(step, Hold) for step in shape.scenario.steps)

    assert all(holds(shape) for shape in every(evening()) if shape.filled)
    assert not any(holds(shape) for shape in every(files.example("demo")))


def test_least_water_covers_the_sheets() -> None:
    """Four millimetres a sheet, by arithmetic; a vessel's own word goes before it."""
    sheet = files.example("demo").sheet
    tray = Vessel(name="tray", volume=10 * LITRE)
    assert tray.least_water(sheet, 14) == pytest.approx(14 * 0.203 * 0.254 * 4e-3)
    assert tray.least_water(sheet, 1) == pytest.approx(0.203 * 0.254 * 10e-3)
    # more than a small tray holds: nobody is told to lay fourteen prints into it
    small = replace(tray, volume=2 * LITRE)
    assert small.least_water(sheet, 14) == tray.least_water(sheet, 14)
    assert replace(tray, least=5 * LITRE).least_water(sheet, 14) == 5 * LITRE
    assert replace(tray, least=50 * LITRE).least_water(sheet, 14) == 10 * LITRE
    washer = replace(tray, flow=1e-4)
    assert washer.least_water(sheet, 14) == 10 * LITRE
    assert replace(washer, least=4 * LITRE).least_water(sheet, 14) == 4 * LITRE


def test_a_jug_tells_tenths_and_then_halves() -> None:
    assert candidates.to_jug(3.24 * LITRE) == pytest.approx(3.2 * LITRE)
    assert candidates.to_jug(3.24 * LITRE, up=True) == pytest.approx(3.3 * LITRE)
    assert candidates.to_jug(3.3 * LITRE, up=True) == pytest.approx(3.3 * LITRE)
    assert candidates.to_jug(12.3 * LITRE) == pytest.approx(12.5 * LITRE)


def test_the_last_dwell_may_differ() -> None:
    shape = next(candidates.shapes(files.example("demo"), aid=False))
    made = shape.at(5 * MINUTE, 4, last=9 * MINUTE)
    assert [(s.baths, s.duration / MINUTE) for s in made.steps] == [(3, 5.0), (1, 9.0)]
    assert candidates.describe(made) == "3 × 4 L in tray, 5 min each; 4 L in tray, 9 min"
    whole = shape.at(5 * MINUTE, 4)
    assert candidates.describe(whole) == "4 × 4 L in tray, 5 min each"


def test_words_for_every_kind_of_step() -> None:
    for name in files.examples():
        words = candidates.describe(files.example(name))
        assert words.count(";") == len(files.example(name).steps) - 1
    assert "row of 7 with 2 L in" in candidates.describe(files.example("transfer"))
    assert "wash aid, " in candidates.describe(files.example("aid"))
    assert "hold in 10 L in holding, renewed 1 ×" in candidates.describe(
        files.example("hold_and_changes")
    )


def kept(shape: candidates.Shape) -> bool:
    return any(getattr(step, "begin", "fresh") == "kept" for step in shape.scenario.steps)


def test_water_is_kept_only_where_some_has_washed() -> None:
    """What a holding bath, fillings before the tap, or a batch before have left in the vessel."""
    for scenario in (files.example("demo"), evening()):
        for shape in filter(kept, every(scenario)):
            *_, before, last = shape.scenario.steps
            assert isinstance(before, Hold | Bath)
            assert before.vessel == last.vessel
    batches = every(files.example("demo").but({"sheet.batches": 2}), aid=True)
    assert any(kept(shape) and len(shape.scenario.steps) == 1 for shape in batches)
    # sulfite is no water to begin with
    for shape in filter(kept, batches):
        assert not any(isinstance(step, Aid) for step in shape.scenario.steps[-2:-1])


@pytest.mark.parametrize("name", ["demo", "running", "hold_and_changes", "transfer"])
@pytest.mark.parametrize("batches", [1, 2])
def test_more_water_is_what_the_timeline_says(name: str, batches: int) -> None:
    for shape in every(files.example(name).but({"sheet.batches": batches})):
        brief, more = shape.brief, min(2, shape.fillings - 1)
        least = shape.at(brief).timeline.fresh_water
        longer = shape.at(brief + MINUTE, 1 + more).timeline.fresh_water
        assert least + shape.more_water(MINUTE, more) == pytest.approx(longer)


def test_a_dwell_leaves_hands_the_time_to_fill() -> None:
    """15 s to dump and 10 L a minute to fill, in half minutes; never under two minutes."""
    shape = next(one for one in candidates.shapes(files.example("demo"), aid=False) if one.filled)
    for litres, minutes in ((5, 2), (20, 2.5), (60, 6.5)):
        assert shape.with_filling(litres * LITRE).brief == pytest.approx(minutes * MINUTE)


def test_no_rinse_where_none_is_wanted() -> None:
    scenario = files.example("hold_and_changes")
    wanted = list(candidates.shapes(scenario, aid=True))
    plain = list(candidates.shapes(scenario, aid=True, rinse=False))
    for shapes, some in ((wanted, True), (plain, False)):
        steps = [step for one in shapes for step in one.scenario.steps]
        assert any(isinstance(step, Rinse) for step in steps) == some
    assert any(isinstance(step, Aid) for one in plain for step in one.scenario.steps)


def test_words_follow_the_units() -> None:
    """4 L are 1.0567 US gallons."""
    assert candidates.describe(files.example("demo"), "us") == "6 × 1.06 gal in tray, 10 min each"
    again = files.example("demo").but({"steps.1.begin": "kept"})
    assert candidates.describe(again) == (
        "6 × 4 L in tray, the first kept from before, 10 min each"
    )
