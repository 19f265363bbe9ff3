"""What the page Tonight shows, as plain dicts: the front, one plan in full.

Pure: scenarios, wishes and fronts in; no server. Texts are in the visitor's units.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from washsim import advice, ledger, planner, plans, ribbon, solve, wall_page, wall_sheet, wording
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import UNITS, gram, in_system, kilowatt_hour, minute, rounded
from washsim_dashboard import run_mode, share
from washsim_dashboard.tonight_form import Wishes, own_seconds

POINTS = 150
"""Times of a ribbon: as many as a narrow screen has columns to show."""


# --- the front ---


def alone(scenario: Scenario, wishes: Wishes, system: str) -> dict[str, Any]:
    """The front before anything is found: the visitor's own schedule, its chance not known yet."""
    own = plans.Plan(
        scenario=scenario,
        seconds=own_seconds(scenario),
        volume=scenario.timeline.fresh_water,
        chance=float("nan"),
        residual=float("nan"),
    )
    return {
        "plans": [],
        "own": _point(own, system) | {"chance": ""},
        "limit": wishes.minutes / minute,
        "sentence": "",
    }


def front(found: plans.Front, system: str) -> dict[str, Any]:
    """The plans as points and lines of text, the visitor's own schedule, and a sentence."""
    return {
        "plans": [_point(one, system) for one in found.plans],
        "own": _point(found.own, system),
        "limit": found.wish.seconds / minute,
        "sentence": _sentence(found, system),
    }


def _point(plan: plans.Plan, system: str) -> dict[str, Any]:
    unit = in_system(UNITS["l"], system)
    return {
        "minutes": plan.seconds / minute,
        "time": f"{plan.seconds / minute:.0f} min",
        "water": unit.from_si(plan.volume),
        "unit": unit.label,
        "amount": wording.amount(plan.volume, "l", system),
        "chance": percent(plan.chance),
        "words": plan.words(system),
        "state": share.pack(plan.scenario),
    }


def _sentence(found: plans.Front, system: str) -> str:
    """What came of the search, and what was left out of it."""
    return f"{_came_of(found, system)} {plans.too_small(found.own.scenario, system)}".strip()


def _came_of(found: plans.Front, system: str) -> str:
    own, chance = found.own, percent(found.wish.chance)
    if found.plans:
        least = found.plans[-1]
        count = len(found.plans)
        told = (
            f"{count} plan{'s' if count > 1 else ''} meet{'' if count > 1 else 's'} the "
            f"target with a chance of {chance} or more; "
            f"the thriftiest takes {wording.amount(least.volume, 'l', system)} in "
            f"{least.seconds / minute:.0f} min"
        )
        yours = (
            f"your own schedule takes {wording.amount(own.volume, 'l', system)} in "
            f"{own.seconds / minute:.0f} min, chance {percent(own.chance)}"
        )
        return f"{told}; {yours}."
    told = f"No plan with these vessels meets the target with a chance of {chance} in this time"
    if found.closest is None:
        told += f": {_coming(own.scenario)}" if plans.too_short(own.scenario) else ""
    else:
        told += (
            f". Closest: {found.closest.words(system)}; in all "
            f"{found.closest.seconds / minute:.0f} min, chance {percent(found.closest.chance)}"
        )
    if found.soonest is not None:
        told += f". With {found.soonest.seconds / minute:.0f} min: {found.soonest.words(system)}"
    return f"{told}. {plans.HANDS}" if found.hands else f"{told}."


def _coming(scenario: Scenario) -> str:
    """Why no schedule at all fits the time."""
    late = (scenario.sheet.count - 1) * scenario.sheet.interval
    if not late:
        return "it is shorter than one filling takes"
    return f"the last print leaves the fixer {late / minute:.0f} min after the first"


def percent(share_of: float) -> str:
    """A chance from some hundred draws: never a round 0 or 100."""
    if share_of > 0.995:
        return "over 99 %"
    return "under 1 %" if share_of < 0.005 else f"{100 * share_of:.0f} %"


# --- one plan in full ---

FRESH = "Fixer that no sheet was fixed in before counts as free of silver; these prints add theirs."
"""Why there is no silver in the ledger."""


@lru_cache(maxsize=32)
def solved(scenario: Scenario) -> Result:
    """A schedule's run; equal schedules are solved once."""
    return solve.solve(scenario)


