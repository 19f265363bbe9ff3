"""What the page Tests shows of a fit, as plain dicts and columns: no server, no form.

The work is cut into stages, so that scores and their causes stand there before the fit, and the fit
before what follows from it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from washsim import agreement, decisions, findings, fitting, observing, rivals, strips, unknowns
from washsim.band import BAND, Band, solve_band
from washsim.fitting import Fit
from washsim.observing import Observation
from washsim.readings import Tests
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import gram, minute, rounded
from washsim_dashboard import share

Tell = Callable[[float], None]
NO_BAND: dict[str, Any] = {"minutes": [], "low": [], "middle": [], "high": []}
MARKS = ("minutes", "low", "high", "middle", "marker")
FEW = 128
"""Draws that the next strip and the decisions are worked out with; quantiles need no more."""
CERTAIN = 0.95
"""Share of the evidence above which no further strips to tell explanations apart are proposed."""
SILVER = (("not_tested", "Not tested"), ("none", "Stayed clear"), ("stained", "Stained"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the visitor wants worked out; minutes_left in s, None if it does not matter."""

    scenario: Scenario
    tests: Tests
    residual_silver: str = "not_tested"
    minutes_left: float | None = None


Stage = tuple[str, dict[str, Any]]
"""A place on the page and what to show there."""


def look(asked: Question, tell: Tell) -> Iterator[Stage]:
    """Before any reading counts: the band as the tables have it, and the strip to take first."""
    before = solve_band(asked.scenario, progress=lambda share: tell(0.5 * share))
    yield "before", edges(before)
    sample = unknowns.draw(asked.scenario).part(slice(0, FEW))
    yield "next", _next(asked, sample, lambda share: tell(0.5 + 0.5 * share))


def learn(asked: Question, tell: Tell) -> Iterator[Stage]:
    """Scores and causes; the fit; the explanations; the next strip; the decisions."""
    seen = observing.observations(asked.scenario, asked.tests)
    yield "scores", _scores(asked, seen)
    tell(0.1)
    found = fitting.fit(asked.scenario, seen, progress=_part(tell, 0.1, 0.4))
    before = solve_band(asked.scenario)
    after = solve_band(asked.scenario, found.sample)
    tell(0.45)
    yield "before", edges(before)
    yield "after", edges(after)
    yield "learnt", _learnt(found, before, after)
    yield "own", {"state": share.pack(fitting.fitted_scenario(found))}
    few = found.sample.part(slice(0, FEW))
    yield "next", _next(asked, few, _part(tell, 0.45, 0.55))
    listed = _decisions(asked, seen, solve(asked.scenario), few)
    yield "decisions", {"lines": listed}
    yield "explained", _explained(asked, found, _part(tell, 0.6, 1.0))


def _part(tell: Tell, start: float, stop: float) -> Tell:
    return lambda share: tell(start + (stop - start) * share)


def edges(band: Band) -> dict[str, Any]:
    """The worst sheet's band for the chart: minutes, g/m2 at 5, 50 and 95 % of the draws."""
    low, middle, high = band.quantile(BAND) / gram
    known = np.isfinite(low) & np.isfinite(high)
    columns = {"minutes": band.times / minute, "low": low, "middle": middle, "high": high}
    return {name: values[known].astype("float32") for name, values in columns.items()}


def marks(seen: tuple[Observation, ...], span: tuple[float, float]) -> dict[str, Any]:
    """The readings of prints for the chart: an open end points out of it. span: g/m2 shown."""
    rows = []
    for one in seen:
        if one.what == "water":
            continue
        low, high = max(one.low / gram, span[0]), min(one.high / gram, span[1])
        middle, marker = (low * high) ** 0.5, "square"
        if one.low == 0.0:
            middle, marker = high, "inverted_triangle"
        elif np.isinf(one.high):
            middle, marker = low, "triangle"
        rows.append((one.at / minute, low, high, middle, marker))
    return {name: [row[i] for row in rows] for i, name in enumerate(MARKS)}


def _scores(asked: Question, seen: tuple[Observation, ...]) -> dict[str, Any]:
    """Of each reading what was foretold, how far off it is, and what to look into first."""
    rows = []
    for number, one in enumerate(agreement.scores(asked.scenario, seen), start=1):
        causes = []
        if one.word == "disagrees":
            causes = [
                cause.text + (" (a run shows that it can be)" if cause.tried else "")
                for cause in agreement.causes(asked.scenario, asked.tests, number)
            ]
        rows.append(
            {
                "seen": observing.said(one.seen),
                "foretold": _amount(one),
                "score": f"{one.z:+.1f}",
                "word": one.word,
                "causes": causes,
                "after": "",
            }
        )
    return {"rows": rows}


