"""Arithmetic on runs, as lessons write it down: ``A.minutes - B.minutes``.

The runs are named A, B, C ...; a name after the dot is one of FIGURES, or one of MOMENTS with its
numbers. Beside them stand + - * / **, comparisons, a few functions and the names that are given.
Nothing else can be said, so a lesson can compute nothing but numbers.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from washsim import currents
from washsim.errors import DataError
from washsim.liquids import density
from washsim.recipes import Drain
from washsim.result import Result
from washsim.units import celsius, gram, kilowatt_hour, litre, minute


def _ratio(result: Result) -> float:
    """Litres in the last vessel for each square metre of paper."""
    steps = enumerate(result.scenario.steps, start=1)
    return result.water_to_paper(max(i for i, s in steps if not isinstance(s, Drain))) / litre


FIGURES: dict[str, tuple[str, Callable[[Result], float | None]]] = {
    "minutes": (
        "washing until every sheet is under the target, min",
        lambda r: r.minutes_to_target,
    ),
    "left": ("fixer left in the worst sheet, g/m²", lambda r: r.worst_residual / gram),
    "load": ("fixer taken up by the sheet that took most, g/m²", lambda r: max(r.load) / gram),
    "target": ("the target, g/m²", lambda r: r.scenario.target.limit / gram),
    "litres": ("fresh water of all steps, L", lambda r: r.litres_total / litre),
    "per_sheet": ("fresh water for each sheet, L", lambda r: r.litres_total / litre / r.sheets),
    "ratio": ("water in the last vessel per paper, L/m²", _ratio),
    "area": ("one side of one sheet, m²", lambda r: r.scenario.sheet.area),
    "cost": ("price of water and heat, in your money", lambda r: r.cost),
    "heat": ("heat for the water, kWh", lambda r: r.heat / kilowatt_hour),
    "silver": ("silver in the first water that leaves, mg/L", lambda r: 1e3 * r.first_silver),
}
"""Name -> meaning with unit, and how it is read off; None (never) counts as infinite."""


def _at(result: Result, minutes: float) -> float:
    lot = result.worst_lot
    time = result.run.left_fixer[lot] + minutes * minute
    return float(result.at(lot, np.array([time]))[0]) / gram


def _sheet(result: Result, number: float, minutes: float) -> float:
    lot = result.lot_of_sheet[int(number) - 1]
    return float(result.at(lot, np.array([minutes * minute]))[0]) / gram


def _highest(result: Result, number: float, start: float, stop: float) -> float:
    lot = result.lot_of_sheet[int(number) - 1]
    return float(result.at(lot, np.linspace(start, stop, 2000) * minute).max()) / gram


def _end(result: Result, number: float) -> float:
    return result.final_residual[int(number) - 1] / gram


MOMENTS: dict[str, tuple[str, Callable[..., float]]] = {
    "at": ("(minutes): left in the worst sheet so long after it left the fixer, g/m²", _at),
    "sheet": ("(number, minute): left in a sheet at a minute of the run's clock, g/m²", _sheet),
    "end": ("(number): left in a sheet when the run ends, g/m²", _end),
    "highest": ("(number, start, stop): the most in a sheet between two minutes, g/m²", _highest),
}


def _heavier(excess: float) -> float:
    """% by which water with this excess of thiosulfate, g/L, outweighs fresh water at 20 °C."""
    warm = celsius(20)
    return 100 * currents.excess_density(excess, "sodium") / density(warm)


def _as_cool(excess: float) -> float:
    """K by which fresh water must be cooler than 20 °C to weigh as much."""
    return currents.equal_warming(currents.excess_density(excess, "sodium"), celsius(20))


FUNCTIONS: dict[str, Callable[..., float]] = {
    "min": min,
    "max": max,
    "abs": abs,
    "log": math.log,
    "exp": math.exp,
    "heavier": _heavier,
    "as_cool": _as_cool,
}
_ARITHMETIC: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Eq: operator.eq,
}


def value(text: str, runs: Mapping[str, Result], known: Mapping[str, float]) -> float:
    """What an expression comes to; a comparison to 1 or 0. DataError where it cannot be read.

    runs: letter -> result; known: name -> number.
    """
    try:
        return float(_of(ast.parse(text, mode="eval").body, runs, known))
    except (SyntaxError, TypeError, KeyError, ValueError, ArithmeticError, IndexError) as error:
        raise DataError(f"expression {text!r}: {error}") from error


def _of(node: ast.expr, runs: Mapping[str, Result], known: Mapping[str, float]) -> float:
    def inner(one: ast.expr) -> float:
        return _of(one, runs, known)

    match node:
        case ast.Constant(value=int() | float() as number):
            return number
        case ast.Name(id=name):
            return known[name]
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -inner(operand)
        case ast.BinOp(left=left, op=op, right=right):
            return float(_ARITHMETIC[type(op)](inner(left), inner(right)))
        case ast.Compare(left=left, ops=ops, comparators=others):
            chain = [inner(one) for one in (left, *others)]
            steps = zip(ops, chain, chain[1:], strict=False)
            return float(all(_ARITHMETIC[type(op)](a, b) for op, a, b in steps))
        case ast.Attribute(value=ast.Name(id=letter), attr=name):
            found = FIGURES[name][1](runs[letter])
            return math.inf if found is None else found
        case ast.Call(func=ast.Attribute(value=ast.Name(id=letter), attr=name), args=args):
            return MOMENTS[name][1](runs[letter], *map(inner, args))
        case ast.Call(func=ast.Name(id=name), args=args):
            return FUNCTIONS[name](*map(inner, args))
        case _:
            raise TypeError(f"nothing that can be said here: {ast.unparse(node)}")


def shown(number: float, unit: str = "", digits: int = 2) -> str:
    """A number to so many digits with its unit, never with an exponent; infinite is 'never'."""
    if math.isinf(number):
        return "never"
    places = 0
    if number:
        places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    return f"{number:.{places}f} {unit}".strip()
