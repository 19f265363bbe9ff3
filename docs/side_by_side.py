"""The page on wash methods, their model terms and what each comes to, for docs/generate.py."""

from __future__ import annotations

from tabular import NOTE, table

from washsim import export, files, tables
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import minute
from washsim.vessels import Vessel

HEAD = """# Wash methods side by side

The methods that come along (`washsim/data/methods.toml`), each put under one batch: fourteen
invented fibre prints, 20.3 × 25.4 cm, double weight, five minutes in plain hypo, soft tap water at
20 °C, explanation `both`. Litres, flows and films are typical guesses, common practice, no source.
Minutes to the target, 0.014 g/m², count from the fixer, for the worst print. Mind that methods
differ in how long they last.

"""
SCALES_HEAD = """## The same test on a strip and on a batch

Three of these methods, an hour and a half of each, once with one strip of 5 × 10 cm and once with
the fourteen prints, all else alike. A drop of test solution shows most eyes nothing up to
{visible:g} g/m². The floor is what is left once paper and water are in balance, however long one
waits.

"""
SCALES = ("still", "recirculated", "slots")
TERMS_HEAD = """## In model terms

What tells the methods apart, in the terms of [the model](model.md), vessel by vessel as it is
used; numbers before steps say their order. Film is the transfer coefficient of the still layer of
water on an open face; the others are the keys `volume_l`, `flow_l_min`, `exchange_efficiency`,
`dead_fraction`, `puddle_l` and `open_faces` of a [scenario file](scenario.md).

"""
STRIP = {"sheet.count": 1, "sheet.width": 0.05, "sheet.height": 0.1}
VISIBLE = tables.datum("limits.spot_test.visible_high").si
ABOUT_HEAD = "## What each is, and what to mind\n\n"


def methods_page() -> str:
    """Every method of the catalogue under the same batch, computed as this page is written."""
    changes = {"fixing.fixer": "plain", "fixing.dilution": None, "fixing.duration": 300.0}
    batch = files.example("demo").but(changes)
    rows, terms, minds = [], [], []
    for name in files.methods():
        about = tables.entry(f"methods.{name}")
        scenario = files.with_method(batch, name)
        rows.append(_outcome(about["label"], scenario))
        terms += _terms(about["label"], scenario)
        minds.append(f"- **{about['label']}.** {about['meaning']} *Mind:* {about['minds']}\n")
    head = ("method", "ends at, min", "water, L", "worst, g/m²", "typical, g/m²")
    head_terms = ("volume, L", "flow, L/min", "exchange", "dead part", "puddle, L")
    return (
        NOTE
        + HEAD
        + table((*head, "to target, min", "limited at its end by"), rows)
        + SCALES_HEAD.format(visible=1e3 * VISIBLE)
        + _scales(batch)
        + TERMS_HEAD
        + table(("method", "steps", *head_terms, "film, m/s", "open faces"), terms)
        + ABOUT_HEAD
        + "".join(minds)
    )


def _outcome(label: str, scenario: Scenario) -> list[str]:
    found = export.summary(solve(scenario))
    minutes = found["minutes_to_target"]
    return [
        label,
        f"{found['steps'][-1]['stop_min']:.0f}",
        f"{found['litres_total']:.3g}",
        f"{found['worst_residual_g_m2']:.2g}",
        f"{found['typical_residual_g_m2']:.2g}",
        "not met" if minutes is None else f"{minutes:.0f}",
        max(found["limits_now"], key=found["limits_now"].__getitem__),
    ]


def _scales(batch: Scenario) -> str:
    rows = []
    for name in SCALES:
        row = [tables.entry(f"methods.{name}")["label"]]
        for changes in (STRIP, {}):
            scenario = files.with_method(batch.but(changes), name)
            result = solve(scenario.but({"steps.1.duration": 90 * minute}))
            left, floor = result.worst_residual, result.floor(0, result.run.timeline.end)
            row += [
                f"{result.water_to_paper(1) * 1e3:.0f}",
                f"{1e3 * left:.2g}",
                f"{1e3 * floor:.2g}",
                "nothing" if left < VISIBLE else "a stain",
            ]
        rows.append(row)
    of_each = ("water, L/m²", "left, g/m²", "floor, g/m²", "a drop shows")
    head = [f"{scale}: {what}" for scale in ("strip", "batch") for what in of_each]
    return table(("method", *head), rows)


def _terms(label: str, scenario: Scenario) -> list[list[str]]:
    """One row a vessel, with the steps that happen in it."""
    rows = []
    several = len(scenario.steps) > 1
    for vessel in scenario.vessels:
        steps = [
            f"{number}: {_step(step)}" if several else _step(step)
            for number, step in enumerate(scenario.steps, start=1)
            if getattr(step, "vessel", None) == vessel.name
        ]
        flow = vessel.flow * 6e4
        rows.append(
            [
                label,
                ", ".join(steps),
                f"{vessel.volume * 1e3:g}",
                f"{flow:g}" if flow else "–",
                f"{vessel.exchange_efficiency:g}" if flow else "–",
                f"{vessel.dead_fraction:g}" if vessel.dead_fraction else "–",
                f"{vessel.puddle * 1e3:g}" if vessel.puddle else "–",
                _film(vessel),
                vessel.open_faces,
            ]
        )
        label = ""
    return rows


def _film(vessel: Vessel) -> str:
    if vessel.film is not None:
        return f"water {vessel.film * 1e6:g} µm thick"
    if vessel.stirring == "shuffled":
        return f"a pile, each moved every {(vessel.shuffle or 0) / 60:g} min"
    if vessel.stirring == "still":
        return f"still water ({vessel.lying}), moved by what fixer weighs"
    return f"{tables.datum(f'liquids.stirring.{vessel.stirring}.film').si:.1e}"


def _step(step: object) -> str:
    """How often and how long, in words."""
    minutes = f"{getattr(step, 'duration', 0.0) / 60:g} min"
    times = getattr(step, "baths", None) or getattr(step, "trays", 1)
    word = type(step).__name__.lower()
    return f"{word} {f'{times} × ' if times > 1 else ''}{minutes}"
