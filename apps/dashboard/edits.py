"""One change to a scenario as a visitor makes it, with what has to change along with it.

Pure: a scenario and a change in, another scenario out, or InputError in one sentence. A place is a
path of field names and positions from 1, such as 'steps.2.duration': a position, unlike a name, is
never mistaken when a vessel is called '2' or '5.5 L tray'.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import (
    Choice,
    Quantity,
    Text,
    check_number,
    declared,
    default_of,
    is_number,
    one_of,
)
from washsim.papers import Layer
from washsim.recipes import STEPS, Drain, Late, Running, Stuck
from washsim.scenario import Scenario
from washsim.units import Unit, in_system, litre, litre_per_minute, minute
from washsim.vessels import Vessel

LISTS = ("steps", "vessels", "late", "stuck", "sheet.layers")
"""The places that hold several things."""


def apply(scenario: Scenario, change: Any, system: str = "metric") -> Scenario:
    """The scenario after a change, a dict as the page sends it; `do` says what is asked.

    set: path, value (in the unit shown in that system, None for 'as usual'). add: list, kind, at.
    remove, copy: list, at. move: list, at, by. method: name. Positions count from 1.
    """
    known: dict[str, Callable[[Scenario, dict[str, Any], str], Scenario]] = {
        "set": set_value,
        "add": _add,
        "remove": _remove,
        "copy": _copy,
        "move": _move,
        "method": _method,
    }
    asked = change if isinstance(change, dict) else {}
    wanted = asked.get("do")
    if wanted not in known:
        raise InputError(f"change: expected {one_of(wanted, list(known))}")
    return known[wanted](scenario, asked, system)


def _method(scenario: Scenario, asked: dict[str, Any], _: str) -> Scenario:
    """The same batch, washed in another way, and called by it."""
    name = str(asked.get("name"))
    changed = files.with_method(scenario, name)
    sheets = "1 sheet" if scenario.sheet.count == 1 else f"{scenario.sheet.count} sheets"
    return replace(changed, title=f"{tables.entry(f'methods.{name}.label')}: {sheets}")


# places


def at(scenario: Any, path: str) -> Any:
    """What stands at a place."""
    here: Any = scenario
    for piece in path.split("."):
        if isinstance(here, tuple):
            if not piece.isdigit() or not 1 <= int(piece) <= len(here):
                raise InputError(f"{path}: there is no such place here")
            here = here[int(piece) - 1]
        elif piece in _names(here):
            here = getattr(here, piece)
        else:
            raise InputError(f"{path}: there is no such place here")
    return here


def holds(scenario: Any, path: str) -> bool:
    """Whether a place exists."""
    try:
        at(scenario, path)
    except InputError:
        return False
    return True


def put(node: Any, path: str, value: Any) -> Any:
    """A copy with another value at a place that exists."""
    piece, _, rest = path.partition(".")
    if isinstance(node, tuple):
        i = int(piece) - 1
        return (*node[:i], put(node[i], rest, value) if rest else value, *node[i + 1 :])
    return replace(node, **{piece: put(getattr(node, piece), rest, value) if rest else value})


def _names(block: Any) -> list[str]:
    return list(declared(type(block))) if hasattr(type(block), "__dataclass_fields__") else []


# one value


def set_value(scenario: Any, asked: dict[str, Any], system: str) -> Any:
    """The same block, a scenario or any other, with the value at `path` that was asked for."""
    path = str(asked.get("path"))
    at(scenario, path)
    parent, _, name = path.rpartition(".")
    block = at(scenario, parent) if parent else scenario
    spec = declared(type(block))[name]
    value = asked.get("value")
    words = name.replace("_", " ")
    match spec:
        case Quantity():
            where = f"{_place(path)}, {words}" if parent else words
            value = None if value is None else number(spec, value, where, system)
        case Choice() | Text():
            # an emptied line that may be left out is left out
            empty = value is None or (value == "" and default_of(type(block), name) is None)
            value = None if empty else str(value)
        case _:
            raise InputError(f"{path}: expected a single value's place")
    if value == getattr(block, name):
        return scenario
    if name == "name" and isinstance(block, Vessel):
        scenario = _rename(scenario, block.name, str(value))
    try:
        changed = replace(block, **{name: value} | _along(block, name, value))
    except InputError as error:
        raise InputError(f"{_place(path)}: {error}") from None
    return put(scenario, parent, changed) if parent else changed


def number(spec: Quantity, shown: Any, name: str, system: str) -> float:
    """The SI value of a number in the unit that a system shows."""
    if not is_number(shown) or not -1e300 < shown < 1e300:
        check_number(spec, shown, name)  # says what is wrong with it
    unit = unit_of(spec, system)
    value = unit.to_si(float(shown))
    if spec.whole and value.is_integer():
        value = int(value)
    try:
        check_number(spec, value, name)
    except InputError:
        if unit is spec.unit:
            raise
        low, high = bounds(spec, system)
        words = f"{low:g} to {high:g} {unit.label}"
        raise InputError(f"{name}: expected {words}, got {shown:g}") from None
    return value


def bounds(spec: Quantity, system: str) -> tuple[float, float]:
    """The allowed range in the unit of a system, to four figures, rounded inwards."""
    unit = unit_of(spec, system)
    if unit is spec.unit:
        return spec.low, spec.high
    low, high = (unit.from_si(spec.unit.to_si(end)) for end in (spec.low, spec.high))
    return _figures(low, math.ceil), _figures(high, math.floor)


def _figures(value: float, towards: Callable[[float], int]) -> float:
    if value == 0:
        return 0.0
    grain = 10.0 ** (math.floor(math.log10(abs(value))) - 3)
    # an end that is a round number but for floating point stays itself
    near = round(value / grain)
    whole = near if abs(value / grain - near) < 1e-6 else towards(value / grain)
    return float(f"{whole * grain:.10g}")


def unit_of(spec: Quantity, system: str) -> Unit:
    """The unit a field is shown in."""
    return in_system(spec.unit, system, spec.unit.to_si(spec.high))


def _along(block: Any, name: str, value: Any) -> dict[str, Any]:
    """Fields of the same block that only make sense together with the one that is set."""
    match name:
        case "paper" if value == "own":
            # the layers as they are now, to be edited from there
            return {"layers": block.material.layers, "explanation": "own"}
        case "paper":
            own = block.explanation == "own"
            return {"layers": (), "explanation": "both" if own else block.explanation}
        case "fixer":
            # a dilution belongs to the fixer it was said of; another is taken as usual
            return {"dilution": None, "stock": None}
        case "dilution" if value is not None:
            return {"thiosulfate": None}
        case "thiosulfate" if value is not None:
            return {"dilution": None}
        case "stirring" if isinstance(block, Vessel):
            return {"shuffle": 5 * minute if value == "shuffled" else None}
        case "preset":
            return {"residual": block.limit if value == "own" else None}
        case "how" if isinstance(block, Stuck):
            other = block.other or (2 if block.sheet == 1 else 1)
            return {"other": None if str(value).endswith("wall") else other}
    return {}


def _rename(scenario: Scenario, old: str, new: str) -> Scenario:
    """Steps follow a vessel to its new name."""
    if new != old and new in [vessel.name for vessel in scenario.vessels]:
        raise InputError(f"vessels: expected each name once, got {new!r} again")
    steps = tuple(
        replace(step, vessel=new) if getattr(step, "vessel", None) == old else step
        for step in scenario.steps
    )
    return replace(scenario, steps=steps)


def _place(path: str) -> str:
    """'steps.2.duration' -> 'step 2', as messages say it."""
    pieces = path.split(".")
    if len(pieces) > 2 and pieces[-2].isdigit():
        return f"{pieces[-3].removesuffix('s')} {pieces[-2]}"
    return pieces[0]


# one thing of several


def _list(scenario: Scenario, asked: dict[str, Any]) -> tuple[str, tuple, int]:
    """(place, what it holds, index of the thing meant)."""
    where, position = asked.get("list"), asked.get("at")
    if where not in LISTS:
        raise InputError(f"list: expected {one_of(where, LISTS)}")
    items = at(scenario, where)
    if not isinstance(position, int) or not 0 <= position <= len(items):
        raise InputError(f"{where}: there is no number {position!r}")
    return where, items, position - 1


def _add(scenario: Scenario, asked: dict[str, Any], _: str) -> Scenario:
    where, items, i = _list(scenario, asked)
    new, scenario = _new(scenario, where, asked.get("kind"))
    # a step may have brought its own vessel; the list meant is another then
    return _with_items(scenario, where, (*items[: i + 1], new, *items[i + 1 :]), _shifted(i + 1, 1))


def _remove(scenario: Scenario, asked: dict[str, Any], _: str) -> Scenario:
    where, items, i = _list(scenario, asked)
    if i < 0:
        raise InputError(f"{where}: there is no number 0")
    if where == "vessels":
        users = [n for n, s in enumerate(scenario.steps, 1) if _vessel_of(s) == items[i].name]
        if users:
            raise InputError(
                f"vessels: {items[i].name!r} is used by step {users[0]}; give that step another "
                "vessel first"
            )
    if where == "sheet.layers" and len(items) == 1:
        raise InputError("layers: a sheet has at least one")
    return _with_items(scenario, where, items[:i] + items[i + 1 :], _shifted(i, -1))


def _copy(scenario: Scenario, asked: dict[str, Any], _: str) -> Scenario:
    where, items, i = _list(scenario, asked)
    if i < 0:
        raise InputError(f"{where}: there is no number 0")
    new = items[i]
    if where == "vessels":
        new = replace(new, name=_free_name(scenario, new.name))
    return _with_items(scenario, where, (*items[: i + 1], new, *items[i + 1 :]), _shifted(i + 1, 1))


def _move(scenario: Scenario, asked: dict[str, Any], _: str) -> Scenario:
    where, items, i = _list(scenario, asked)
    by = asked.get("by")
    if by not in (-1, 1) or i < 0 or not 0 <= i + by < len(items):
        raise InputError(f"{where}: number {i + 1} cannot be moved there")
    order = list(range(len(items)))
    order[i], order[i + by] = order[i + by], order[i]
    moved = {old + 1: order.index(old) + 1 for old in order}
    return _with_items(scenario, where, tuple(items[k] for k in order), lambda n: moved[n])


def _shifted(index: int, by: int) -> Callable[[int], int | None]:
    """How step numbers change when one is put in (by 1) or taken out (by -1) at an index."""

    def number(old: int) -> int | None:
        if by < 0 and old == index + 1:
            return None
        return old + by if old > index else old

    return number


def _with_items(
    scenario: Scenario, where: str, items: tuple, number: Callable[[int], int | None]
) -> Scenario:
    """The scenario with another list; sheets that join or stick in a step follow it."""
    if where != "steps":
        return put(scenario, where, items)
    return replace(
        scenario,
        steps=items,
        late=_follow(scenario.late, number),
        stuck=_follow(scenario.stuck, number),
    )


def _follow(ones: tuple, number: Callable[[int], int | None]) -> tuple:
    moved = [(one, number(one.step)) for one in ones]
    return tuple(replace(one, step=step) for one, step in moved if step is not None)


def _vessel_of(step: Any) -> str | None:
    return getattr(step, "vessel", None)


# new things: typical guesses, common practice, no source, each to be replaced by the visitor's own


def _new(scenario: Scenario, where: str, kind: Any) -> tuple[Any, Scenario]:
    """A new thing for a list, and the scenario with the vessel it needs."""
    if where == "steps":
        return _new_step(scenario, kind)
    wet = next((n for n, s in enumerate(scenario.steps, 1) if not isinstance(s, Drain)), 1)
    if where == "vessels":
        name = _free_name(scenario, "tray")
        return Vessel(name=name, volume=4 * litre), scenario
    if where == "late":
        return Late(step=wet, after=5 * minute), scenario
    if where == "stuck":
        return Stuck(sheet=1, how="back_to_wall", step=wet), scenario
    if scenario.sheet.paper != "own":
        raise InputError("layers: expected with paper 'own', and only with it")
    return Layer(name="layer", thickness=20e-6, porosity=0.6, hindrance=0.2), scenario


_TYPICAL: dict[str, dict[str, Any]] = {
    "rinse": {"duration": 1 * minute},
    "aid": {"duration": 10 * minute},
    "bath": {"duration": 10 * minute},
    "running": {"duration": 30 * minute},
    "hold": {},
    "transfer": {"trays": 3, "duration": 8 * minute},
    "drain": {"duration": 10.0},
}


def _new_step(scenario: Scenario, kind: Any) -> tuple[Any, Scenario]:
    if kind not in STEPS:
        raise InputError(f"kind: expected {one_of(kind, list(STEPS))}")
    cls, values = STEPS[kind], _TYPICAL[kind]
    if cls is Drain:
        return cls(**values), scenario
    running = cls is Running
    fit = [v for v in scenario.vessels if (v.flow > 0) == running]
    if not fit:
        name = _free_name(scenario, "washer" if running else "tray")
        volume, flow = (20 * litre, 4 * litre_per_minute) if running else (4 * litre, 0.0)
        vessel = Vessel(name=name, volume=volume, flow=flow)
        scenario = replace(scenario, vessels=(*scenario.vessels, vessel))
        fit = [vessel]
    return cls(vessel=fit[0].name, **values), scenario


def _free_name(scenario: Scenario, name: str) -> str:
    taken = {vessel.name for vessel in scenario.vessels}
    stem = name.rstrip("0123456789 ") or "vessel"
    options = (stem, *(f"{stem} {n}" for n in range(2, len(taken) + 3)))
    return next(option for option in options if option not in taken)
