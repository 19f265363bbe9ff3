"""Readings and their scale as a form: what can be filled in, and one change as a visitor makes it.

Pure: readings and a change in, other readings out, or InputError in one sentence. The fields are
those of washsim.readings; what a drop shows is asked for as people say it (between two steps,
nothing visible, off the scale), and so are a laboratory's value and the liquid in a strip.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from washsim import ladders, observing, stains, strips, tables
from washsim.errors import InputError
from washsim.fields import Part, declared, one_of
from washsim.ladders import Ladder, Rung
from washsim.liquids import density
from washsim.readings import KINDS, Drip, Drop, Laboratory, Reading, Tests
from washsim.scenario import Scenario
from washsim.units import celsius, gram, rounded
from washsim_dashboard import edits, form

SEEN = (("between", "Between two"), ("none", "Nothing visible"), ("off", "Off the scale"))
SCALES = (("ladder", "My ladder"), ("known", "Residuals"))
REPORTED = (("value", "A value"), ("below", "Less than"))
HELD = (("paper", "As the paper"), ("weighed", "Weighed"))
KIND_WORDS = {"drop": "Silver nitrate drop", "laboratory": "Laboratory value", "drip": "Drip"}
LABELS = {
    "washed": "Washed for",
    "waited": "Waited",
    "residual": "Value",
    "bound": "Fades at",
    "one_in": "One part in",
    "thiosulfate": "Fixer strength",
    "dry": "Strip dry",
    "wet": "Strip wet, blotted",
}
EMPTY = {"washed": "to the end", "thiosulfate": "planned"}
"""What an empty box means, where 'as usual' would not say it."""
_ASKED = ("lighter_than", "darker_than", "below", "above", "residual")
"""Fields that are asked for in words of this page's own."""
_FOLDED = ("reagent_age", "place", "error", "method", "age", "bound")


def usual_ladder(scenario: Scenario) -> Ladder:
    """Steps of two from the first visible one, made from the scenario's fixer."""
    wanted = tuple(reversed(strips.scale()))
    strength, held = scenario.fixing.concentration, scenario.sheet.material.held_liquid
    found = ladders.dilutions(wanted, strength, held)
    return Ladder(steps=tuple(Rung(one_in=float(rounded(one, 2))) for one in found))


def invented(scenario: Scenario) -> Tests:
    """One reading to begin with, marked as invented."""
    ladder = usual_ladder(scenario)
    last = len(ladder.steps)
    drop = Drop(lighter_than=last - 1, darker_than=last, waited=_wait(), blank="clear")
    return Tests(title="Invented reading, type over it", ladder=ladder, readings=(drop,))


def _wait() -> float:
    return float(60 * tables.datum("limits.reading.drop_wait").value)


# --- one change ---


def apply(tests: Tests, change: dict[str, Any], scenario: Scenario, system: str) -> Tests:
    """The readings after a change: set, add, remove; what they say must fit the scenario."""
    path, at = str(change.get("path")), change.get("at")
    match change.get("do"), change.get("list", "readings"):
        case "set", _:
            changed = _set(tests, path, change, scenario, system)
        case "add", "readings":
            new = _new(str(change.get("kind")), tests)
            changed = replace(tests, readings=(*tests.readings, new))
        case "remove", "readings":
            changed = replace(tests, readings=_without(tests.readings, at))
        case "add", "steps":
            last = _ladder(tests).steps[-1].one_in
            changed = _with_steps(tests, (*_ladder(tests).steps, Rung(one_in=2 * last)))
        case "remove", "steps":
            changed = _with_steps(tests, _without(_ladder(tests).steps, at))
        case "usual", _:
            rungs = usual_ladder(scenario).steps
            changed = _with_steps(tests, rungs)
        case wanted, _:
            raise InputError(f"change: expected {one_of(wanted, ('set', 'add', 'remove'))}")
    observing.observations(scenario, changed)
    return changed


def _ladder(tests: Tests) -> Ladder:
    if tests.ladder is None:
        raise InputError("ladder: there is none yet; choose the usual steps first")
    return tests.ladder


