"""Invariants of whole scenarios (the working notes), through the call a user makes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.schedules import some
from washsim.fixers import Fixing
from washsim.liquids import STIRRINGS
from washsim.papers import PAPERS, Layer, Sheet
from washsim.recipes import Aid, Bath, Drain, Hold, Rinse, Running, Transfer
from washsim.scenario import Scenario, Settings
from washsim.solve import solve
from washsim.vessels import LYINGS, Handling, Vessel, Water

LITRE, MINUTE = 1e-3, 60.0
QUICK = Layer(name="all liquid", thickness=0.25e-3, porosity=1.0, hindrance=1.0)


@st.composite
def scenarios(draw, **fixed):
    """Any evening a printer could write with one or two vessels."""
    paper = draw(st.sampled_from(PAPERS))
    count = draw(st.integers(1, 4))
    interval = draw(st.sampled_from([0.0, 3 * MINUTE])) if count > 1 else 0.0
    stirring = draw(st.sampled_from((*STIRRINGS, "still")))
    lying = draw(st.sampled_from(LYINGS))
    vessels = tuple(
        Vessel(
            name=name,
            volume=draw(st.floats(0.5, 10)) * LITRE,
            flow=draw(st.floats(0.2, 5)) * LITRE / MINUTE,
            exchange_efficiency=draw(st.floats(0.2, 1.0)),
            dead_fraction=0.0 if lying == "floor" else draw(st.sampled_from([0.0, 0.3])),
            puddle=draw(st.sampled_from([0.0, 0.3])) * LITRE,
            stirring=stirring,
            lying=lying,
            open_faces=draw(st.sampled_from(["both", "front"])),
        )
        for name in ("one", "two")
    )
    minutes = draw(st.floats(0.5, 60.0)) * MINUTE
    kinds = {
        # fillings are counted in sheets only where those come one by one
        "rinse": Rinse(vessel="one", duration=minutes, sheets_per_fill=2 if interval else 0),
        "aid": Aid(vessel="two", duration=minutes),
        "bath": Bath(vessel="one", baths=draw(st.integers(1, 4)), duration=minutes),
        "running": Running(vessel="two", duration=minutes),
        "hold": Hold(vessel="one", changes=1 if interval else 0, duration=minutes),
        "drain": Drain(duration=30.0),
        "transfer": Transfer(vessel="two", trays=2, duration=minutes),
    }
    words = draw(st.lists(st.sampled_from(list(kinds)), min_size=1, max_size=3))
    steps = [kinds[word] for word in words]
    # one vessel serves one step at a time; sheets that come one by one would overlap in it
    if interval:
        steps = steps[:1]
    if isinstance(steps[0], Drain):
        steps = [*steps, kinds["bath"]]
    return Scenario(
        sheet=Sheet(
            paper=paper,
            count=count,
            interval=interval,
            explanation=draw(st.sampled_from(["slow", "held", "both", "saturating"])),
        ),
        fixing=Fixing(
            duration=draw(st.floats(20, 600)),
            baths=draw(st.integers(1, 2)),
            stirring=draw(st.sampled_from(STIRRINGS)),
        ),
        water=Water(thiosulfate=draw(st.sampled_from([0.0, 0.001]))),
        handling=Handling(drain=draw(st.floats(0, 30))),
        vessels=vessels,
        steps=tuple(steps),
        settings=Settings(nodes=draw(st.sampled_from(["auto", "lobatto"])), outputs=60),
        **fixed,
    )


@given(scenario=scenarios())
@some(60)
def test_any_scenario_keeps_its_fixer(scenario):
    """The result's own ledger, and the one of what stands where at the end."""
    result = solve(scenario)
    assert result.balance <= 1e-10
    where = result.whereabouts(np.array([scenario.timeline.end]))
    inside = sum(float(value[0]) for name, value in where.items() if name not in ("water", "drain"))
    lots = scenario.timeline.lots
    area = scenario.sheet.area
    ends = sum(lot.count * area * result.final_residual[lot.first - 1] for lot in lots)
    assert inside == pytest.approx(ends, rel=1e-9, abs=1e-15)
    assert min(result.final_residual) >= -1e-12


def bath(**more):
    """One sheet or more in changes of still water; more: sheet, fixing, vessel and step."""
    vessel = {"name": "tray", "volume": 2 * LITRE, "stirring": "rocking"} | more.pop("vessel", {})
    step = {"vessel": "tray", "baths": 3, "duration": 5 * MINUTE} | more.pop("step", {})
    return Scenario(
        sheet=Sheet(**({"count": 4} | more.pop("sheet", {}))),
        fixing=Fixing(**more.pop("fixing", {})),
        handling=Handling(carry_over=more.pop("carry", 60e-6)),
        vessels=(Vessel(**vessel),),
        steps=(Bath(**step),),
        settings=Settings(nodes="lobatto", outputs=30),
        **more,
    )


def ideal(litres, baths, puddle=0.0):
    """Equilibrium in each bath, one sheet of 0.25 L/m2."""
    return bath(
        sheet={"paper": "own", "layers": (QUICK,), "explanation": "own", "count": 1},
        fixing={"duration": 600.0, "stirring": "perfect"},
        vessel={"volume": litres * LITRE, "stirring": "perfect", "puddle": puddle * LITRE},
        step={"baths": baths, "duration": 600.0},
        carry=0.0,
    )


