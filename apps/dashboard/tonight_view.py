"""What the page Tonight shows, as plain dicts: the form, the front, one plan in full.

Pure: scenarios, wishes and fronts in; no server. Texts are in the visitor's units.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from washsim import advice, ledger, plans, ribbon, solve, wall_page, wall_sheet, wording
from washsim.errors import InputError
from washsim.fields import Quantity, declared, one_of
from washsim.ledger import EVENINGS
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import UNITS, gram, in_system, kilowatt_hour, minute, rounded
from washsim_dashboard import edits, form, run_mode, share

GROUPS: dict[str, tuple[str, ...]] = {
    "Prints": (
        *("sheet.count", "sheet.width", "sheet.height", "sheet.paper"),
        *("sheet.interval", "sheet.batches"),
        *("fixing.fixer", "fixing.duration", "fixing.sheets_per_litre"),
    ),
    "Tap": ("water.temperature", "water.price", "water.tap_temperature", "water.heat_price"),
    "Target": ("target.preset", "target.residual"),
}
"""Fields of the scenario that this page asks for; all others are Explore's."""
SAID = {
    "sheet.interval": "One print every",
    "sheet.batches": "Batches in a row",
    "fixing.duration": "Fixing time",
    "fixing.sheets_per_litre": "Fixed per litre before",
    "water.temperature": "Wash water",
    "water.tap_temperature": "Cold tap, if heated",
    "water.price": "Water price",
    "target.preset": "Target",
}
"""Labels where a field stands beside fields of other blocks."""
VESSEL = ("name", "volume", "flow", "pieces", "puddle", "stirring")
POINTS = 150
"""Times of a ribbon: as many as a narrow screen has columns to show."""

