"""A first run from three questions: how many sheets of what size, trays or washer, how long.

Everything else is assumed, and every assumption is listed with the place where it is changed. The
assumptions about vessels are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from washsim import files, solve, tables
from washsim.errors import InputError
from washsim.fields import check_number, declared, is_number, one_of
from washsim.papers import Sheet
from washsim.recipes import Bath, Running, Step
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import (
    UNITS,
    amount,
    gram,
    in_system,
    inch,
    litre,
    litre_per_minute,
    minute,
    rounded,
    temperature,
)
from washsim.vessels import Vessel

SIZES = {
    "5x7": (5 * inch, 7 * inch),
    "8x10": (8 * inch, 10 * inch),
    "9.5x12": (9.5 * inch, 12 * inch),
    "11x14": (11 * inch, 14 * inch),
    "16x20": (16 * inch, 20 * inch),
}
"""Usual sizes of paper, m."""
WAYS = {"trays": "Trays, water changed by hand", "washer": "A washer with running water"}
PER_AREA = 6e-3
"""m3 of water poured for each m2 of paper: 0.3 L for an 8 x 10 inch sheet; an estimate."""
DEPTH = 0.02
"""m of water over the bottom of a tray at least; common practice, no source."""
ROOM = 0.05
"""m that a tray is longer and wider than its sheets; an estimate."""
BATHS = (2, 3, 4, 5, 6, 8, 10, 12)
FLOWS = (1.0, 2.0, 4.0, 8.0)
"""L/min."""
MARGIN = 3.0
"""The first plan aims this factor under the target, as the paper's numbers are that unsure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Something that was not asked, in words, and its place in the form (see edits.py)."""

    words: str
    path: str


def size_label(name: str, system: str) -> str:
    """'20.3 × 25.4 cm' or '8 × 10 in'."""
    unit = in_system(UNITS["cm"], system)
    sides = (f"{unit.from_si(side):.3g}" for side in SIZES[name])
    return f"{' × '.join(sides)} {unit.label}"


def plan(asked: dict[str, Any]) -> Scenario:
    """The plan with the least water that comes a factor MARGIN under the target.

    Where none does, the one that leaves least. asked: sheets, size (of SIZES), way (of WAYS),
    minutes; InputError where one is missing or out of range.
    """
    batch, seconds = answers(asked)
    trays = asked["way"] == "trays"
    results = [solve.solve(one) for one in (_trays if trays else _washer)(batch, seconds)]
    return chosen(results).scenario


def answers(asked: dict[str, Any]) -> tuple[Scenario, float]:
    """The demo's habits with the batch asked for, and s of washing."""
    size, way, minutes = str(asked.get("size")), str(asked.get("way")), asked.get("minutes")
    if size not in SIZES:
        raise InputError(f"size: expected {one_of(size, list(SIZES))}")
    if way not in WAYS:
        raise InputError(f"way: expected {one_of(way, list(WAYS))}")
    if not is_number(minutes) or not 5 <= float(minutes) <= 600:
        raise InputError(f"minutes: expected 5 to 600 min, got {minutes!r:.40}")
    sheets: Any = asked.get("sheets")
    if is_number(sheets) and float(sheets).is_integer():
        sheets = int(sheets)
    spec: Any = declared(Sheet)["count"]
    check_number(spec, sheets, "sheets")
    width, height = SIZES[size]
    demo = files.example("demo")
    batch = replace(
        demo,
        title=f"First plan: {sheets} sheets, {WAYS[way].lower()}",
        sheet=replace(demo.sheet, count=sheets, width=width, height=height),
    )
    return batch, float(minutes) * minute


def _trays(batch: Scenario, seconds: float) -> Iterator[Scenario]:
    """Few long baths to many short ones, as the time allows."""
    sheet = batch.sheet
    bottom = (sheet.width + ROOM) * (sheet.height + ROOM)
    volume = max(DEPTH * bottom, PER_AREA * sheet.area * sheet.count)
    # to half litres, as marked on a tray
    volume = min(max(1.0, round(2 * volume / litre) / 2) * litre, 2.0)
    tray = Vessel(name="tray", volume=volume, puddle=min(0.3 * litre, volume / 5))
    for baths in BATHS:
        steps: tuple[Step, ...] = (Bath(vessel="tray", baths=baths, duration=seconds / baths),)
        yield replace(batch, vessels=(tray,), steps=steps)


def _washer(batch: Scenario, seconds: float) -> Iterator[Scenario]:
    """A slow tap to a quick one."""
    usual = next(vessel for vessel in batch.vessels if vessel.name == "washer")
    steps: tuple[Step, ...] = (Running(vessel="washer", duration=seconds),)
    for flow in FLOWS:
        washer = replace(usual, flow=flow * litre_per_minute)
        yield replace(batch, vessels=(washer,), steps=steps)


