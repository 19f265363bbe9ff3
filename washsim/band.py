"""A wash with its doubt: one scenario solved for many draws of what nobody has measured."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from washsim import unknowns
from washsim.engine.solving import Known
from washsim.engine.space import Array
from washsim.result import Result
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import Nodes, ladder, march_through, solve
from washsim.unknowns import Sample

CHUNK = 128
"""Members marched side by side: fewer cost more small steps, more leave a core idle (measured)."""
_DRIFT = 0.1
"""Part by which waters in a row change in a piece: good to a hundredth, which no band notices."""
_STEPS = 5e-3
"""Accuracy asked of the steps of held fixer that fills up, where the scenario asks for more: what
is left in a draw is then a thousandth off (measured)."""
BAND = (0.05, 0.5, 0.95)
"""Shares of the draws at a band's lower edge, middle and upper edge."""
EXTREMES = 8
"""Members of a band that are computed once more on finer nodes."""
ACCURACY = 0.01
"""Numerical error allowed in a band, relative; the band itself is a factor of several wide."""


@dataclass(frozen=True)
class Band:
    """What M draws came to, beside the scenario as it stands.

    times (T,) s; residual (M, lots, T) kg/m2; numerical_error: largest change of a final
    residual on refining once, over the draws that lie farthest out, relative to it plus 1 mg/m2.
    """

    nominal: Result
    sample: Sample
    times: Array
    residual: Array
    numerical_error: float

    @property
    def scenario(self) -> Scenario:
        return self.nominal.scenario

    @cached_property
    def worst(self) -> Array:
        """(M,) kg/m2 of the sheet that ends with most."""
        return self.residual[:, :, -1].max(axis=1)

    @property
    def chance(self) -> float:
        """Share of the draws in which the worst sheet ends under the target."""
        return float(np.mean(self.worst <= self.scenario.target.limit))

    @property
    def chance_error(self) -> float:
        """Standard error of that share, had the draws been independent; theirs is smaller."""
        return float(np.sqrt(self.chance * (1 - self.chance) / self.sample.members))

    @property
    def margin(self) -> float:
        """Target over what the worst sheet ends at in 95 of 100 draws; over 1 is met."""
        return float(self.scenario.target.limit / np.quantile(self.worst, BAND[-1]))

    @cached_property
    def crossings(self) -> Array:
        """(M, lots) s at which each lot is under the target for good; inf if never.

        Between outputs the logarithm of the residual counts as straight.
        """
        limit = self.scenario.target.limit
        lots = range(self.residual.shape[1])
        found = [last_crossing(self.times, self.residual[:, lot], limit) for lot in lots]
        return np.maximum(np.stack(found, axis=1), self.nominal.run.left_fixer)

    @property
    def minutes_to_spare(self) -> float | None:
        """From when 95 of 100 draws have every sheet under the target to the end; None if never."""
        return _ranked(self.nominal.run.timeline.end - self.crossings.max(axis=1), 1 - BAND[-1])

    @property
    def slowest(self) -> Array:
        """(M,) s that the slowest sheet must wash from leaving the fixer; inf if it never does."""
        return (self.crossings - self.nominal.run.left_fixer).max(axis=1)

    def minutes_to_target(self, share: float) -> float | None:
        """The longest a sheet must wash, from leaving the fixer, in this share of the draws.

        None if that many draws never get there.
        """
        return _ranked(self.slowest, share)

    def quantile(self, shares: tuple[float, ...], *, typical: bool = False) -> Array:
        """(len(shares), T) kg/m2: at each time, of the worst sheet (or the median one)."""
        counts = [lot.count for lot in self.nominal.run.timeline.lots]
        lots = np.repeat(np.arange(len(counts)), counts)
        # sheets that are still to come, or in the fixer, are no part of the wash
        left = np.array(self.nominal.run.left_fixer)[lots]
        washing = np.where(self.times >= left[:, None], self.residual[:, lots], np.nan)
        begun = self.times >= left.min()
        found = np.full((len(shares), len(self.times)), np.nan)
        of_sheets = np.nanmedian if typical else np.nanmax
        found[:, begun] = np.quantile(of_sheets(washing[:, :, begun], axis=1), shares, axis=0)
        return found


def _ranked(seconds: Array, share: float) -> float | None:
    """Minutes of the draw that has this share of the others below it; None where not finite."""
    found = np.quantile(seconds, share, method="inverted_cdf")
    return float(found / 60) if np.isfinite(found) else None


