"""Which strip to test next, taken when and from where: the one expected to teach most.

For every strip that could be taken, each draw of the unknowns says how likely each answer of the
scale would be. Each answer would leave some draws likelier than others; the spread that would then
be left, averaged over the answers, is what the strip is expected to bring.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from washsim import tables
from washsim.band import nodes_for, observe
from washsim.engine.space import Array
from washsim.errors import InputError
from washsim.foretelling import predict
from washsim.observing import Observation
from washsim.readings import FACES
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import minute
from washsim.unknowns import Sample

_EVERY = 5 * minute
"""Moments that a printer can keep."""
_FEWEST = 5
"""Fewer effective draws behind an answer tell nothing of the spread that is left."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip to take: of which sheet, s after it left the fixer, which face to drop.

    before, after: factor by which the worst sheet's final residual is uncertain either way (one
    standard deviation of its logarithm), now and as expected once the strip is read; answers:
    chance of each answer of the scale, lightest first.
    """

    sheet: int
    washed: float
    face: str
    before: float
    after: float
    answers: tuple[float, ...]

    @property
    def text(self) -> str:
        where = "a drop on each face" if self.face == "whole" else f"a drop on its {self.face}"
        return (
            f"Take a strip that lies with sheet {self.sheet} out after "
            f"{self.washed / minute:.0f} min of washing, {where}: {self._gain}"
        )

    @property
    def _gain(self) -> str:
        before, after = f"{self.before:.2g}", f"{self.after:.2g}"
        if before == after:
            return (
                "yet even that is not expected to narrow the worst sheet's residual, known to a "
                f"factor of {before} either way."
            )
        return (
            f"expected to narrow the worst sheet's residual from a factor of {before} either way "
            f"to {after}."
        )


def scale() -> tuple[float, ...]:
    """kg/m2 of a scale in steps of two from the first visible one: for who has made none yet."""
    first = tables.datum("limits.spot_test.visible_low").si
    return tuple(first * 2.0**step for step in range(6))


def answers(logs: Array, steps: tuple[float, ...], own: float) -> Array:
    """(..., K + 1) chance of each answer on K steps (kg/m2), given ln of what is there (...)."""
    from scipy.special import ndtr  # slow to import, and a plain run needs none of it

    edges = np.log(np.sort(np.array(steps)))
    below = ndtr((edges - logs[..., None]) / own)
    ends = np.zeros((*logs.shape, 1))
    return np.diff(np.concatenate([ends, below, ends + 1.0], axis=-1), axis=-1)


def next_strips(
    scenario: Scenario,
    sample: Sample,
    steps: tuple[float, ...] | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Strip, ...]:
    """Every strip of the first, the worst and the last sheets, most telling first.

    sample: draws of the unknowns as they are thought of now (from the tables, or fitted); steps:
    residuals of the scale, kg/m2.
    """
    steps = scale() if steps is None else steps
    result = solve(scenario)
    end = result.run.timeline.end
    tried: list[Observation] = []
    for lot in sorted({0, result.worst_lot, len(result.run.of_lot) - 1}):
        left = result.run.left_fixer[lot]
        moments = [*np.arange(left + _EVERY, end - minute, _EVERY), end]
        tried += [_strip(face, lot, float(at)) for at in moments for face in FACES]
    if not tried:
        raise InputError("next strip: expected a wash of more than five minutes")
    last = tuple(_strip("whole", lot, end) for lot in range(len(result.run.of_lot)))

    def look(run: Run) -> Array:
        return predict(run, (*tried, *last))

    nodes, _ = nodes_for(scenario, sample, see=look)
    seen = observe(scenario, sample, look, nodes, progress)
    logs = np.log(np.maximum(seen, 1e-9))
    worst = logs[:, len(tried) :].max(axis=1)
    own = float(
        np.hypot(
            tables.datum("limits.reading.observer_error").value,
            tables.datum("limits.reading.ladder_error").value,
        )
    )
    chances = answers(logs[:, : len(tried)], steps, own)
    left_over = expected_spread(worst, chances)
    sheets = {lot: 1 + result.lot_of_sheet.index(lot) for lot in range(len(last))}
    found = [
        Strip(
            sheet=sheets[one.lot],
            washed=one.at - result.run.left_fixer[one.lot],
            face=one.what,
            before=float(np.exp(worst.std())),
            after=float(np.exp(spread)),
            answers=tuple(float(share) for share in chance.mean(axis=0)),
        )
        for one, spread, chance in zip(tried, left_over, chances.swapaxes(0, 1), strict=True)
    ]
    return tuple(sorted(found, key=lambda one: one.after))


def _strip(face: str, lot: int, at: float) -> Observation:
    """A place to look at; its bounds and errors play no part."""
    return Observation(what=face, lot=lot, at=at, low=0.0, high=1.0, own=1.0, shared=0.0)


def expected_spread(wanted: Array, chances: Array) -> Array:
    """(C,) standard deviation of wanted (M,) to be expected after each of C tests.

    chances (M, C, K): how likely each draw makes each answer. Root of the mean over the answers
    of the variance that each would leave.
    """
    total = chances.sum(axis=0)
    weights = chances / np.maximum(total, 1e-300)
    mean = np.einsum("mck,m->ck", weights, wanted)
    square = np.einsum("mck,m->ck", weights, wanted**2)
    variance = np.maximum(square - mean**2, 0.0)
    # an answer that only a handful of draws could give would look sharper than it is
    effective = 1 / np.maximum(np.sum(weights**2, axis=0), 1e-300)
    variance = np.where(effective < _FEWEST, wanted.var(), variance)
    return np.asarray(np.sqrt(np.sum(total * variance, axis=1) / len(wanted)), float)
