"""What can be filled in on the page Tonight: the wishes, and what is at hand.

Pure: scenarios and wishes in, plain dicts out; no server. Texts are in the visitor's units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from washsim import guests, plans, tables, wording
from washsim.errors import InputError
from washsim.fields import Quantity, declared, one_of
from washsim.ledger import EVENINGS
from washsim.scenario import Scenario
from washsim.units import UNITS, minute, temperature
from washsim_dashboard import edits, form

GROUPS: dict[str, tuple[str, ...]] = {
    "Prints": (
        *("sheet.count", "sheet.interval", "sheet.width", "sheet.height", "sheet.paper"),
        *("fixing.fixer", "fixing.duration", "fixing.sheets_per_litre", "sheet.batches"),
    ),
    "Tap": ("water.temperature", "water.price", "water.tap_temperature", "water.heat_price"),
    "Target": ("target.preset", "target.residual"),
}
"""Fields of the scenario that this page asks for; all others are Explore's."""
SAID = {
    "sheet.interval": "One print every",
    "sheet.batches": "Batches in a row",
    "fixing.duration": "Fixing time",
    "fixing.sheets_per_litre": "Sheets fixed before",
    "water.temperature": "Wash water",
    "water.tap_temperature": "Cold tap, if heated",
    "water.price": "Water price",
    "target.preset": "Target",
}
"""Labels where a field stands beside fields of other blocks."""
VESSEL = {
    "name": "Name",
    "volume": "Water in it",
    "flow": "Flow",
    "puddle": "Stays when dumped",
    "pieces": "How many alike",
    "stirring": "Motion",
}
"""Fields of a vessel that this page asks for, in this order, and what it calls them."""
LATE = {
    "step": "Joins step",
    "after": "After it began",
    "rinse_volume": "Rinsed first in",
    "rinse_duration": "Rinsed for",
}
"""The same of a late print; the step is one of the visitor's own schedule."""
EMPTY = {"water.tap_temperature": "unheated"}
"""What an empty field means."""
COUNTED = {"fixing.sheets_per_litre": "per L"}
"""What stands behind a number that has no unit of its own."""

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
    "rinse": (("yes", "If it helps"), ("no", "None")),
    "clock": (("24", "24 h"), ("12", "12 h")),
    "paper": (("a4", "A4"), ("letter", "Letter")),
}
LABELS = {
    "minutes": "Time there is",
    "chance": "Chance of the target",
    "aid": "Wash aid at hand",
    "rinse": "Pre-rinse",
    "evenings": "Evenings a year",
    "start": "First print into fixer",
    "clock": "Clock",
    "paper": "Wall sheet on",
}
MEANINGS = {
    "aid": "whether plans may use a sulfite bath",
    "rinse": "whether plans may rinse prints by themselves before a holding bath or a wash aid",
    "start": "clock time, such as 19:30 or 7:30 pm",
    "clock": "of the wall sheet, the run and the evening's picture",
    "paper": "size of the sheets in the machine that prints it",
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


def refusal(scenario: Scenario, system: str) -> str:
    """Why no plan can be looked for, and what to do about it on this page; empty if one can."""
    try:
        guests.comes(scenario)
    except InputError as error:
        return f"{error}."
    hottest = tables.datum("limits.caution.temperature_high").si
    if scenario.water.temperature > hottest:
        most = temperature(hottest, system)
        return f"No plan is made for water above {most}, which softens the emulsion: cool it."
    return ""


def without_vessel(scenario: Scenario, at: Any) -> None:
    """InputError where the vessel of this number is not to be taken away here."""
    used = {getattr(step, "vessel", "") for step in scenario.steps}
    for number, vessel in enumerate(scenario.vessels, start=1):
        if number == at and vessel.name in used:
            raise InputError(
                f"{vessel.name!r} stays, as your own schedule uses it: open that in Explore and "
                f"give its step another vessel"
            )


# --- the form ---


def opening(scenario: Scenario) -> Wishes:
    """The wishes a visitor finds: time enough for the own schedule, to five minutes."""
    usual = Wishes()
    own = 5 * minute * math.ceil(own_seconds(scenario) / (5 * minute))
    return replace(usual, minutes=min(max(usual.minutes, own), WISHES["minutes"].high * minute))


def own_seconds(scenario: Scenario) -> float:
    """From the first print leaving the fixer to the last leaving the wash, s, as it stands."""
    stages = scenario.timeline.stages
    return stages[-1].stop - stages[1].start


def shape(scenario: Scenario, base: Scenario, system: str) -> dict[str, Any]:
    """Everything that can be filled in here; base: what 'reset' goes back to."""
    usual = opening(base)

    def listed(where: str, at: int, label: str, names: dict[str, str]) -> dict[str, Any]:
        fields = [
            _field(scenario, base, f"{where}.{at}.{name}", system) | {"label": called}
            for name, called in names.items()
        ]
        return {"label": label, "fields": fields}

    groups = [
        {"label": label, "fields": [_field(scenario, base, path, system) for path in paths]}
        for label, paths in GROUPS.items()
    ]
    if scenario.target.preset != "own":
        groups[-1]["fields"] = groups[-1]["fields"][:1]
    return {
        "groups": groups,
        "wishes": [_wish(name, usual) for name in LABELS],
        "late": [
            listed("late", n, f"print {scenario.sheet.count + n}", LATE)
            for n in range(1, len(scenario.late) + 1)
        ],
        "vessels": [
            listed("vessels", n, vessel.name, VESSEL)
            for n, vessel in enumerate(scenario.vessels, start=1)
        ],
    }


def _field(scenario: Scenario, base: Scenario, path: str, system: str) -> dict[str, Any]:
    parent, _, name = path.rpartition(".")
    spec = declared(type(edits.at(scenario, parent)))[name]
    found = form.field(scenario, base, path, spec, system)
    found |= {"label": SAID.get(path, found["label"])}
    if path in EMPTY:
        found["empty"] = EMPTY[path]
    if path in COUNTED:
        found["unit"] = COUNTED[path]
    return found


def _wish(name: str, usual: Wishes) -> dict[str, Any]:
    found: dict[str, Any] = {
        "path": f"wish.{name}",
        "label": LABELS[name],
        "optional": False,
        "advanced": False,
        "reset": [_shown(usual, name)],
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
