"""Writes the generated pages of docs/: ``python docs/generate.py``; with --check, only compares.

scenario.md, scenario.schema.json and readings.md come from the field declarations, results.md from
the lists of result keys, commands.md from the parser, methods.md, literature.md and still-water.md
from runs, faq.md from its template and runs, properties.md from washsim/data, verification.md from
the collected tests.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Callable
from pathlib import Path

from answers import page
from checks import verification_page
from commands import commands_page
from evidence import properties_page
from measured import literature_page, still_page
from side_by_side import methods_page
from tabular import NOTE, table

from washsim import export, fields, files, findings, logbook, materials, readings, scenario

DOCS = Path(__file__).parent


# --- scenario.md ---


def scenario_page() -> str:
    """Every block of a scenario file, key by key."""
    page = NOTE + SCENARIO_HEAD
    page += _block("Top of the file", scenario.Scenario, first=("format", "", files.FORMAT))
    return page + _parts(scenario.Scenario, "")


def _parts(cls: type, path: str) -> str:
    """The blocks inside a block, and theirs, in the order of declaration."""
    page = ""
    for name, spec in fields.declared(cls).items():
        if not isinstance(spec, fields.Part):
            continue
        inside = path + name
        title = (
            f"[[{inside}]]" if spec.many else f"[{inside}.NAME]" if spec.named else f"[{inside}]"
        )
        if len(spec.kinds) == 1:
            page += _block(f"`{title}`", spec.kinds[0]) + _parts(spec.kinds[0], f"{inside}.")
            continue
        page += f"## `{title}`\n\n{HEADS[name]}"
        for word, kind in zip(spec.words, spec.kinds, strict=True):
            page += _block(f'`kind = "{word}"`', kind, level=3)
    return page


SCENARIO_HEAD = """# Scenario files

A scenario is a TOML file: what stands at the sink tonight, in darkroom units. A key is a name and
its unit, such as `volume_l`; there are no other spellings, and an unknown key is refused with the
nearest right one named. Only `format`, `[vessels]` and `[[steps]]` must be there; everything else
has a default. `washsim example` lists commented examples and writes one to start from.

The same declarations make the [JSON Schema](scenario.schema.json) of the format, which editors can
use to complete and check.

"""

STEPS_HEAD = """The wash, in order; each `[[steps]]` begins a new step and says its `kind`. Rinse,
aid, transfer and drain take each sheet as it comes; bath, running and hold gather the sheets and
let them go on together.

"""


READINGS_HEAD = """Strips in any order; each `[[readings]]` begins a new one and says its `kind`.
What lies between two steps, below the first or above the last counts as just that: nothing visible
is below a step, never zero.

"""
HEADS = {"steps": STEPS_HEAD, "readings": READINGS_HEAD}


# --- readings.md ---

TESTS_HEAD = """# Readings and the log

What drops, drips and a laboratory said of your strips, in a TOML file beside the scenario; and the
log that keeps whole evenings. Keys work as in [scenario files](scenario.md).

`washsim fit evening.toml readings.toml` corrects the scenario's unmeasured numbers by the
readings: [why it does so as it does](decisions/07-draws-led-to-the-readings.md). An example, its
readings invented:

```toml
format = "washsim-readings-1"
title = "Invented: three drops"

[ladder]                 # strips soaked in your own fixer, diluted, blotted, dropped
thiosulfate_g_l = 94
dry_g = 1.20             # one strip of 5 x 10 cm, weighed dry and wet
wet_g = 2.45
[[ladder.steps]]
one_in = 500             # strongest first: step 1
[[ladder.steps]]
one_in = 1000
[[ladder.steps]]
one_in = 2000
[[ladder.steps]]
one_in = 5000

[[readings]]
kind = "drop"            # lies between steps 1 and 2
washed_min = 30
lighter_than = 1
darker_than = 2
blank = "clear"

[[readings]]
kind = "drop"            # nothing visible: lighter than the weakest step
face = "front"
lighter_than = 4
blank = "clear"

[[readings]]
kind = "laboratory"
residual_g_m2 = 0.006
error_percent = 15
```

"""

LOG_HEAD = """## The log

