"""What the page Log shows, as plain dicts: evenings, what is wrong with others, a comparison."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from washsim import logbook, logged, observing, side_by_side
from washsim.errors import InputError
from washsim.fields import Part, declared
from washsim.logbook import Entry
from washsim.units import rounded
from washsim_dashboard import form, share, tests_view

LABELS = {
    "date": "Day",
    "batch": "Batch of the paper",
    "silver_strip": "Silver strip in the fixer",
    "aid": "Wash aid",
    "meter": "Water by the meter",
    "light": "Light for reading",
    "photo": "Photograph, file name",
    "residual_silver": "Drop for silver",
    "action": "Done about it",
    "replaces": "Corrects the entry",
}
SILVER = dict(tests_view.SILVER)
EMPTY = {"meter": "not read"}


def shape(entry: Entry, system: str) -> list[dict[str, Any]]:
    """The fields of an entry that are filled in here; the rest comes with the scenario."""
    found = []
    for name, spec in declared(Entry).items():
        if not isinstance(spec, Part):
            one = form.field(entry, entry, name, spec, system)
            more: dict[str, Any] = {"label": LABELS.get(name, one["label"]), "reset": []}
            if name == "residual_silver":
                more["options"] = [list(pair) for pair in SILVER.items()]
            found.append(one | more | ({"empty": EMPTY[name]} if name in EMPTY else {}))
    return found


def values(entry: Entry, system: str) -> dict[str, Any]:
    """What stands in every field."""
    return {
        name: form.shown(getattr(entry, name), spec, system)
        for name, spec in declared(Entry).items()
        if not isinstance(spec, Part)
    }


def tonight(entry: Entry, system: str) -> list[list[str]]:
    """What is about to be kept beside the fields, in words."""
    steps = side_by_side.wash(entry.scenario, system)
    return [["Steps", steps], ["Readings", _readings(entry)]]


def book(where: Path, system: str) -> dict[str, Any]:
    """Every evening of the folder, newest first, and what is wrong with documents beside them."""
    try:
        found, faults = logbook.entries(where)
    except OSError as error:
        raise InputError(f"{where}: cannot be read ({error.strerror or error})") from None
    rows = [_evening(name, entry, system) for name, entry in reversed(found.items())]
    return {"folder": str(where), "rows": rows, "faults": faults}


def _evening(name: str, entry: Entry, system: str) -> dict[str, Any]:
    known = logged.row(name, entry)
    told = known["foretold_g_m2"]
    foretold = "not foretold"
    if entry.prediction is not None:
        chance = 100 * entry.prediction.chance
        foretold = (
            f"worst print {rounded(told[1], 2)} g/m² ({rounded(told[0], 2)} to "
            f"{rounded(told[2], 2)}), chance of the target {chance:.0f} %; "
            f"model version {entry.prediction.model}"
            + (f", from {entry.prediction.prior}" if entry.prediction.prior else "")
        )
    lines = {
        "Paper": ", ".join(one for one in (entry.paper, _marked("batch", entry.batch)) if one),
        "Fixer": ", ".join(
            one for one in (entry.fixer, _marked("silver strip", entry.silver_strip)) if one
        ),
        "Steps": side_by_side.wash(entry.scenario, system),
        "Readings": _readings(entry),
        "Foretold": foretold,
        "Drop for silver": SILVER[entry.residual_silver],
        "Done about it": entry.action,
        "Note": entry.note,
    }
    state = f"s={share.pack(entry.scenario)}"
    return {
        "name": name,
        "date": entry.date,
        "title": entry.title or entry.scenario.title,
        "verdict": form.option_label("verdict", entry.verdict),
        "lines": [[label, text] for label, text in lines.items() if text],
        "explore": f"./?{state}",
        "tests": f"./tests?{state}&r={share.pack_readings(entry.tests)}",
    }


def _marked(label: str, text: str) -> str:
    return f"{label} {text}" if text else ""


def _readings(entry: Entry) -> str:
    seen = observing.observations(entry.scenario, entry.tests)
    return "; ".join(observing.said(one) for one in seen) or "none"


def comparison(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Evenings side by side: middle (5 to 95 % of the draws)."""

    def three(values: list[float] | None, factor: float = 1.0) -> str:
        if values is None:
            return "–"
        low, middle, high = (rounded(factor * x, 2) for x in values)
        return f"{middle} ({low} to {high})"

    named = {
        "Paper": [f"{row['paper']} {row['batch']}".strip() or "–" for row in rows],
        "Sheets": [str(row["sheets"]) for row in rows],
        "Readings": [str(row["readings"]) for row in rows],
        "Foretold for the worst print, g/m²": [three(row["foretold_g_m2"]) for row in rows],
        "Effective diffusivity, 1e-11 m²/s": [
            three(row["effective_diffusivity_m2_s"], 1e11) for row in rows
        ],
        "Held fixer, times the table's": [three(row["held_pool_factor"]) for row in rows],
        "Verdict": [form.option_label("verdict", row["verdict"]) for row in rows],
    }
    return {
        "columns": [f"{row['date']} {row['title']}".strip() for row in rows],
        "rows": [[label, *cells] for label, cells in named.items()],
    }
