"""A scenario solved and made ready for the browser, which draws it: frames, curves, words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from washsim import advice, pictures, solve
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import amount, gram, minute

FRAMES = 150
"""Of one run; fine enough that drawing between them looks continuous, and under 200 kB."""
SHARED: solve.Shared = {}
"""Of the papers that runs were asked for: a slider that changes no speed finds it all there."""
PAPERS = 16
"""On their nodes, two to a paper; beyond them all is forgotten."""
PLACES = {
    "emulsion": "emulsion",
    "baryta": "baryta",
    "base": "base, mobile",
    "other": "other layers",
    "held": "held",
    "water": "water",
    "drain": "drain",
}
"""Where fixer can be, and what the page calls it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Levels drawn across the residual chart, g/m2."""

    target: float
    visible: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A solved schedule, ready to be shipped."""

    frames: dict[str, Any]
    layers: dict[str, Any]
    curves: dict[str, Any]
    words: dict[str, Any]
    lines: Lines


@lru_cache(maxsize=64)
def run(scenario: Scenario, system: str = "metric") -> Run:
    """Solve and picture a scenario; equal scenarios are solved once, whoever asks.

    system: the units of the words.
    """
    if len(SHARED) > PAPERS:
        SHARED.clear()
    result = solve.solve(scenario, shared=SHARED)
    film = pictures.frames(result, count=FRAMES)
    drawn = pictures.curves(result)
    return Run(
        frames={
            "numbers": packed(film),
            "place": list(film.place),
            "limits": list(film.limits),
        },
        layers={
            "name": [[name for name, _, _ in film.layers]],
            "edges": np.array([[start for _, start, _ in film.layers] + [film.layers[-1][2]]]),
            "depth": np.array([film.depth_um]),
            "sealed": [result.run.paper.sealed_back],
        },
        curves={
            "minutes": drawn.minutes.astype("float32"),
            "worst": drawn.worst_g_m2.astype("float32"),
            "typical": drawn.typical_g_m2.astype("float32"),
            "floor": drawn.floor_g_m2.astype("float32"),
            "water": drawn.water_g_l.astype("float32"),
        },
        words=sentences(result, system),
        lines=Lines(target=drawn.target_g_m2, visible=drawn.visible_g_m2),
    )


def same_layers(one: Any, other: Any) -> bool:
    """Whether two papers look alike, so that the second need not be sent."""
    return all(np.array_equal(one[key], other[key]) for key in one)


def packed(film: pictures.Frames) -> Any:
    """(F, 3 + places + 2 P) one row a frame, for one message: the order is that of frames.js.

    minutes, water, residual, the share in each of PLACES, mobile and held by depth.
    """
    # a sheet without some layer has no fixer in it; layers of one's own may be called anything
    none = np.zeros(len(film.minutes))
    other = sum((share for name, share in film.where.items() if name not in PLACES), none)
    shares = [other if name == "other" else film.where.get(name, none) for name in PLACES]
    single = np.stack([film.minutes, film.water_g_l, film.residual_g_m2, *shares], axis=1)
    return np.hstack([single, film.mobile_g_l, film.held_g_l]).astype("float32")


def sentences(result: Result, system: str) -> dict[str, Any]:
    """The run in words."""
    return {
        "title": result.scenario.title,
        "sentence": advice.sentence(result, system),
        "verdict": verdict(result, system),
        "limit": advice.limits_now(result, result.worst_lot, result.run.timeline.end),
        "target": result.scenario.target.limit / gram,
        "met": result.minutes_to_target is not None,
        "wet_from": result.run.wet[result.worst_lot][0] / minute,
        "cautions": list(advice.cautions(result, system)),
    }


def verdict(result: Result, system: str = "metric") -> str:
    """The shortest form of the outcome, for a phone's bottom bar."""
    minutes = result.minutes_to_target
    reached = "Not under target" if minutes is None else f"{minutes:.0f} min"
    worst = result.worst_residual / gram
    return f"{reached} · worst {worst:.2g} g/m² · {amount(result.litres_total, system)}"
