"""The pages that answer a question in numbers from runs, for docs/generate.py."""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path

import numpy as np
from tabular import NOTE, table

sys.path.insert(0, str(Path(__file__).parents[1]))  # the findings stand among the tests

from tests.validation.findings import EXPLANATIONS, FINDINGS, Finding
from washsim import currents, files, tables
from washsim.liquids import density
from washsim.recipes import Bath
from washsim.result import Result
from washsim.solve import solve
from washsim.units import celsius, litre, minute, rounded
from washsim.vessels import Vessel

# --- literature.md ---

LITERATURE_HEAD = """# Published results, reproduced or missed

Results that no default was tuned to, as bands, and what each explanation of the slow wash makes of
them. A figure outside its band is a miss, and its distance from the nearer end is said. No
explanation reproduces everything, which is why the program carries several.

"""


def literature_page() -> str:
    """One row a finding, one column an explanation."""
    head = ("published", "source", "band", *(f"`{name}`" for name in EXPLANATIONS))
    rows = [[f.what, f.source, _band(f), *(_cell(f, e) for e in EXPLANATIONS)] for f in FINDINGS]
    hits = [[f"`{e}`", str(sum(f.inside(e) for f in FINDINGS))] for e in EXPLANATIONS]
    found = f"reproduced, of {len(FINDINGS)}"
    return NOTE + LITERATURE_HEAD + table(head, rows) + table(("explanation", found), hits)


def _band(finding: Finding) -> str:
    return f"{finding.low:g} to {finding.high:g} {finding.unit}"


def _cell(finding: Finding, explanation: str) -> str:
    found = finding.model(explanation)
    if finding.inside(explanation):
        return f"{rounded(found, 2)}, reproduced"
    if found < finding.low:
        return f"{rounded(found, 2)}, missed, {rounded(finding.low / found)} times too little"
    return f"{rounded(found, 2)}, missed, {rounded(found / finding.high)} times too much"


# --- still-water.md ---

STILL_HEAD = """# Does it sink?

Fixer is heavier than water. Is it heavy enough to matter, when, and for how long? Numbers for an
invented print of 20.3 × 25.4 cm, double weight, five minutes in plain hypo, alone in 10 L of water
at 20 °C, explanation `slow`. Films come from heat-transfer correlations carried over to solute,
good to a third where they were measured; how unevenly warm a tray is, how deep the water beneath a
sheet and how quickly rocking renews it are guesses. See [properties](properties.md).

"""
SALT, WARM, SIZE = "sodium", celsius(20), (0.203, 0.254)
GAP = tables.datum("liquids.convection.slot_gap").si
WAYS = (
    ("on the floor, face up", "floor", "still"),
    ("level in the water, face down", "face_down", "still"),
    ("afloat, face down, back dry", "afloat", "still"),
    ("hanging", "hanging", "still"),
    ("on edge in a slot", "slot", "still"),
    ("on the floor, rocked", "floor", "rocking"),
    ("loose, rocked", "loose", "rocking"),
)
LOOKS = (1.0, 10.0, 30.0, 60.0)


def still_page() -> str:
    """Weight, ways of lying, and the water beneath, from formulas and runs."""
    return NOTE + STILL_HEAD + _weights() + _ways() + _beneath() + _answer()


def _weights() -> str:
    rows = []
    for excess in (100.0, 10.0, 1.0, 0.1, 0.01):
        weight = currents.excess_density(excess, SALT)
        colder = currents.equal_warming(weight, WARM)
        layer, age = currents.onset(excess, SALT, WARM)
        rows.append(
            [
                f"{excess:g}",
                rounded(1e3 * weight / density(WARM), 2),
                # water has no more than 20 K to cool by
                rounded(colder, 2) if colder < 20 else "none is",
                f"{1e6 * currents.face_down(excess, SALT, *SIZE, WARM):.2g}",
                f"{1e6 * currents.face_up(excess, SALT, *SIZE, WARM):.2g}",
                f"{1e6 * currents.hanging(excess, SALT, SIZE[1], WARM):.2g}",
                f"{1e6 * currents.slot(excess, SALT, SIZE[1], GAP, WARM):.2g}",
                f"{1e3 * layer:.1g}",
                f"{age:.2g}" if age < 120 else f"{age / 60:.2g} min",
                f"{1e2 * currents.breaking_speed(excess, SALT, 1e-3):.1g}",
            ]
        )
    head = (
        "excess at the face, g/L", "heavier by, ‰", "as water colder by, K", "film face down, µm/s",
        "face up, edges free, µm/s", "film hanging, µm/s", "in a slot, µm/s",
        "layer that lets go, mm", "after, s", "motion that breaks 1 mm, cm/s",
    )  # fmt: skip
    resting = [1e6 * currents.on_the_floor(minutes * minute, WARM) for minutes in (10, 60)]
    uneven = currents.uneven_excess(SALT, WARM)
    warmth = tables.datum("liquids.convection.unevenness").value
    return (
        "## How heavy\n\nGentle rocking makes a film of about "
        f"{tables.datum('liquids.stirring.rocking.film').value * 1e6:g} µm/s. A tray that is "
        f"unevenly warm by {warmth:g} K moves as much\nas {uneven:.2g} g/L of fixer would.\n\n"
        + table(head, rows)
        + "A face that looks up from the floor, whose edges let nothing spill, has a film of "
        f"{resting[0]:.2g} µm/s after\nten minutes and of {resting[1]:.2g} after an hour, whatever "
        "the excess: the layer only thickens.\n\n"
    )


