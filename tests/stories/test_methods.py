"""Every method under the same batch; the side-by-side test replayed on strips and on the batch."""

from __future__ import annotations

import pytest

from washsim import files, tables
from washsim.errors import InputError
from washsim.result import Result
from washsim.solve import solve

BATCH = {"fixing.fixer": "plain", "fixing.dilution": None, "fixing.duration": 300.0}
STRIP = {"sheet.count": 1, "sheet.width": 0.05, "sheet.height": 0.1}
VISIBLE = tables.datum("limits.spot_test.visible_high").si
TARGET = tables.datum("limits.target.film_limit.value").si


def washed(name: str, **changes) -> Result:
    """A method for an hour and a half (where it is one step) under the demo's batch."""
    scenario = files.with_method(files.example("demo").but(BATCH | changes), name)
    return solve(scenario.but({"steps.1.duration": 90 * 60.0}))


@pytest.mark.parametrize("name", files.methods())
def test_every_method_runs_and_keeps_its_balance(name):
    result = solve(files.with_method(files.example("demo"), name))
    assert result.balance < 1e-10
    assert 0 < result.worst_residual < result.load[0]
    assert tables.entry(f"methods.{name}.minds")


def test_on_strips_still_recirculated_and_running_read_alike():
    """All under the first step most eyes see, so a drop cannot tell them apart."""
    for name in ("still", "recirculated", "slots"):
        assert washed(name, **STRIP).worst_residual < VISIBLE


def test_on_the_batch_still_and_recirculated_stop_at_one_floor():
    """Floor by arithmetic: what went in, over the liquid in paper and water together."""
    ends = {name: washed(name) for name in ("still", "recirculated", "slots")}
    for name in ("still", "recirculated"):
        result = ends[name]
        paper = result.run.paper
        area = result.scenario.paper_area
        film = result.scenario.handling.film(10.0) * area
        taken = result.load[0] * area + film * result.scenario.fixing.concentration
        capacity = paper.held_liquid + sum(x.thickness * x.retention for x in paper.layers)
        floor = taken / (capacity * area + film + 10e-3) * capacity
        assert result.floor(0, result.run.timeline.end) == pytest.approx(floor, rel=1e-9)
        assert result.worst_residual > floor > 10 * TARGET
        assert result.minutes_to_target is None
    assert ends["recirculated"].worst_residual == pytest.approx(
        ends["recirculated"].floor(0, 5400.0), rel=0.01
    )
    assert ends["slots"].worst_residual < TARGET


def test_a_strip_in_the_same_tray_has_hundreds_of_litres_a_square_metre():
    ratios = [washed("still", **changes).water_to_paper(1) for changes in (STRIP, {})]
    assert 1e3 * ratios[0] == pytest.approx(10 / 0.005)
    assert 1e3 * ratios[1] == pytest.approx(10 / (14 * 0.203 * 0.254))


def test_an_unknown_method_names_the_nearest():
    with pytest.raises(InputError, match="did you mean 'siphon'"):
        files.with_method(files.example("demo"), "syphon")