PROPER = st.floats(0.3, 20.0)


@given(
    litres=PROPER,
    factor=st.floats(1.0, 5.0),
    minutes=st.floats(1, 40),
    paper=st.sampled_from(PAPERS),
)
@some(25)
def test_more_water_never_harms(litres, factor, minutes, paper):
    few, many = (
        solve(
            bath(
                sheet={"paper": paper},
                vessel={"volume": v * LITRE},
                step={"duration": minutes * MINUTE},
            )
        )
        for v in (litres, factor * litres)
    )
    # two runs of accuracy 1e-4, whose errors are alike
    assert many.worst_residual <= few.worst_residual * (1 + 1e-7) + 1e-12


@given(flow=st.floats(0.1, 10), factor=st.floats(1.0, 5.0), minutes=st.floats(5, 90))
@some(20)
def test_more_flow_never_harms(flow, factor, minutes):
    def run(rate):
        scenario = bath(vessel={"flow": rate * LITRE / MINUTE, "exchange_efficiency": 0.6})
        step = Running(vessel="tray", duration=minutes * MINUTE)
        return solve(scenario.but(steps=(step,))).worst_residual

    assert run(factor * flow) <= run(flow) * (1 + 1e-7) + 1e-12


@given(minutes=st.floats(1, 40), longer=st.floats(0, 40), litres=PROPER)
@some(20)
def test_a_longer_dwell_never_harms(minutes, longer, litres):
    """Every change of it: the water starts clean each time and never becomes richer than paper."""
    short, long = (
        solve(bath(vessel={"volume": litres * LITRE}, step={"duration": t * MINUTE}))
        for t in (minutes, minutes + longer)
    )
    assert long.worst_residual <= short.worst_residual * (1 + 1e-7) + 1e-12


@given(
    litres=st.floats(0.3, 20.0),
    baths=st.integers(2, 6),
    puddle=st.sampled_from([0.0, 0.3]),
)
@some(20)
def test_n_changes_are_never_worse_than_one(litres, baths, puddle):
    """The same water at full equilibrium, with the puddle it leaves or without."""
    one, several = solve(ideal(litres, 1, puddle)), solve(ideal(litres / baths, baths, puddle))
    assert several.worst_residual <= one.worst_residual * (1 + 1e-9)


@given(litres=st.floats(0.1, 2.0), trays=st.integers(2, 4))
@some(10)
def test_counter_current_is_never_worse_than_cross_current(litres, trays):
    """Litres a sheet: through a row of trays against as many fresh baths."""
    cross = solve(ideal(litres / trays, trays)) if litres / trays >= 0.05 else None
    row = ideal(litres, 1).but(
        {
            "sheet.count": 16,
            "sheet.interval": 600.0,
            "steps": (Transfer(vessel="tray", trays=trays, duration=600.0, sheets_per_fill=1),),
        }
    )
    counter = solve(row.but({"handling.drain": 0.0}))
    if cross is not None:
        assert counter.final_residual[12 - trays] <= cross.worst_residual * (1 + 1e-9)
    # and never better than the same number of fresh baths of all the water
    most = solve(ideal(litres, trays))
    assert counter.final_residual[12 - trays] >= most.worst_residual * (1 - 1e-9)


@given(
    fix=st.floats(20, 600),
    minutes=st.floats(1, 60),
    explanation=st.sampled_from(["slow", "held", "both", "saturating"]),
    fibre=st.sampled_from(["fibre_double", "fibre_single"]),
    stirring=st.sampled_from(STIRRINGS),
)
@some(25)
def test_resin_coated_is_never_slower_than_fibre(fix, minutes, explanation, fibre, stirring):
    def run(paper):
        return solve(
            bath(
                sheet={"paper": paper, "explanation": explanation},
                fixing={"duration": fix, "stirring": stirring},
                vessel={"stirring": stirring},
                step={"duration": minutes * MINUTE},
            )
        )

    rc, other = run("resin_coated"), run(fibre)
    assert rc.worst_residual <= other.worst_residual
    times = [x.minutes_to_target for x in (rc, other)]
    assert times[1] is None or times[0] <= times[1]


@given(count=st.integers(1, 6), factor=st.integers(2, 4), litres=PROPER, flow=st.floats(0.1, 3))
@some(15)
def test_twice_the_prints_in_twice_the_water(count, factor, litres, flow):
    def run(k):
        vessel = {"volume": k * litres * LITRE, "flow": k * flow * LITRE / MINUTE}
        scenario = bath(sheet={"count": k * count}, vessel=vessel)
        steps = (*scenario.steps, Running(vessel="tray", duration=600.0))
        return solve(scenario.but(steps=steps))

    one, more = run(1), run(factor)
    assert more.worst_residual == pytest.approx(one.worst_residual, rel=1e-11)
    assert more.litres_total == pytest.approx(factor * one.litres_total, rel=1e-12)


@given(strength=st.floats(5, 200), minutes=st.floats(1, 30))
@some(15)
def test_half_the_strength_is_half_the_residual(strength, minutes):
    one, half = (
        solve(bath(fixing={"thiosulfate": c}, step={"duration": minutes * MINUTE}))
        for c in (strength, strength / 2)
    )
    assert half.residual == pytest.approx(0.5 * one.residual, rel=1e-11, abs=1e-16)