@lru_cache
def _washed(lying: str, stirring: str) -> Result:
    tray = Vessel(name="tray", volume=10 * litre, stirring=stirring, lying=lying)
    demo = files.example("demo").but(
        {
            "sheet.count": 1,
            "sheet.explanation": "slow",
            "fixing.fixer": "plain",
            "fixing.dilution": None,
            "fixing.duration": 5 * minute,
            "vessels": (tray,),
            "steps": (Bath(vessel="tray", duration=180 * minute),),
        }
    )
    return solve(demo)


def _excess(result: Result, minutes: float) -> float:
    """kg/m3 at the front above the water, that many minutes after the fixer."""
    time = np.array([result.run.left_fixer[0] + minutes * minute])
    front = result.run.see(0, time, np.eye(1, result.run.slab.size))[0, 0]
    return float(front - result.water_around(0, time)[0])


def _heavy_for(result: Result) -> float:
    """Minutes until the front is no heavier than draughts are."""
    uneven, grid = currents.uneven_excess(SALT, WARM), np.linspace(0.5, 180, 360)
    over = [m for m in grid if _excess(result, m) > uneven]
    return max(over, default=0.0)


def _ways() -> str:
    rows = []
    for label, lying, stirring in WAYS:
        result = _washed(lying, stirring)
        start = result.run.left_fixer[0]
        left = [float(result.at(0, np.array([start + m * minute]))[0]) * 1e3 for m in LOOKS]
        near = 1.1 * result.floor(0, start + minute)
        grid = np.linspace(1, 180, 180)
        spent = grid[result.at(0, start + grid * minute) > near]
        last = float(spent[-1]) if len(spent) else 0.0
        until = "more than 180" if last >= 180 else f"{last:.0f}"
        heavy = _heavy_for(result)
        rows.append(
            [
                label,
                *(f"{x:.2g}" for x in left),
                *(f"{_excess(result, m):.2g}" for m in (1.0, 30.0)),
                "more than 180" if heavy >= 180 else f"{heavy:.0f}",
                until,
            ]
        )
    head = (
        "print", *(f"left at {m:g} min, g/m²" for m in LOOKS), "excess at the front at 1 min, g/L",
        "at 30 min, g/L", "front heavier than draughts for, min",
        "within 10 % of the floor after, min",
    )  # fmt: skip
    floor = 1e3 * _washed("hanging", "still").floor(0, 600.0)
    return (
        f"## How a print lies\n\nWhat this much water can reach is {floor:.2g} g/m² for all of "
        "them; what differs is when.\n\n" + table(head, rows)
    )


def _beneath() -> str:
    depth = tables.datum("liquids.pool.depth")
    rocked = tables.datum("liquids.pool.rocked")
    _, rate = currents.pool_exchange(1e-9, *SIZE, moved=False)
    return (
        f"## The water beneath\n\nA sheet on the floor lies on about {depth.value:g} mm of water "
        f"({depth.low:g} to {depth.high:g}), which holds {1e3 * depth.si:.2g} L/m². Still, it "
        f"comes out only under the edges, in {1 / rate / 86400:.0f} days. Rocking pumps it out in "
        f"about {rocked.value:g} min ({rocked.low:g} to {rocked.high:g}, a guess); lifting the "
        "sheet changes it at once.\n\n"
    )


def _answer() -> str:
    hanging, floor = _washed("hanging", "still"), _washed("floor", "still")
    rocked, laid = _washed("loose", "rocking"), _washed("floor", "rocking")
    at = np.array([hanging.run.left_fixer[0] + 30 * minute])
    times = [float(r.at(0, at)[0]) for r in (floor, hanging, laid, rocked)]
    return (
        "## So\n\n"
        f"- **Heavy enough?** Yes, in still water. After half an hour a print on the floor keeps "
        f"{times[0] / times[1]:.0f} times what a hanging one does: on the floor the heavy layer "
        "stays on the front, and the back is as good as closed.\n"
        "- **When?** Face down, hanging or in a slot it sinks away by itself, and washes the print "
        f"about as well as gentle rocking ({times[1] / times[3]:.3g} times its residual at half an "
        "hour).\n"
        f"- **For how long?** The front of a hanging print is heavier than the draughts of a room "
        f"for about {_heavy_for(hanging):.0f} min; later they stir, not the fixer.\n"
        f"- **And when the tray is rocked?** Then weight hardly counts: on the floor against loose "
        f"it is {times[2] / times[3]:.2g} times as much at half an hour, and that is the water "
        "beneath, not the way it faces.\n"
        "- Litres still decide where it ends: see the floor.\n"
    )