WISHES: dict[str, Quantity] = {
    "minutes": Quantity(
        UNITS["min"], 1, 1440, "from the first print leaving the fixer to the last leaving the wash"
    ),
    "chance": Quantity(
        UNITS["percent"], 50, 99, "that the worst print ends under the target, all doubt in"
    ),
    "evenings": EVENINGS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the visitor asks of the evening: s, a share, words; evenings in a year."""

    minutes: float = 90 * minute
    chance: float = 0.9
    aid: str = "no"
    rinse: str = "yes"
    evenings: int = 40
    start: str = "19:30"
    clock: str = "24"
    paper: str = "a4"

    @property
    def wish(self) -> plans.Wish:
        return plans.Wish(
            seconds=self.minutes,
            chance=self.chance,
            aid=self.aid == "yes",
            rinse=self.rinse == "yes",
        )

    def style(self, system: str) -> wording.Style:
        start = wording.start_of(self.start)
        return wording.Style(start=start, hours=int(self.clock), units=system)


CHOICES: dict[str, tuple[tuple[str, str], ...]] = {
    "aid": (("no", "None"), ("yes", "2 % sulfite")),
    "rinse": (("yes", "Where it helps"), ("no", "None")),
    "clock": (("24", "24 h"), ("12", "12 h")),
    "paper": (("a4", "A4"), ("letter", "Letter")),
}
LABELS = {
    "minutes": "Time there is",
    "chance": "Chance of the target",
    "aid": "Wash aid at hand",
    "rinse": "Pre-rinse",
    "evenings": "Evenings a year",
    "start": "First print fixed at",
    "clock": "Clock",
    "paper": "Wall sheet on",
}
MEANINGS = {
    "aid": "whether plans may use a sulfite bath",
    "rinse": "whether plans may rinse prints by themselves before a holding bath or a wash aid",
    "start": "clock time, such as 19:30 or 7:30 pm",
    "clock": "face of the clock",
    "paper": "paper in the printer",
}


def with_wish(wishes: Wishes, name: str, value: Any) -> Wishes:
    """The wishes with another value, as the page sends it; InputError in one sentence."""
    if name in WISHES:
        spec = WISHES[name]
        where = LABELS[name].lower()
        return replace(wishes, **{name: edits.number(spec, value, where, "metric")})
    if name in CHOICES:
        options = [key for key, _ in CHOICES[name]]
        if value not in options:
            raise InputError(f"{LABELS[name].lower()}: expected {one_of(value, options)}")
        return replace(wishes, **{name: value})
    if name != "start":
        raise InputError(f"wish: expected {one_of(name, list(LABELS))}")
    wording.start_of(str(value))
    return replace(wishes, start=str(value).strip())


# --- the form ---


def shape(scenario: Scenario, base: Scenario, system: str) -> dict[str, Any]:
    """Everything that can be filled in here."""
    groups = [
        {"label": label, "fields": [_field(scenario, base, path, system) for path in paths]}
        for label, paths in GROUPS.items()
    ]
    if scenario.target.preset != "own":
        groups[-1]["fields"] = groups[-1]["fields"][:1]
    return {
        "groups": groups,
        "wishes": [_wish(name) for name in LABELS],
        "vessels": [
            {
                "label": vessel.name,
                "fields": [
                    one
                    for one in form.fields(scenario, base, f"vessels.{n}", system)
                    if one["path"].rpartition(".")[2] in VESSEL
                ],
            }
            for n, vessel in enumerate(scenario.vessels, start=1)
        ],
    }


def _field(scenario: Scenario, base: Scenario, path: str, system: str) -> dict[str, Any]:
    parent, _, name = path.rpartition(".")
    spec = declared(type(edits.at(scenario, parent)))[name]
    found = form.field(scenario, base, path, spec, system)
    return found | {"label": SAID.get(path, found["label"])}


def _wish(name: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "path": f"wish.{name}",
        "label": LABELS[name],
        "optional": False,
        "advanced": False,
        "reset": [_shown(Wishes(), name)],
    }
    if name in WISHES:
        spec = WISHES[name]
        return found | {
            "kind": "number",
            "unit": spec.unit.label,
            "low": spec.low,
            "high": spec.high,
            "step": 1 if spec.whole else "any",
            "meaning": f"{spec.meaning}; {spec.range}",
        }
    if name in CHOICES:
        options = [list(one) for one in CHOICES[name]]
        return found | {"kind": "choice", "options": options, "meaning": MEANINGS[name]}
    return found | {"kind": "text", "longest": 12, "meaning": MEANINGS[name]}


def _shown(wishes: Wishes, name: str) -> Any:
    value = getattr(wishes, name)
    return form.shown(value, WISHES[name], "metric") if name in WISHES else value


def values(scenario: Scenario, wishes: Wishes, system: str) -> dict[str, Any]:
    """What stands in every field, by place."""
    asked = {f"wish.{name}": _shown(wishes, name) for name in LABELS}
    return form.values(scenario, system) | asked


# --- the front ---


def alone(scenario: Scenario, wishes: Wishes, system: str) -> dict[str, Any]:
    """The front before anything is found: the visitor's own schedule, its chance not known yet."""
    stages = scenario.timeline.stages
    own = plans.Plan(
        scenario=scenario,
        seconds=stages[-1].stop - stages[1].start,
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
        "water": unit.from_si(plan.volume),
        "unit": unit.label,
        "amount": wording.amount(plan.volume, "l", system),
        "chance": percent(plan.chance),
        "words": plan.words(system),
        "state": share.pack(plan.scenario),
    }


def _sentence(found: plans.Front, system: str) -> str:
    """What came of the search."""
    own, chance = found.own, percent(found.wish.chance)
    if found.plans:
        least = found.plans[-1]
        count = len(found.plans)
        told = (
            f"{count} plan{'s' if count > 1 else ''} that meet{'' if count > 1 else 's'} the "
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
    if found.closest is not None:
        told += (
            f". Closest: {found.closest.words(system)}, {found.closest.seconds / minute:.0f} min, "
            f"chance {percent(found.closest.chance)}"
        )
    if found.soonest is not None:
        told += f". With {found.soonest.seconds / minute:.0f} min: {found.soonest.words(system)}"
    return f"{told}. {plans.HANDS}" if found.hands else f"{told}."


def percent(share_of: float) -> str:
    """A chance from some hundred draws: never a round 0 or 100."""
    if share_of > 0.995:
        return "over 99 %"
    return "under 1 %" if share_of < 0.005 else f"{100 * share_of:.0f} %"


# --- one plan in full ---


@lru_cache(maxsize=32)
def solved(scenario: Scenario) -> Result:
    """A schedule's run; equal schedules are solved once."""
    return solve.solve(scenario)


def detail(
    scenario: Scenario, wishes: Wishes, system: str, plan: plans.Plan | None = None
) -> dict[str, Any]:
    """Sentences, ribbon, ledger, wall sheet and run of one schedule; `plan` if a search made it."""
    result = solved(scenario)
    style = wishes.style(system)
    sheet = wall_sheet.wall_sheet(scenario, style)
    pages = len(wall_page.layout(sheet, wishes.paper).pages)
    return {
        "lines": _lines(result, plan, system),
        "met": result.minutes_to_target is not None,
        "cautions": list(advice.cautions(result)),
        "press": " ".join(advice.unfixed(result)),
        "span": sheet.span,
        "notes": list(sheet.notes),
        "ribbon": _ribbon(result, style),
        "ledger": _ledger(result, wishes, system),
        "sheet": {
            "html": wall_page.html(sheet, wishes.paper),
            "text": wall_page.text(sheet),
            "name": share.file_name(scenario, "").rstrip("."),
            "pages": f"{pages} pages, numbered" if pages > 1 else "one page",
        },
        "run": run_mode.plan(scenario, style),
        "state": share.pack(scenario),
    }


def _lines(result: Result, plan: plans.Plan | None, system: str) -> list[str]:
    """Why this schedule, in two or three sentences."""
    worst = result.worst_lot
    limits = advice.limits_now(result, worst, result.run.timeline.end)
    end = f"At the end the worst print is held up by {limits}."
    if plan is None:
        return [advice.sentence(result), end]
    words = plan.words(system)
    return [
        f"{words[0].upper()}{words[1:]}: {wording.amount(plan.volume, 'l', system)} in "
        f"{plan.seconds / minute:.0f} min.",
        f"The worst print ends under the target in {percent(plan.chance)} of the draws of what "
        f"nobody has measured; with the chance asked for it stays under "
        f"{rounded(plan.residual / gram, 2)} g/m², and with the numbers as they stand it ends at "
        f"{rounded(result.worst_residual / gram, 2)} g/m².",
        end,
    ]


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


def _ledger(result: Result, wishes: Wishes, system: str) -> dict[str, Any]:
    """The ledger as a table of texts: a row for the evening, a print, a square metre, a year."""
    found = ledger.ledger(result, wishes.evenings)
    assert found.per_year is not None
    bills = {
        "evening": found.evening,
        "print": found.per_print,
        "m² of paper": found.per_m2,
        f"year of {wishes.evenings}": found.per_year,
    }
    sentences = (ledger.sentence(found, system), ledger.first_sentence(found, system))
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