def _amount(one: agreement.Score) -> str:
    unit = "mg/L" if one.seen.what == "water" else "g/m²"
    return f"{1e3 * one.predicted:.2g} {unit}"


def _learnt(found: Fit, before: Band, after: Band) -> dict[str, Any]:
    """What the draws say of the readings, of the wash, and of the numbers nobody had measured."""
    told = findings.summary(found, before, after)
    labels = {one.name: one.label for one in found.unknowns}
    rows = []
    for name in found.told:
        low, middle, high = (f"{x:.2g}" for x in told["unknowns"][name]["factor"])
        left = f"{100 * told['unknowns'][name]['narrowed']:.0f} %"
        rows.append([labels[name], f"{middle} ({low} to {high})", left])
    return {
        "after": [f"{_amount(one)}, {one.word}" for one in agreement.scores_after(found)],
        "warnings": [
            f"No number within the bands leads to {observing.said(one.seen)}: do not trust this "
            "fit, something else happened."
            for one in agreement.unreachable(found)
        ],
        "sentence": _sentence(before, after),
        "spread": _spread(before, after),
        "wash": _wash(told),
        "numbers": rows,
        "others": f"{len(labels) - len(found.told)} other numbers stay as they were.",
        "basis": f"{told['draws']} draws, {told['solves']} runs.",
    }


def _sentence(before: Band, after: Band) -> str:
    was, now = (100 * band.chance for band in (before, after))
    limit = rounded(after.scenario.target.limit / gram, 2)
    return f"Under the target of {limit} g/m² in {now:.0f} of 100 draws, {was:.0f} before."


def _spread(before: Band, after: Band) -> str:
    was, now = (float(np.exp(np.log(band.worst).std())) for band in (before, after))
    return (
        f"The worst print's residual is known to a factor of {now:.2g} either way, "
        f"{was:.2g} before."
    )


def _wash(told: dict[str, Any]) -> list[list[str]]:
    """Rows of label, before and after: 50 % (5 to 95 %) of the draws."""

    def three(values: list[float | None]) -> str:
        low, middle, high = ("never" if x is None else rounded(x, 2) for x in values)
        return f"{middle} ({low} to {high})"

    pair = (told["before"], told["after"])
    rows = [
        ["Worst print ends at, g/m²", *(three(one["worst_residual_g_m2"]) for one in pair)],
        ["Minutes to the target", *(three(one["minutes_to_target"]) for one in pair)],
        ["Chance of the target", *(f"{100 * one['chance']:.0f} %" for one in pair)],
    ]
    names = ("effective_diffusivity_before_m2_s", "effective_diffusivity_m2_s")
    spread = [three([1e11 * x for x in told[name]]) for name in names]
    return [*rows, ["Effective diffusivity, 1e-11 m²/s", *spread]]


def _next(asked: Question, sample: unknowns.Sample, tell: Tell) -> dict[str, Any]:
    ladder = asked.tests.ladder
    steps = ladder.residuals(asked.scenario) if ladder else None
    best = strips.next_strips(asked.scenario, sample, steps, progress=tell)[0]
    return {"text": best.text}


def _decisions(
    asked: Question, seen: tuple[Observation, ...], result: Result, sample: unknowns.Sample
) -> list[list[str]]:
    """The list for a stained patch, each line with its reason; empty if none stains too much."""
    limit = asked.scenario.target.limit
    if not any(one.what != "water" and one.middle > limit and one.low > 0 for one in seen):
        return []
    listed = decisions.when_stained(
        result,
        asked.tests,
        residual_silver=asked.residual_silver,
        sample=sample,
        minutes_left=asked.minutes_left,
    )
    return [[one.text, one.why] for one in listed]


def _explained(asked: Question, own: Fit, tell: Tell) -> dict[str, Any]:
    """Which explanation the readings prefer, in words, and the strips that would tell."""
    if asked.scenario.sheet.explanation == "own":
        words = "The paper is described by its own layers, so no explanations are weighed."
        return {"verdict": words, "shares": [], "plan": ""}
    found = agreement.explanations(asked.scenario, asked.tests, own=own, progress=tell)
    plan = ""
    if found[0].share < CERTAIN:
        plan = rivals.two_strips(found[0].name, found[1].name).text
    shares = [[one.name, f"{100 * one.share:.0f} %"] for one in found]
    return {"verdict": agreement.verdict(found), "shares": shares, "plan": plan}