def detail(
    scenario: Scenario,
    wishes: Wishes,
    system: str,
    plan: plans.Plan | None = None,
    own: plans.Plan | None = None,
) -> dict[str, Any]:
    """Sentences, ribbon, ledger, wall sheet and run of one schedule; `plan` if a search made it.

    own: the visitor's own schedule, as a search weighed it.
    """
    result = solved(scenario)
    unfixed = advice.unfixed(result)
    style = wishes.style(system)
    sheet = wall_sheet.wall_sheet(scenario, style)
    pages = len(wall_page.layout(sheet, wishes.paper).pages)
    return {
        "lines": _lines(result, plan, own, system),
        "met": result.minutes_to_target is not None,
        # what is told before all else is not told twice
        "cautions": [one for one in advice.cautions(result, system) if one not in unfixed],
        "press": " ".join(unfixed),
        "span": sheet.span,
        "notes": list(sheet.notes),
        "ribbon": _ribbon(result, style),
        "ledger": _ledger(result, wishes, system, None if own is None else own.scenario),
        "sheet": {
            "html": wall_page.html(sheet, wishes.paper),
            "text": wall_page.text(sheet),
            "name": share.file_name(scenario, "").rstrip("."),
            "pages": f"{pages} pages, numbered" if pages > 1 else "one page",
        },
        "run": run_mode.plan(scenario, style),
        "state": share.pack(scenario),
    }


def _lines(
    result: Result, plan: plans.Plan | None, own: plans.Plan | None, system: str
) -> list[str]:
    """What this schedule comes to, how sure that is, and why, in a few sentences."""
    limits = advice.limits_now(result, result.worst_lot, result.run.timeline.end)
    end = f"What holds the worst print up most at the end: {limits}."
    if plan is None:
        sure = [] if own is None else [f"{_sure(own)}."]
        return [advice.sentence(result, system), *sure, end]
    words = plan.words(system)
    what = (
        f"{words[0].upper()}{words[1:]}: {wording.amount(plan.volume, 'l', system)} in "
        f"{plan.seconds / minute:.0f} min."
    )
    equal = [] if own is None else [_to_equal(plan, own)]
    stands = f"with the numbers as they stand it ends {advice.ending(result.worst_residual)}"
    return [what, f"{_sure(plan)}, and {stands}.", *equal, end]


def _sure(plan: plans.Plan) -> str:
    """The chance of a schedule, and what its worst print stays under with the one asked for."""
    return (
        f"The worst print ends under the target in {percent(plan.chance)} of the draws of what "
        f"nobody has measured; with the chance asked for it stays under "
        f"{rounded(plan.residual / gram, 2)} g/m²"
    )


@lru_cache(maxsize=32)
def _to_equal(plan: plans.Plan, own: plans.Plan) -> str:
    """How much longer a plan would take to leave as little as the visitor's own schedule."""
    least = solved(own.scenario).worst_residual
    longer = planner.seconds_to_equal(plan, least)
    if longer == 0:
        return "It leaves no more fixer than your own schedule."
    leaves = f"what your own schedule leaves, {advice.figure(least)}"
    if longer is None:
        most = f"{planner.AS_LONG / minute:.0f} min"
        return f"Even {most} more in its last water would not bring it to {leaves}."
    return f"{longer / minute:.0f} min more in its last water would bring it to {leaves}."


def _ribbon(result: Result, style: wording.Style) -> dict[str, Any]:
    """The ribbon's data, short enough to travel: three figures, nothing where there is none."""
    found = ribbon.ribbon(result, POINTS)
    rows = [
        [None if np.isnan(x) else float(f"{x:.3g}") for x in row] for row in found.residual_g_m2
    ]
    return {
        "minutes": [round(float(x), 3) for x in found.minutes],
        "sheets": list(found.sheets),
        "row": list(found.lot_of_sheet),
        "residual": rows,
        "stays": [[[s.kind, s.letter, s.start, s.stop] for s in own] for own in found.stays],
        "renewals": [[at, letter] for at, letter in found.renewals],
        "target": found.target_g_m2,
        "start": style.start,
        "hours": style.hours,
    }


def _ledger(result: Result, wishes: Wishes, system: str, own: Scenario | None) -> dict[str, Any]:
    """The ledger as a table of texts: a row for the evening, a print, a square metre, a year.

    own: whose tap the running hour has; a plan may have turned its own down.
    """
    taps = own.vessels if own else ()
    flow = next((vessel.flow for vessel in taps if vessel.flow > 0), None)
    found = ledger.ledger(result, wishes.evenings, flow)
    assert found.per_year is not None
    bills = {
        "evening": found.evening,
        "print": found.per_print,
        "m² of paper": found.per_m2,
        f"year of {wishes.evenings}": found.per_year,
    }
    water = result.scenario.water
    per = in_system(UNITS["per_m3"], system)
    prices = f"Price in your own money: water at {rounded(per.from_si(water.price))} {per.label}"
    if water.heat_price:
        prices += f", heat at {rounded(water.heat_price * kilowatt_hour)} per kWh"
    sentences = (
        f"{prices}.",
        ledger.sentence(found, system),
        ledger.first_sentence(found, system) or FRESH,
    )
    return {
        "columns": ["fresh water", "price", "heat", "silver in it"],
        "rows": [
            [
                label,
                wording.amount(bill.water, "l", system),
                rounded(bill.cost),
                f"{rounded(bill.heat / kilowatt_hour)} kWh",
                f"{rounded(bill.silver / gram)} g",
            ]
            for label, bill in bills.items()
        ],
        "notes": [words for words in sentences if words],
    }
