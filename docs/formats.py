"""The pages on files and on results for machines, for docs/generate.py."""

from __future__ import annotations

import dataclasses
import json

from tabular import NOTE, table

from washsim import export, fields, files, findings, logbook, readings, scenario, schema, vessels


def scenario_page() -> str:
    """Every block of a scenario file, key by key."""
    page = NOTE + SCENARIO_HEAD
    page += _block("Top of the file", scenario.Scenario, first=("format", "", files.FORMAT))
    return page + _parts(scenario.Scenario, "")


def readings_page() -> str:
    """Every block of a file of readings and of an entry of the log."""
    page = NOTE + READINGS_HEAD
    first = ("format", "", readings.FORMAT)
    page += _block("Top of a file of readings", readings.Tests, first=first)
    page += _parts(readings.Tests, "") + LOG_HEAD
    page += _block("Top of an entry", logbook.Entry, first=("format", "", logbook.FORMAT))
    return page + _block("`[prediction]`", logbook.Prediction)


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
        page += f"## `{title}`\n\n{STEPS_HEAD if inside == 'steps' else ''}"
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

READINGS_HEAD = """# Readings and the log

A file of readings is a TOML file: the drops, drips and laboratory values of one evening, and the
scale they were read on. `washsim fit SCENARIO READINGS` lets them correct the paper. Keys are
those of [scenario files](scenario.md) in style: a name and its unit, nothing else.

"""

LOG_HEAD = """## The log

`washsim log` keeps one document an evening in a folder of its own: the blocks below, the
evening's readings as `[tests]` and the evening as it was washed as `[scenario]`, both as they
stand in their own files. A document is never changed; a correction is a new one. The evening is
foretold from what readings of earlier ones in the folder taught.

"""

STEPS_HEAD = """The wash, in order; each `[[steps]]` begins a new step and says its `kind`. Rinse,
aid, transfer and drain take each sheet as it comes; bath, running and hold gather the sheets and
let them go on together.

"""


def _block(title: str, cls: type, level: int = 2, first: tuple[str, ...] = ()) -> str:
    """One block's heading, sentence and table."""
    docstring = " ".join((cls.__doc__ or "").split())
    rows = []
    if first:
        key, unit, value = first
        rows.append([f"`{key}`", unit, f'`"{value}"`', "must be given", "names this format"])
    for name, spec in fields.declared(cls).items():
        if isinstance(spec, fields.Part) or (cls is vessels.Vessel and name == "name"):
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
    if value is None:
        return "left out"
    if not isinstance(spec, fields.Quantity):
        return f"`{value}`" if value else "empty"
    shown = f"{spec.unit.from_si(value):g}"
    return f"[{shown}](properties.md) (`{spec.source}`)" if spec.source else shown


def schema_page() -> str:
    """The JSON Schema, as a file."""
    return json.dumps(schema.schema(), indent=1, ensure_ascii=False) + "\n"


def results_page() -> str:
    """Keys of the JSON objects that `washsim simulate --json` and `washsim fit --json` print."""
    return (
        NOTE
        + "# Results for machines\n\n`washsim simulate FILE --json` prints one object, `washsim "
        "compare` a list of them. Keys keep their name and meaning as long as `format` stays the "
        "same. Amounts are those of the thiosulfate ion.\n\n"
        + table(("key", "meaning"), ([f"`{key}`", text] for key, text in export.KEYS.items()))
        + "## Fits\n\n`washsim fit SCENARIO READINGS --json` prints one object.\n\n"
        + table(("key", "meaning"), ([f"`{key}`", text] for key, text in findings.KEYS.items()))
    )
