"""Scenario files drawn at random from the field declarations, as trees of plain values.

Every key may or may not be there, every number may stand anywhere in its range; only the rules
between fields (own layers with paper = 'own' and so on) are mended afterwards.
"""

from __future__ import annotations

import math
from dataclasses import MISSING
from typing import Any

from hypothesis import strategies as st

from washsim.fields import Choice, Declared, Part, Quantity, Text, declared, default_of, key_of
from washsim.files import FORMAT
from washsim.recipes import STEPS, Drain
from washsim.scenario import Scenario

WORDS = {cls: word for word, cls in STEPS.items()}
LETTERS = st.characters(categories=("L", "M", "N", "P", "S"), include_characters=" ")
"""All that prints, brackets, quotes and backslashes among it."""


def names(longest: int = 120) -> st.SearchStrategy[str]:
    return st.text(LETTERS, min_size=1, max_size=min(longest, 12))


def number(spec: Quantity) -> st.SearchStrategy[float]:
    """Anywhere in the range, in the shown unit; zero or at least a billionth of the top."""
    if spec.whole:
        return st.integers(math.ceil(spec.low), math.floor(spec.high))
    tiny = 1e-9 * spec.high
    return st.floats(spec.low, spec.high).map(lambda x: max(spec.low, 0.0) if x < tiny else x)


def value(spec: Declared) -> st.SearchStrategy[Any]:
    match spec:
        case Quantity():
            return number(spec)
        case Choice():
            return st.sampled_from(spec.options)
        case Text():
            return st.text(LETTERS, max_size=spec.longest)
        case Part(many=True):
            kinds = st.sampled_from(spec.kinds)
            word = len(spec.kinds) > 1
            blocks = kinds.flatmap(lambda kind: block(kind, WORDS[kind] if word else ""))
            return st.lists(blocks, min_size=1, max_size=4)
        case Part(named=True):
            one = block(spec.kinds[0], skip=("name",))
            return st.dictionaries(names(), one, min_size=1, max_size=4)
        case Part():
            return block(spec.kinds[0])


def block(cls: type, kind: str = "", skip: tuple[str, ...] = ()) -> st.SearchStrategy[dict]:
    specs = {name: spec for name, spec in declared(cls).items() if name not in skip}
    must = {"kind": st.just(kind)} if kind else {}
    may = {}
    for name, spec in specs.items():
        needed = default_of(cls, name) is MISSING
        (must if needed else may)[key_of(name, spec)] = value(spec)
    return st.fixed_dictionaries(must, optional=may)


@st.composite
def trees(draw: st.DrawFn) -> dict[str, Any]:
    """What a scenario file may hold."""
    tree = draw(block(Scenario))
    _mend(draw, *(tree.get(key, {}) for key in ("sheet", "fixing", "target")))
    for vessel in tree["vessels"].values():
        _mend_vessel(vessel)
    vessels = st.sampled_from(sorted(tree["vessels"]))
    for step in tree["steps"]:
        if "vessel" in step:
            step["vessel"] = draw(vessels)
    wet = [i for i, step in enumerate(tree["steps"], start=1) if step["kind"] != WORDS[Drain]]
    for one in [*tree.get("late", []), *tree.get("stuck", [])]:
        one["step"] = draw(st.sampled_from(wet or [0]))
    for one in tree.get("stuck", []):
        one["other"] = one["sheet"] % 200 + 1
        if one["how"].endswith("wall"):
            del one["other"]
    if not wet:
        tree.pop("late", None)
        tree.pop("stuck", None)
    return {"format": FORMAT} | tree


def _mend_vessel(vessel: dict) -> None:
    """Make a vessel follow the rules between its fields."""
    if (vessel.get("stirring") == "shuffled") != ("shuffle_min" in vessel):
        vessel.pop("stirring", None)
        vessel.pop("shuffle_min", None)
    if vessel.get("lying") == "floor":
        vessel.pop("dead_fraction", None)


def _mend(draw: st.DrawFn, sheet: dict, fixing: dict, target: dict) -> None:
    """Make blocks follow the rules between their fields."""
    # what was learnt is written by a fit; its names must be the paper's
    sheet.pop("learnt", None)
    if sheet.get("paper") != "own":
        sheet.pop("layers", None)
    elif "layers" not in sheet:
        del sheet["paper"]
    if "dilution" in fixing:
        fixing["dilution"] = draw(st.sampled_from(["1+4", "1 + 9", "0.5+3", "2+0"]))
        fixing.pop("thiosulfate_g_l", None)
    if (target.get("preset") == "own") != ("residual_g_m2" in target):
        target.clear()


EVERY_STEP = """
[vessels.tray]
volume_l = 4
[vessels.washer]
volume_l = 20
flow_l_min = 4
[vessels.row]
volume_l = 2
[[steps]]
kind = "rinse"
vessel = "tray"
duration_min = 1
sheets_per_fill = 3
[[steps]]
kind = "drain"
duration_s = 30
[[steps]]
kind = "hold"
vessel = "washer"
changes = 2
[[steps]]
kind = "bath"
vessel = "tray"
baths = 3
duration_min = 10
temperature_c = 22
[[steps]]
kind = "running"
vessel = "washer"
duration_min = 20
[[steps]]
kind = "aid"
vessel = "tray"
duration_min = 5
[[steps]]
kind = "transfer"
vessel = "row"
trays = 3
duration_min = 8
"""

EVERYTHING = f"""
format = "{FORMAT}"
title = "One of each"
[sheet]
paper = "own"
explanation = "own"
count = 5
interval_min = 8
[[sheet.layers]]
name = "emulsion"
thickness_um = 25
porosity = 0.8
hindrance = 0.4
[[sheet.layers]]
name = "base"
thickness_um = 300
porosity = 0.6
hindrance = 0.05
retention = 0.1
release_half_life_min = 30
[fixing]
thiosulfate_g_l = 90
[target]
preset = "own"
residual_g_m2 = 0.02
{EVERY_STEP}
[[late]]
step = 5
after_min = 10
rinse_volume_l = 1
rinse_duration_min = 2
"""
"""A file with every block and every kind of step."""