def _with_steps(tests: Tests, steps: tuple[Rung, ...]) -> Tests:
    ladder = Ladder(steps=steps) if tests.ladder is None else replace(tests.ladder, steps=steps)
    return replace(tests, ladder=ladder)


def _without(items: tuple[Any, ...], at: Any) -> tuple[Any, ...]:
    if not isinstance(at, int) or not 1 <= at <= len(items):
        raise InputError(f"remove: expected a number from 1 to {len(items)}")
    return items[: at - 1] + items[at:]


def _new(kind: str, tests: Tests) -> Reading:
    first = float(tables.datum("limits.spot_test.visible_low").si)
    if kind == "drop":
        if tests.ladder is None:
            return Drop(below=first, waited=_wait())
        return Drop(lighter_than=len(tests.ladder.steps), waited=_wait())
    if kind == "laboratory":
        return Laboratory(residual=first)
    if kind == "drip":
        return Drip(colour="stays")
    raise InputError(f"reading: expected {one_of(kind, tuple(KINDS))}")


def _set(tests: Tests, path: str, change: dict[str, Any], scenario: Scenario, system: str) -> Tests:
    parent, _, name = path.rpartition(".")
    value = change.get("value")
    if path == "ladder.held":
        return replace(tests, ladder=_weighed(_ladder(tests), str(value), scenario))
    if name in ("seen", "scale", "reported", "lighter_step", "darker_step"):
        one = edits.at(tests, parent)
        steps = tests.ladder.residuals(scenario) if tests.ladder else ()
        changed: Tests = edits.put(tests, parent, _said(one, name, str(value), steps))
        return changed
    found: Tests = edits.set_value(tests, change, system)
    return found


def _weighed(ladder: Ladder, how: str, scenario: Scenario) -> Ladder:
    """With weights that mean what the paper is taken to hold, to be typed over; or without."""
    if how == "paper":
        return replace(ladder, dry=None, wet=None)
    dry, wet = _estimated(ladder, scenario)
    return replace(ladder, dry=dry, wet=wet)


def _estimated(ladder: Ladder, scenario: Scenario) -> tuple[float, float]:
    """kg of a strip dry and wet, by the tables, until it is weighed."""
    area = ladder.width * ladder.height
    water = scenario.sheet.material.held_liquid * area * density(celsius(20))
    dry = round(tables.datum("limits.reading.dry_paper").si * area, 5)
    return dry, round(dry + water, 5)


def _said(one: Any, name: str, value: str, steps: tuple[float, ...]) -> Reading:
    """A reading said in another way, with what it said before kept as far as that goes."""
    if isinstance(one, Laboratory) and name == "reported":
        amount = one.residual if one.below is None else one.below
        below = value == "below"
        return replace(one, residual=None if below else amount, below=amount if below else None)
    if not isinstance(one, Drop):
        raise InputError(f"{name}: expected of a drop")
    if name in ("lighter_step", "darker_step"):
        field = "lighter_than" if name == "lighter_step" else "darker_than"
        if not value.isdigit():
            raise InputError("step: expected the number of a step of the ladder")
        return replace(one, **{field: int(value)})  # type: ignore[arg-type]
    if name == "scale":
        return _on_scale(one, value, steps)
    return _as_seen(one, value, len(steps))


def _on_scale(one: Drop, scale: str, steps: tuple[float, ...]) -> Drop:
    """Read against the ladder or against known residuals."""
    if scale == "known":
        if scale_of(one) == "known":
            return one
        below = None if one.lighter_than is None else steps[one.lighter_than - 1]
        above = None if one.darker_than is None else steps[one.darker_than - 1]
        return replace(one, lighter_than=None, darker_than=None, below=below, above=above)
    if not steps:
        raise InputError("scale: there is no ladder yet; choose the usual steps first")
    return replace(
        one,
        below=None,
        above=None,
        lighter_than=None if one.below is None else max(1, len(steps) - 1),
        darker_than=None if one.above is None else len(steps),
    )