def last_crossing(times: Array, residual: Array, limit: float) -> Array:
    """(M,) s at which residual (M, T) last falls to the limit; inf where it ends above it."""
    over = residual > limit
    last = residual.shape[1] - 1 - np.argmax(over[:, ::-1], axis=1)
    found = np.where(over.any(axis=1), times[last], times[0])
    inside = over.any(axis=1) & ~over[:, -1]
    rows, at = np.flatnonzero(inside), last[inside]
    high, low = np.log(residual[rows, at]), np.log(np.maximum(residual[rows, at + 1], 1e-12))
    share = (high - np.log(limit)) / (high - low)
    found[rows] = times[at] + share * (times[at + 1] - times[at])
    found[over[:, -1]] = np.inf
    return found


def observe(
    scenario: Scenario,
    sample: Sample,
    see: Callable[[Run], Array],
    nodes: Nodes,
    progress: Callable[[float], None] | None = None,
    known: dict[int, Known] | None = None,
) -> Array:
    """(M, ...) what `see` finds in the run of every member, computed in chunks on all cores.

    see gets a run of at most CHUNK members and returns an array with them as its first axis.
    progress is called with the share done after each chunk; what it raises ends the work. known:
    modes of each chunk, which calls with the same paper, sample and nodes may share.
    """
    timeline = scenario.timeline
    accuracy = max(_STEPS, scenario.settings.accuracy)
    chunks = [slice(i, i + CHUNK) for i in range(0, sample.members, CHUNK)]

    def work(chunk: slice) -> Array:
        part, own = sample.part(chunk), None if known is None else known.setdefault(chunk.start, {})
        run = march_through(
            scenario,
            timeline,
            *nodes,
            sample=part,
            drift=_DRIFT,
            accuracy=accuracy,
            known=own,
        )
        return see(run)

    found = []
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        try:
            for done in threads.map(work, chunks):
                found.append(done)
                if progress is not None:
                    progress(len(found) / len(chunks))
        except BaseException:
            threads.shutdown(cancel_futures=True)
            raise
    return np.concatenate(found)


def solve_band(
    scenario: Scenario,
    sample: Sample | None = None,
    progress: Callable[[float], None] | None = None,
) -> Band:
    """Wash the scenario's sheets once for every member of a sample.

    Without a sample, 256 draws from the bands of everything unknown. Nodes are the first on which
    the draws farthest out agree to a band's accuracy, whatever finer ones the run itself asks for.
    """
    if sample is None:
        sample = unknowns.draw(scenario)
    nominal = solve(scenario)
    rungs = ladder(scenario.settings.nodes, scenario.sheet.material)
    nodes, error = nodes_for(scenario, sample, rungs)
    residual = observe(scenario, sample, lambda run: run.amounts(run.times), nodes, progress)
    return Band(nominal, sample, nominal.times, np.maximum(residual, 0.0), error)


def nodes_for(
    scenario: Scenario,
    sample: Sample,
    rungs: list[Nodes] | None = None,
    see: Callable[[Run], Array] | None = None,
) -> tuple[Nodes, float]:
    """The first rung, from coarse to fine, that suffices for the draws farthest out; its error.

    rungs: else from below those of a run on. see: what must be right, kg/m2; else what is left
    when the evening ends.
    """
    rungs = rungs or ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
    see = see or ends
    nodes, error = rungs[0], 0.0
    extreme = sample.part(farthest(sample))
    if len(rungs) > 1:
        coarse = observe(scenario, extreme, see, nodes)
        for rung in rungs[1:]:
            fine = observe(scenario, extreme, see, rung)
            error = float(np.max(np.abs(coarse - fine) / (fine + 1e-6)))
            if error <= ACCURACY:
                break
            nodes, coarse = rung, fine
    return nodes, error


def ends(run: Run) -> Array:
    """(M, lots) kg/m2 when the evening ends."""
    return np.stack(
        [np.sum(run.slab.capacity * lot.state, axis=1) for lot in run.state.lots], axis=1
    )


def farthest(sample: Sample) -> Array:
    """Numbers of the members with the most unusual factors."""
    away = np.zeros(sample.members)
    for values in sample.factors.values():
        away += np.log(values) ** 2
    return np.sort(np.argsort(away)[-EXTREMES:])