`washsim log add evening.toml --readings readings.toml` writes one document into the folder of the
log (`--folder`, else the variable `WASHSIM_LOG`, else `washsim-log` in your home folder) and never
changes it again: [why](decisions/08-a-document-an-evening.md). A document holds the blocks below;
`[tests]` is what a file of readings holds, `[scenario]` what a scenario file holds, each without
its `format`.

"""


def readings_page() -> str:
    """The format of readings, then that of an entry of the log."""
    page = NOTE + TESTS_HEAD
    page += _block("Top of the file", readings.Tests, first=("format", "", readings.FORMAT))
    page += _parts(readings.Tests, "")
    page += LOG_HEAD
    page += _block("Top of a document", logbook.Entry, 3, first=("format", "", logbook.FORMAT))
    return page + _block("`[prediction]`", logbook.Prediction, 3)


def _block(title: str, cls: type, level: int = 2, first: tuple[str, ...] = ()) -> str:
    """One block's heading, sentence and table."""
    docstring = " ".join((cls.__doc__ or "").split())
    rows = []
    if first:
        key, unit, value = first
        rows.append([f"`{key}`", unit, f'`"{value}"`', "must be given", "names this format"])
    for name, spec in fields.declared(cls).items():
        if isinstance(spec, fields.Part) or (cls is materials.Vessel and name == "name"):
            continue
        rows.append(
            [
                f"`{fields.key_of(name, spec)}`",
                spec.unit.label if isinstance(spec, fields.Quantity) else "",
                _allowed(spec),
                _default(cls, name, spec),
                spec.meaning,
            ]
        )
    return f"{'#' * level} {title}\n\n{docstring}\n\n" + table(
        ("key", "unit", "allowed", "default", "meaning"), rows
    )


def _allowed(spec: fields.Declared) -> str:
    match spec:
        case fields.Quantity():
            return f"{spec.low:g} to {spec.high:g}" + (", whole" if spec.whole else "")
        case fields.Choice():
            return ", ".join(f"`{option}`" for option in spec.options)
        case fields.Text():
            return f"text, at most {spec.longest} characters"
        case fields.Part():
            raise TypeError("blocks have tables of their own")


def _default(cls: type, name: str, spec: fields.Declared) -> str:
    value = fields.default_of(cls, name)
    if value is dataclasses.MISSING:
        return "must be given"
    if value is None or value == "":
        return "left out"
    if not isinstance(spec, fields.Quantity):
        return f"`{value}`"
    shown = f"{spec.unit.from_si(value):g}"
    return f"[{shown}](properties.md) (`{spec.source}`)" if spec.source else shown


def schema_page() -> str:
    """The JSON Schema, as a file."""
    return json.dumps(files.schema(), indent=1, ensure_ascii=False) + "\n"


def results_page() -> str:
    """Keys of the JSON object that `washsim simulate --json` prints."""
    return (
        NOTE
        + "# Results for machines\n\n`washsim simulate FILE --json` prints one object, `washsim "
        "compare` a list of them. Keys keep their name and meaning as long as `format` stays the "
        "same. Amounts are those of the thiosulfate ion.\n\n"
        + table(("key", "meaning"), ([f"`{key}`", text] for key, text in export.KEYS.items()))
        + "## Of a fit\n\n`washsim fit FILE READINGS --json` prints one object.\n\n"
        + table(("key", "meaning"), ([f"`{key}`", text] for key, text in findings.KEYS.items()))
    )


PAGES: dict[str, Callable[[], str]] = {
    "scenario.md": scenario_page,
    "scenario.schema.json": schema_page,
    "results.md": results_page,
    "readings.md": readings_page,
    "commands.md": commands_page,
    "methods.md": methods_page,
    "literature.md": literature_page,
    "still-water.md": still_page,
    "faq.md": lambda: page("faq.md"),
    "properties.md": properties_page,
    "verification.md": verification_page,
}


def main() -> int:
    """Write every page, or say which are stale (status 1)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, name stale pages")
    check = parser.parse_args().check
    stale = []
    for name, write in PAGES.items():
        path, text = DOCS / name, write()
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if not check:
            path.write_text(text, encoding="utf-8")
    print("stale:" if check else "written:", ", ".join(stale) or "none")
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
