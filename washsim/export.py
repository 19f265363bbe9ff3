"""Results for machines and for paper: one JSON object with stable keys, curves as CSV."""

from __future__ import annotations

import csv
from typing import Any, TextIO

import numpy as np

from washsim.advice import cautions, limits_now, sentence
from washsim.band import BAND, Band
from washsim.clearing import clearing
from washsim.ledger import Bill, ledger
from washsim.recipes import Drain
from washsim.result import Result
from washsim.units import gram, kilowatt_hour, litre, litre_per_minute

FORMAT = "washsim-result-1"

KEYS = {
    "format": f"always {FORMAT!r}; changes when a key changes its meaning",
    "title": "the scenario's title",
    "sentence": "the outcome in words, target beside it",
    "sheet_count": "number of sheets, late ones included",
    "paper_m2": "one side of all sheets, m²",
    "load_g_m2": "thiosulfate inside a sheet as it leaves the fixer, g/m²",
    "worst_residual_g_m2": "thiosulfate left in the worst sheet at the end, g/m²",
    "worst_sheet": "its number, from 1",
    "typical_residual_g_m2": "the same for the median sheet, g/m²",
    "target_g_m2": "the target, g/m²",
    "meets_target": "whether the worst sheet ends at or under the target",
    "minutes_to_target": (
        "longest time any sheet had to wash, from leaving the fixer, to be under the target for "
        "good, min; null if one is not"
    ),
    "minutes_until_all": (
        "from the first sheet leaving the fixer until all are under the target for good, min; "
        "null if one is not"
    ),
    "floor_g_m2": "what the worst sheet would end at if left in its last water for ever, g/m²",
    "litres_total": "fresh water of all steps, filled and run, L",
    "litres_per_sheet": "the same per sheet, L",
    "wet_longest_min": "how long the sheet that is wet longest is so, fixing counted, minutes",
    "litres_per_m2": "the same per m² of paper, L/m²",
    "cost_total": "price of that water and heat, in your money",
    "heat_kwh": "heat to warm that water from the tap's temperature, kWh",
    "clearing_s": "time the emulsion is estimated to need to clear in the last fixing bath, s",
    "fixing_over_clearing": "fixing time over that; twice is customary",
    "silver_g": "dissolved silver carried into all wash water, g; 0 where nobody said what "
    "the fixer holds",
    "silver_first_water_mg_l": "silver in the first water that leaves, mg/L",
    "band": "what draws from the bands of the unmeasured numbers come to; null if not asked for. "
    "draws: how many; chance that the worst sheet meets the target; chance_error, its standard "
    "error; margin, target over the 95th percentile of the worst sheet; minutes_to_spare from "
    "when 95 % of the draws have every sheet under the target to the end; worst_residual_g_m2 and "
    "minutes_to_target at the 5th, 50th and 95th percentile (null where so many draws never get "
    "there); unknowns: names of what was drawn; numerical_error",
    "ledger": "object: evening, per_print, per_m2 and per_year (null unless evenings were given), "
    "each with litres, cost, heat_kwh and silver_g; first_water_litres, first_water_silver_g and "
    "first_water_share of all silver in the wash's water; running_hour: flow_l_min, litres, cost "
    "and heat_kwh of the same batch in an hour of running water",
    "limits_now": "shares of 'bath', 'film', 'inside' and 'release' in holding up the worst sheet "
    "at the end, sum 1",
    "half_lives_s": "slowest half-lives in the last water, s",
    "numerical_error": "largest change of a residual on refining once, relative to it + 1 mg/m²",
    "balance_error": "fixer unaccounted for over fixer taken in",
    "nodes": "node family and intervals of each layer",
    "steps": "list, one object per step: step, kind, start_min, stop_min, litres, "
    "water_to_paper_l_m2 (null in the air), worst_residual_g_m2 at its end, silver_mg_l of the "
    "water it sends to the drain, limits: what holds the worst sheet up at its end",
    "sheets": "list, one object per sheet: sheet, load_g_m2, residual_g_m2, front_g_m2 and "
    "back_g_m2 (halves of the thickness), minutes_to_target",
    "cautions": "list of sentences",
}
"""Meaning of every key of `summary`, for the reference page."""


def summary(
    result: Result, band: Band | None = None, evenings: int | None = None
) -> dict[str, Any]:
    """Plain numbers, lists and words, ready for json.dumps; the keys are those of KEYS.

    evenings of this kind in a year, if known, give the ledger its year.
    """
    end = result.run.timeline.end
    lot = result.worst_lot
    litres = result.litres_total * 1e3
    space = result.run.slab.space
    area = result.paper_area
    clear = clearing(result.scenario)
    return {
        "format": FORMAT,
        "title": result.scenario.title,
        "sentence": sentence(result),
        "sheet_count": result.sheets,
        "paper_m2": area,
        "load_g_m2": 1e3 * result.load[lot],
        "worst_residual_g_m2": 1e3 * result.worst_residual,
        "worst_sheet": result.worst_sheet,
        "typical_residual_g_m2": 1e3 * result.typical_residual,
        "target_g_m2": 1e3 * result.scenario.target.limit,
        "meets_target": result.worst_residual <= result.scenario.target.limit,
        "minutes_to_target": result.minutes_to_target,
        "minutes_until_all": result.minutes_until_all,
        "floor_g_m2": 1e3 * result.floor(lot, end),
        "litres_total": litres,
        "litres_per_sheet": litres / result.sheets,
        "wet_longest_min": max(stop - start for start, stop in result.run.wet) / 60,
        "litres_per_m2": litres / area,
        "cost_total": result.cost,
        "heat_kwh": result.heat / kilowatt_hour,
        "clearing_s": clear.seconds,
        "fixing_over_clearing": clear.ratio,
        "silver_g": 1e3 * result.silver_to_drain(),
        "silver_first_water_mg_l": 1e3 * result.first_silver,
        "band": None if band is None else doubt(band),
        "ledger": bills(result, evenings),
        "limits_now": result.shares(lot, end),
        "half_lives_s": list(result.half_lives(lot, end)),
        "numerical_error": result.numerical_error,
        "balance_error": result.balance,
        "nodes": {"family": space.family, "intervals": list(space.intervals)},
        "steps": steps(result),
        "sheets": sheets(result),
        "cautions": list(cautions(result)),
    }