def _as_seen(one: Drop, seen: str, count: int) -> Drop:
    """Between two of the scale, below its faintest or above its strongest."""
    if seen not in dict(SEEN):
        raise InputError(f"seen: expected {one_of(seen, tuple(dict(SEEN)))}")
    if scale_of(one) == "ladder":
        pair = {"none": (count, None), "off": (None, 1), "between": (max(1, count - 1), count)}
        lighter, darker = pair[seen]
        return replace(one, lighter_than=lighter, darker_than=darker)
    level = one.below if one.below is not None else one.above
    assert level is not None, "a drop names at least one bound"
    known = {"none": (level, None), "off": (None, level), "between": (2 * level, level)}
    below, above = known[seen]
    return replace(one, below=below, above=above)


def scale_of(one: Drop) -> str:
    return "known" if one.lighter_than is None and one.darker_than is None else "ladder"


def seen_of(one: Drop) -> str:
    low = one.darker_than if scale_of(one) == "ladder" else one.above
    high = one.lighter_than if scale_of(one) == "ladder" else one.below
    if low is None:
        return "none"
    return "off" if high is None else "between"


# --- the form ---


def shape(tests: Tests, scenario: Scenario, system: str) -> dict[str, Any]:
    """Everything that can be filled in."""
    listed = [
        {
            "label": f"{n}. {KIND_WORDS[_kind(one)]}",
            "fields": _reading(tests, n, scenario, system),
        }
        for n, one in enumerate(tests.readings, start=1)
    ]
    return {"readings": listed, "ladder": _ladder_fields(tests, scenario, system)}


def _kind(one: Reading) -> str:
    return next(word for word, cls in KINDS.items() if isinstance(one, cls))


def choice(
    path: str, label: str, options: Any, meaning: str, folded: bool = False
) -> dict[str, Any]:
    return {
        "path": path,
        "label": label,
        "kind": "choice",
        "options": [list(one) for one in options],
        "meaning": meaning,
        "optional": False,
        "advanced": folded,
        "reset": [],
    }


def _field(tests: Tests, path: str, system: str, **more: Any) -> dict[str, Any]:
    parent, _, name = path.rpartition(".")
    spec = declared(type(edits.at(tests, parent)))[name]
    found = form.field(tests, tests, path, spec, system)
    label = LABELS.get(name, found["label"])
    return (
        found
        | {"label": label, "reset": [], "advanced": name in _FOLDED}
        | ({"empty": EMPTY[name]} if name in EMPTY else {})
        | more
    )


def _reading(tests: Tests, number: int, scenario: Scenario, system: str) -> list[dict[str, Any]]:
    one, path = tests.readings[number - 1], f"readings.{number}"
    rest = [
        _field(tests, f"{path}.{name}", system)
        for name in declared(type(one))
        if name not in _ASKED
    ]
    if isinstance(one, Drop):
        return _drop(tests, one, path, scenario, system) + rest
    if isinstance(one, Laboratory):
        name = "residual" if one.below is None else "below"
        amount = _field(tests, f"{path}.{name}", system, label="Amount", optional=False)
        reported = choice(f"{path}.reported", "Reported", REPORTED, "a value, or a limit")
        return [reported, amount, *rest]
    return rest


def _drop(
    tests: Tests, one: Drop, path: str, scenario: Scenario, system: str
) -> list[dict[str, Any]]:
    """What a drop showed, and on which scale."""
    seen = seen_of(one)
    found = [
        choice(f"{path}.scale", "Compared with", SCALES, "what the stain was held beside"),
        choice(f"{path}.seen", "Stain", SEEN, "nothing visible is a bound, never zero"),
    ]
    if scale_of(one) == "ladder":
        steps = _ladder(tests).residuals(scenario)
        options = [
            (str(n), f"{n}: {rounded(x / gram, 2)} g/m²") for n, x in enumerate(steps, start=1)
        ]
        pairs = {"lighter_step": "Lighter than step", "darker_step": "Darker than step"}
        bounds = [
            choice(f"{path}.{name}", label, options, "step of the ladder, 1 is the strongest")
            for name, label in pairs.items()
        ]
    else:
        pairs = {"below": "Lighter than", "above": "Darker than"}
        bounds = [
            _field(tests, f"{path}.{name}", system, label=label, optional=False)
            for name, label in pairs.items()
        ]
    wanted = {"none": bounds[:1], "off": bounds[1:], "between": bounds}[seen]
    return found + wanted


