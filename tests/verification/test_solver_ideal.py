"""Ideal mode through scenarios: every bath ends in equilibrium, so arithmetic knows the answer.

The paper is all liquid, 0.25 mm thick, hindrance 1, stirring "perfect". Its slowest time constant
is L^2 / (pi^2 D) = 6.3 s, so that a dwell of 10 minutes leaves e^-95 of any unevenness: nothing.
What remains is the arithmetic of the solver.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.references import cases, closed_forms, layered
from tests.verification import rig
from washsim.recipes import Bath, Hold, Running, Transfer
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.vessels import Vessel

source = pytest.mark.source
IDEAL = [layered.Layer(thickness=0.25e-3, porosity=1.0, hindrance=1.0)]
FULL = 25e-3  # kg/m2
HELD = 0.25e-3 * cases.SHEET_AREA  # m3 in a sheet
DWELL = 600.0  # s
FLOOR = 1e-11
"""Relative: rounding, through some tens of baths."""
STEADY = 1e-9
"""Relative: what is left of the start after 32 sheets, 2e-10 in the row of four (by the table)."""


def ideal(steps: list[Any], litres: float, **more: Any) -> Scenario:
    tray = {"name": "tray", "volume": litres * 1e-3, "stirring": "perfect"}
    vessel = Vessel(**(tray | more.pop("vessel", {})))
    fixing = {"duration": DWELL, "stirring": "perfect"}
    return rig.scenario(IDEAL, steps, [vessel], fixing=fixing, **more)


def washed(steps: list[Any], litres: float, **more: Any) -> Result:
    result = solve(ideal(steps, litres, **more))
    assert result.load == pytest.approx([FULL] * len(result.load), rel=FLOOR, abs=0.0)
    return result


@source(
    "Hickman and Spencer 1922 (equilibrium baths), (1 + E)^-n; the project's working notes, ideal mode"
)
@pytest.mark.parametrize("nodes", ["lobatto", "even"])
@pytest.mark.parametrize("baths", [1, 2, 3, 4])
def test_changes(baths: int, nodes: str) -> None:
    """One litre in all for a sheet, as 1 to 4 baths."""
    result = washed([Bath(vessel="tray", baths=baths, duration=DWELL)], 1 / baths, nodes=nodes)
    left = FULL * closed_forms.cross_current(1e-3 / baths / HELD, baths)
    assert result.worst_residual == pytest.approx(left, rel=FLOOR, abs=0.0)
    assert result.litres_total == pytest.approx(1e-3, rel=1e-12)
    # the working notes digits, whose area is rounded: 3e-4 of a bath, times the baths
    printed = {1: 0.3184, 2: 0.01581, 3: 0.001293, 4: 0.000145}[baths]
    assert 1e3 * result.worst_residual == pytest.approx(printed, rel=5e-3)


@source("derived: mass balance of a puddle (tests.references.closed_forms.puddle_changes)")
@pytest.mark.parametrize("puddle", [0.0, 0.3, 1.0])
def test_puddles(puddle: float) -> None:
    """Two changes of 10 L for the batch of 14, poured on the puddle."""
    result = washed(
        [Bath(vessel="tray", baths=2, duration=DWELL)],
        10.0,
        count=14,
        vessel={"puddle": puddle * 1e-3},
    )
    left = closed_forms.puddle_changes(14 * HELD, 10e-3, puddle * 1e-3, 2)
    assert result.worst_residual == pytest.approx(FULL * left, rel=FLOOR, abs=0.0)


@source("derived: the film on a sheet is liquid like the liquid in it, one mass balance a bath")
def test_carry_over() -> None:
    """From vessel to vessel a sheet takes its film along; within one vessel it does not."""
    carry = 60e-6  # m3/m2
    film = carry * cases.SHEET_AREA
    steps = [Bath(vessel=name, duration=DWELL) for name in ("tray", "second", "third")]
    scenario = ideal(steps, 1.0, carry=carry)
    vessel = scenario.vessels[0]
    others = [Vessel(name=n, volume=1e-3, stirring="perfect") for n in ("second", "third")]
    result = solve(scenario.but(vessels=(vessel, *others)))
    wet = HELD + film
    left = (wet / (wet + 1e-3)) ** 3
    assert result.worst_residual == pytest.approx(FULL * left, rel=FLOOR, abs=0.0)


def table(sheets: int, trays: int, litres: float, every: int) -> list[float]:
    """kg/m2 of each sheet through a row of trays, added up sheet by sheet and tray by tray.

    The first tray is renewed and put last as every `every`-th sheet comes; 0 never.
    """
    row, inside = [0.0] * trays, [rig.FIXER] * sheets
    for tick in range(sheets + trays - 1):
        if every and 0 < tick < sheets and tick % every == 0:
            row = [*row[1:], 0.0]
        for position in range(trays):
            sheet = tick - position
            if 0 <= sheet < sheets:
                solute = HELD * inside[sheet] + 1e-3 * litres * row[position]
                inside[sheet] = row[position] = solute / (HELD + 1e-3 * litres)
    return [0.25e-3 * c for c in inside]


@source("Kremser, Ind. Eng. Chem. 22, 1930; Perry's Chemical Engineers' Handbook, stage formula")
@pytest.mark.parametrize(("trays", "litres"), [(1, 0.2), (2, 0.1), (3, 0.1), (4, 0.1)])
def test_counter_current_in_steady_state(trays: int, litres: float) -> None:
    """Trays renewed for every sheet: after many sheets the water of each is that of Kremser."""
    sheets = 36
    step = Transfer(vessel="tray", trays=trays, duration=DWELL, sheets_per_fill=1)
    result = washed([step], litres, nodes="lobatto", count=sheets, interval=DWELL)
    by_hand = table(sheets, trays, litres, 1)
    assert result.final_residual == pytest.approx(by_hand, rel=FLOOR, abs=0.0)
    # the last sheets of all meet water that is not renewed any more: no sheet comes after them
    left = FULL * closed_forms.counter_current(litres * 1e-3 / HELD, trays)
    assert result.final_residual[sheets - trays] == pytest.approx(left, rel=STEADY, abs=0.0)
    # each sheet after the first has cost one filling
    assert result.litres_total == pytest.approx((sheets - 1 + trays) * litres * 1e-3, rel=1e-12)


@source("derived: one mass balance a sheet and tray, added up by hand")
@pytest.mark.parametrize("every", [0, 2, 3])
def test_transfer(every: int) -> None:
    """Three trays and eight sheets, never renewed or every second or third sheet."""
    step = Transfer(vessel="tray", trays=3, duration=DWELL, sheets_per_fill=every)
    result = washed([step], 0.5, count=8, interval=DWELL)
    expected = table(8, 3, 0.5, every)
    assert result.final_residual == pytest.approx(expected, rel=FLOOR, abs=0.0)


@source("exponential function: a stirred tank under flow, e^(-q t / V)")
@pytest.mark.parametrize("efficiency", [1.0, 0.5])
def test_stirred_tank(efficiency: float) -> None:
    """The clinging water of one sheet, its faces then as good as sealed, is rinsed from 5 L."""
    litres, flow, carry = 5.0, 2.0, 100e-6
    tight = [layered.Layer(thickness=1e-6, porosity=0.01, hindrance=0.001)]
    vessel = Vessel(
        name="tray",
        volume=litres * 1e-3,
        flow=flow * 1e-3 / 60,
        exchange_efficiency=efficiency,
        stirring="still_face_up",
    )
    result = solve(
        rig.scenario(tight, [Running(vessel="tray", duration=1800.0)], [vessel], carry=carry)
    )
    film = carry * cases.SHEET_AREA
    volume = litres * 1e-3 + film
    start = film * rig.FIXER / volume
    times = result.times - 300.0
    running = (times >= 0) & (times <= 1800.0)
    exact = [
        start * closed_forms.stirred_tank(efficiency * flow * 1e-3 / 60, volume, t)
        for t in times[running]
    ]
    # the paper itself holds 1e-8 m3/m2, a ten-thousandth of its film
    assert result.water(1)[running] == pytest.approx(exact, rel=2e-4, abs=0.0)


@source("derived: sheets in equilibrium with running water share its e-folding, V + liquid held")
def test_running_with_quick_paper() -> None:
    """Paper so quick that it follows the water: one tank of water and held liquid together."""
    litres, flow = 20.0, 0.5
    result = washed(
        [Running(vessel="tray", duration=7200.0)],
        litres,
        count=14,
        vessel={"flow": flow * 1e-3 / 60},
    )
    volume, held, q = litres * 1e-3, 14 * HELD, flow * 1e-3 / 60
    # the paper lags behind by L^2 / 12 D = 5.2 s, the share of it that the water turns over: exact
    # decay of the slowest mode by Newton from the transfer function of a slab, both faces open
    rate = q / (volume + held)
    for _ in range(20):
        phase = 0.5 * 0.25e-3 * math.sqrt(rate / 1e-9)
        rate = q / (volume + held * math.tan(phase) / phase)
    late = result.residual[0][-10:]
    slope = -np.polyfit(result.times[-10:], np.log(late), 1)[0]
    assert slope == pytest.approx(rate, rel=1e-7, abs=0.0)


@source("derived: sheets held in standing water, one mass balance as each arrives")
def test_hold() -> None:
    """Six sheets, renewal when half are in; the last one straight on into nothing."""
    litres, sheets = 2.0, 6
    result = washed(
        [Hold(vessel="tray", changes=1, duration=DWELL)],
        litres,
        count=sheets,
        interval=DWELL,
    )
    # three sheets give their fixer to the first water and share it, then fresh water, three more
    water = litres * 1e-3
    first = 3 * HELD * rig.FIXER / (water + 3 * HELD)
    solute = 3 * HELD * first + 3 * HELD * rig.FIXER
    even = solute / (water + 6 * HELD)
    left = [0.25e-3 * even] * sheets
    assert result.final_residual == pytest.approx(left, rel=FLOOR, abs=0.0)


@source("arithmetic: a bath of ratio E leaves (c + E w) / (1 + E) of what was c in water of w")
@pytest.mark.parametrize("baths", [1, 2, 3])
def test_the_last_water_of_a_batch_is_the_first_of_the_next(baths: int) -> None:
    """Counter-current between batches: three of them, by hand, bath after bath."""
    litres, batches = 0.05, 3
    step = Bath(vessel="tray", baths=baths, duration=DWELL, begin="kept")
    result = washed([step], litres, batches=batches)
    ratio, water, left = 1e-3 * litres / HELD, 0.0, []
    for batch in range(batches):
        paper = FULL
        for number in range(baths):
            if batch == 0 or number > 0:
                water = 0.0
            paper = water = (paper + ratio * water) / (1 + ratio)
        left.append(paper)
    assert result.final_residual == pytest.approx(left, rel=FLOOR, abs=0.0)
    poured = (batches * (baths - 1) + 1) * 1e-3 * litres
    assert result.litres_total == pytest.approx(poured, rel=1e-12)
    assert result.balance < 1e-12


@source("arithmetic: a bath of ratio E leaves (c + E w) / (1 + E) of what was c in water of w")
def test_a_holding_bath_kept_as_the_first_water() -> None:
    """Two sheets, the second when the first is even with the water: all three share 2 + E."""
    steps = [
        Hold(vessel="tray"),
        Bath(vessel="tray", baths=2, duration=DWELL, begin="kept"),
    ]
    litres = 0.05
    result = washed(steps, litres, count=2, interval=DWELL)
    ratio = 1e-3 * litres / HELD
    held = 2 * FULL / (2 + ratio)
    left = held * 2 / (2 + ratio)
    assert result.final_residual == pytest.approx([left, left], rel=FLOOR, abs=0.0)
    assert result.litres_total == pytest.approx(2e-3 * litres, rel=1e-12)