def doubt(band: Band) -> dict[str, Any]:
    """What the draws come to."""
    return {
        "draws": band.sample.members,
        "chance": band.chance,
        "chance_error": band.chance_error,
        "margin": band.margin,
        "minutes_to_spare": band.minutes_to_spare,
        "worst_residual_g_m2": [1e3 * float(x) for x in np.quantile(band.worst, BAND)],
        "minutes_to_target": [band.minutes_to_target(share) for share in BAND],
        "unknowns": list(band.sample.factors),
        "numerical_error": band.numerical_error,
    }


def bills(result: Result, evenings: int | None) -> dict[str, Any]:
    """The ledger in darkroom units."""
    found = ledger(result, evenings)
    hour = found.running
    return {
        "evening": _bill(found.evening),
        "per_print": _bill(found.per_print),
        "per_m2": _bill(found.per_m2),
        "per_year": None if found.per_year is None else _bill(found.per_year),
        "first_water_litres": found.first_water / litre,
        "first_water_silver_g": found.first_silver / gram,
        "first_water_share": found.first_share,
        "running_hour": {
            "flow_l_min": hour.flow / litre_per_minute,
            "litres": hour.water / litre,
            "cost": hour.cost,
            "heat_kwh": hour.heat / kilowatt_hour,
        },
    }


def _bill(bill: Bill) -> dict[str, float]:
    return {
        "litres": bill.water / litre,
        "cost": bill.cost,
        "heat_kwh": bill.heat / kilowatt_hour,
        "silver_g": bill.silver / gram,
    }


def steps(result: Result) -> list[dict[str, Any]]:
    """What each step took and left."""
    found = []
    for number, step in enumerate(result.scenario.steps, start=1):
        # one for each batch
        stages = [one for one in result.run.timeline.stages if one.step == number]
        air, last = isinstance(step, Drain), stages[-1]
        stop = np.array([last.stop])
        left = [d for d in result.drains if d.step == number]
        volume = sum(d.volume for d in left)
        seen = [result.at(lot, stop)[0] for lot in range(len(result.run.of_lot))]
        worst = int(np.argmax(seen))
        found.append(
            {
                "step": number,
                "kind": last.label,
                "start_min": stages[0].start / 60,
                "stop_min": last.stop / 60,
                "litres": 1e3 * result.litres_by_step[number - 1],
                "water_to_paper_l_m2": None if air else 1e3 * result.water_to_paper(number),
                "worst_residual_g_m2": 1e3 * float(seen[worst]),
                "silver_mg_l": 1e3 * result.silver_to_drain(number) / volume if volume else 0.0,
                "limits": limits_now(result, worst, last.stop),
            }
        )
    return found


def sheets(result: Result) -> list[dict[str, Any]]:
    """Load and residual of every sheet."""
    end = np.array([result.run.timeline.end])
    halves = [result.by_half(lot, end)[0] for lot in range(len(result.run.of_lot))]
    found = []
    for number, lot in enumerate(result.lot_of_sheet, start=1):
        seconds = result.seconds_to_target[lot]
        found.append(
            {
                "sheet": number,
                "load_g_m2": 1e3 * result.load[lot],
                "residual_g_m2": 1e3 * result.final_residual[number - 1],
                "front_g_m2": 1e3 * float(halves[lot][0]),
                "back_g_m2": 1e3 * float(halves[lot][1]),
                "minutes_to_target": None if seconds is None else seconds / 60,
            }
        )
    return found


def write_csv(result: Result, stream: TextIO) -> None:
    """Residual of every lot, floor, and water of every basin against time, one row an output."""
    timeline = result.run.timeline
    # a list: two basins may bear one label
    columns = [("minutes", result.times / 60)]
    for i, lot in enumerate(timeline.lots):
        name = (
            f"sheet {lot.first}"
            if lot.count == 1
            else f"sheets {lot.first}-{lot.first + lot.count - 1}"
        )
        columns.append((f"{name} residual_g_m2", 1e3 * result.residual[i]))
    floors = [result.floor(result.worst_lot, float(time)) for time in result.times]
    columns.append(("floor_g_m2", 1e3 * np.array(floors)))
    for i, basin in enumerate(timeline.basins):
        if basin.vessel is not None:
            columns.append((f"{basin.label} water_mg_l", 1e3 * result.water(i)))
    writer = csv.writer(stream)
    writer.writerow(name for name, _ in columns)
    # before anything is taken in, rounding may leave a residual a hair below zero
    for row in zip(*(values for _, values in columns), strict=True):
        writer.writerow(["" if np.isnan(value) else f"{max(value, 0.0):.6g}" for value in row])