def _ladder_fields(tests: Tests, scenario: Scenario, system: str) -> dict[str, Any]:
    if tests.ladder is None:
        return {"fields": [], "steps": []}
    sides = ("width", "height") if tests.ladder.dry is not None else ()
    return {
        "fields": [
            _field(tests, "ladder.thiosulfate", system),
            choice("ladder.held", "Liquid in the strip", HELD, "sets what each step means"),
            *(_field(tests, f"ladder.{name}", system, optional=False) for name in sides),
            *_weights(tests, scenario, system),
        ],
        "steps": [
            _field(tests, f"ladder.steps.{n}.one_in", system, label=f"Step {n}, one part in")
            for n, _ in enumerate(tests.ladder.steps, start=1)
        ],
    }


def _weights(tests: Tests, scenario: Scenario, system: str) -> list[dict[str, Any]]:
    """The strip's weights, marked as long as they are the tables' estimate and nobody's scale."""
    ladder, found = tests.ladder, []
    if ladder is None or ladder.dry is None:
        return []
    for name, guess in zip(("dry", "wet"), _estimated(ladder, scenario), strict=True):
        one = _field(tests, f"ladder.{name}", system, optional=False)
        if getattr(ladder, name) == guess:
            weight = tables.datum("limits.reading.dry_paper")
            one["label"] = f"{one['label'].removesuffix(', blotted')} (estimate)"
            one["meaning"] = (
                f"an estimate, to be weighed: dry paper of {weight.value:g} g/m² "
                f"({weight.low:g} to {weight.high:g}), wet with what the paper is taken to hold"
            )
        found.append(one)
    return found


def values(tests: Tests, system: str) -> dict[str, Any]:
    """What stands in every field, by place."""
    found: dict[str, Any] = {}

    def gather(block: Any, path: str) -> None:
        for name, spec in declared(type(block)).items():
            if not isinstance(spec, Part):
                found[f"{path}.{name}"] = form.shown(getattr(block, name), spec, system)

    for n, one in enumerate(tests.readings, start=1):
        path = f"readings.{n}"
        gather(one, path)
        if isinstance(one, Drop):
            found[f"{path}.scale"], found[f"{path}.seen"] = scale_of(one), seen_of(one)
            found[f"{path}.lighter_step"] = str(one.lighter_than)
            found[f"{path}.darker_step"] = str(one.darker_than)
        if isinstance(one, Laboratory):
            found[f"{path}.reported"] = "value" if one.below is None else "below"
    if tests.ladder is not None:
        gather(tests.ladder, "ladder")
        found["ladder.held"] = "paper" if tests.ladder.dry is None else "weighed"
        for n, rung in enumerate(tests.ladder.steps, start=1):
            gather(rung, f"ladder.steps.{n}")
    return found


def patches(tests: Tests, scenario: Scenario) -> list[dict[str, str]]:
    """Each step of the ladder as a patch with its words; a blank one last."""
    if tests.ladder is None:
        return []
    found = [
        {
            "colour": stains.colour(residual),
            "label": str(n),
            "residual": f"{rounded(residual / gram, 2)} g/m²",
            "recipe": f"1 in {rung.one_in:g}",
        }
        for n, (rung, residual) in enumerate(
            zip(tests.ladder.steps, tests.ladder.residuals(scenario), strict=True), start=1
        )
    ]
    blank = {"colour": stains.colour(0.0), "label": "blank", "residual": "none", "recipe": "–"}
    return [*found, blank]