def chosen(results: list[Result]) -> Result:
    """The least water with the margin, else under the target, else the least fixer left."""
    limit = results[0].scenario.target.limit
    for least in (limit / MARGIN, limit):
        good = [one for one in results if one.worst_residual <= least]
        if good:
            return min(good, key=lambda one: one.litres_total)
    return min(results, key=lambda one: one.worst_residual)


def assumptions(scenario: Scenario, system: str) -> Iterator[Assumed]:
    """What was not asked: all that the plan rests on and that is there, each for itself."""
    yield from _paper_and_fixer(scenario, system)
    yield from _water(scenario, system)
    yield from _wash(scenario, system)
    yield Assumed(
        words=f"target {scenario.target.limit / gram:.2g} g/m², borrowed from film",
        path="target.preset",
    )


def _label(path: str) -> str:
    return str(tables.entry(f"{path}.label")).lower()


def _paper_and_fixer(scenario: Scenario, system: str) -> Iterator[Assumed]:
    sheet, fixing = scenario.sheet, scenario.fixing
    yield Assumed(words=_label(f"papers.{sheet.paper}"), path="sheet.paper")
    why = _label(f"papers.explanation.{sheet.explanation}")
    yield Assumed(words=f"why it takes long: {why}", path="sheet.explanation")
    yield Assumed(words="all sheets leave the fixer together", path="sheet.interval")
    yield Assumed(words=_label(f"liquids.fixer.{fixing.fixer}"), path="fixing.fixer")
    if fixing.dilution:
        yield Assumed(words=f"diluted {fixing.dilution}", path="fixing.dilution")
    yield Assumed(words=f"{fixing.duration:.0f} s in the fixer", path="fixing.duration")
    baths = "one fixing bath" if fixing.baths == 1 else f"{fixing.baths} fixing baths"
    yield Assumed(words=baths, path="fixing.baths")
    used = f"{rounded(fixing.sheets_per_litre)} sheets fixed in each litre before"
    yield Assumed(words=used, path="fixing.sheets_per_litre")
    warmth = temperature(fixing.temperature, system)
    yield Assumed(words=f"fixer at {warmth}", path="fixing.temperature")
    moved = _label(f"liquids.stirring.{fixing.stirring}")
    yield Assumed(words=f"motion in the fixer: {moved}", path="fixing.stirring")


def _water(scenario: Scenario, system: str) -> Iterator[Assumed]:
    water = scenario.water
    yield Assumed(words=_label(f"liquids.water.{water.kind}"), path="water.kind")
    warmth = temperature(water.temperature, system)
    yield Assumed(words=f"wash water at {warmth}, not heated", path="water.temperature")
    yield Assumed(words=f"water costs {rounded(water.price)} per m³", path="water.price")


def _wash(scenario: Scenario, system: str) -> Iterator[Assumed]:
    step, vessel = scenario.steps[0], scenario.vessels[0]
    if isinstance(step, Bath):
        each = f"{step.baths} baths of {rounded(step.duration / minute)} min"
        yield Assumed(words=f"{each}, chosen for you", path="steps.1.baths")
        volume = f"{amount(vessel.volume, system)} of water in each"
        yield Assumed(words=volume, path="vessels.1.volume")
        left = in_system(UNITS["l"], system, largest=0.1)
        puddle = f"{rounded(left.from_si(vessel.puddle), 2)} {left.label}"
        yield Assumed(words=f"{puddle} stays when the tray is dumped", path="vessels.1.puddle")
    else:
        tap = in_system(UNITS["l_min"], system)
        flow = f"{rounded(tap.from_si(vessel.flow), 2)} {tap.label}"
        yield Assumed(words=f"the tap gives {flow}, chosen for you", path="vessels.1.flow")
        held = f"the washer holds {amount(vessel.volume, system)}"
        yield Assumed(words=held, path="vessels.1.volume")
        share = f"{100 * vessel.exchange_efficiency:.0f} % of it renews the water"
        yield Assumed(words=share, path="vessels.1.exchange_efficiency")
    moved = _label(f"liquids.stirring.{vessel.stirring}")
    yield Assumed(words=f"motion in the wash: {moved}", path="vessels.1.stirring")
    yield Assumed(words=f"{vessel.open_faces} faces open to the water", path="vessels.1.open_faces")
    drain = f"each sheet drains {scenario.handling.drain:.0f} s when lifted"
    yield Assumed(words=drain, path="handling.drain")
