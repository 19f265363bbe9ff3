"""Scenario -> engine arrays -> Result. The one verb is `solve`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from washsim import aid
from washsim import timeline as happening
from washsim.engine import march
from washsim.engine.segment import Segment
from washsim.engine.solving import Known
from washsim.papers import Paper
from washsim.result import Result
from washsim.run import Drained, Run
from washsim.scenario import Scenario
from washsim.translate import build_slab, engine_lots, thiosulfate, translate
from washsim.unknowns import NOMINAL, Sample

Intervals = tuple[int, ...]
Nodes = tuple[str, Intervals]
"""A node family and the intervals of each layer."""

_LADDER = ((12, 4), (16, 6), (24, 10), (32, 14))
"""Lobatto intervals of slow and of quick layers, coarse to fine."""
_ROUGH = ((6, 2), (8, 2))
"""The same where a hundredth at the end of a wash is good enough; its first seconds are not."""
_EVEN = (80, 20)
"""Even intervals of slow and of quick layers, the fall-back and the independent check."""

_TIME = 0.3
"""Part of the accuracy asked for that the steps of laws that bend may use."""

_DRIFT, _FINER = 0.05, 2 / 3
"""Part by which waters in a row change in a piece of an interval: at first, and its factor on every
refinement, which about halves the error (second order)."""
PIECES = 3e-3
"""Error that is good enough, whatever is asked for, of waters in a row: the way slots mix is a
guess."""

UNDERSHOOT = 1e-3
"""Largest dip below zero, relative to the fixer, that is allowed at a node.

High-order nodes ring a little in the first seconds after a sheet meets another liquid, ahead of
the front; amounts are not touched. Shown profiles are cut off at zero. Even nodes cannot dip
(their matrix is an M-matrix), so they take over where this is not enough.
"""


Shared = dict[tuple[Paper, Nodes], Known]
"""Modes that were worked out for papers on nodes."""


def solve(
    scenario: Scenario,
    progress: Callable[[float], None] | None = None,
    shared: Shared | None = None,
) -> Result:
    """Wash the scenario's sheets. progress, if given, is called with the share done, 0 to 1.

    shared: what other runs worked out of the same paper is taken from it, and put there.
    The node family and count are the scenario's setting; 'auto' climbs from coarse to fine until
    refining once more changes no residual by more than the accuracy asked for and no node dips
    below zero by more than UNDERSHOOT. The result carries that change as its numerical error.
    """
    timeline = scenario.timeline
    paper = scenario.sheet.material
    rungs = ladder(scenario.settings.nodes, paper)
    done = _Progress(progress, len(timeline.events))
    enough = good_enough(scenario)

    def marched(rung: Nodes, drift: float = _DRIFT) -> Run:
        known = None if shared is None else shared.setdefault((paper, rung), {})
        return march_through(scenario, timeline, *rung, done.event, drift=drift, known=known)

    coarse = marched(rungs[0])
    for number, rung in enumerate(rungs[1:], start=1):
        drift = _DRIFT * _FINER**number
        fine = marched(rung, drift)
        error = _difference(coarse, fine)
        if error <= enough and coarse.lowest >= -UNDERSHOOT:
            return Result(scenario, coarse, error)
        coarse = fine
    if coarse.lowest < -UNDERSHOOT and scenario.settings.nodes == "auto":
        coarse = marched(("even", _intervals(paper, *_EVEN)), drift)
        error = _difference(coarse, fine)
    return Result(scenario, coarse, error)


def good_enough(scenario: Scenario) -> float:
    """The numerical error that a run is held to."""
    asked = scenario.settings.accuracy
    pieces = any(getattr(step, "slots", 1) > 1 for step in scenario.steps)
    return max(asked, PIECES) if pieces else asked


def time_tolerance(scenario: Scenario, accuracy: float | None = None) -> float:
    """What steps in time may err by, as in `bending`; accuracy: else the scenario's."""
    return _TIME * (scenario.settings.accuracy if accuracy is None else accuracy)


def ladder(nodes: str, paper: Paper, rough: bool = False) -> list[Nodes]:
    """Node families and counts to try for a setting of nodes, coarse to fine.

    rough: with those that are only good enough for what is left at the end.
    """
    if nodes == "even":
        slow, quick = _EVEN
        return [("even", _intervals(paper, n * slow, n * quick)) for n in (1, 2)]
    pairs = (*_ROUGH, *_LADDER) if rough else _LADDER
    return [("lobatto", _intervals(paper, *pair)) for pair in pairs]


def _intervals(paper: Paper, slow: int, quick: int) -> Intervals:
    """Nodes go where time is spent: layers within a tenth of the slowest diffusion time."""
    times = [layer.thickness**2 * layer.retardation / layer.hindrance for layer in paper.layers]
    return tuple(slow if time >= 0.1 * max(times) else quick for time in times)


def _difference(coarse: Run, fine: Run) -> float:
    """Largest change of a residual in the wash, relative to it plus 1 mg/m2."""
    washing = coarse.times >= np.array(coarse.left_fixer)[:, None]
    change = np.abs(coarse.residual - fine.residual) / (fine.residual + 1e-6)
    return float(np.max(change[washing], initial=0.0))


class _Progress:
    """Tells of events done; the second rung is the last in nearly every run."""

    def __init__(self, tell: Callable[[float], None] | None, events: int) -> None:
        self.tell, self.total, self.done = tell, 2 * events, 0

    def event(self) -> None:
        self.done += 1
        if self.tell is not None:
            self.tell(min(1.0, self.done / self.total))


def march_through(
    scenario: Scenario,
    timeline: happening.Timeline,
    family: str,
    intervals: Intervals,
    progress: Callable[[], None] = lambda: None,
    sample: Sample = NOMINAL,
    drift: float = _DRIFT,
    accuracy: float | None = None,
    known: Known | None = None,
) -> Run:
    """March one discretisation, and a member for each of the sample's, through the evening.

    progress is called after each event. accuracy of the steps where laws bend; else the
    scenario's. known: modes that runs with the same paper, nodes and sample may share. What the
    run says of water drained is the first member's.
    """
    paper = scenario.sheet.material
    sheet = build_slab(paper, family, intervals, sample)
    species = thiosulfate(scenario, paper)
    sulfite = aid.beside(scenario, timeline, sheet, sample)
    lots = engine_lots(scenario, timeline, sample.members)
    state = march.March(
        [sheet],
        lots,
        len(timeline.basins),
        sample.members,
        time_tolerance(scenario, accuracy),
        drift,
        known,
    )
    steps: dict[int, int] = {}
    segments: list[Segment] = []
    drained: list[Drained] = []
    for event in timeline.events:
        happens = translate(scenario, timeline, paper, species, event, sample)
        if sulfite is not None:
            segments += state.run(sulfite.until(event, happens.at))
        before, full = state.tally.drained, 0.0
        if isinstance(event, happening.Dump):
            tank = state.tanks[event.vessel]
            full = float((tank.volume + tank.dead_volume)[0])
        news = list(state.run([happens]))
        segments += news
        if isinstance(event, happening.Dump):
            volume = full - float((tank.volume + tank.dead_volume)[0])
            flowed = sum(float(s.drained()[0]) for s in news)
            amount = float((state.tally.drained - before)[0]) - flowed
            step = steps[event.vessel]
            drained.append(Drained(event.at, step, volume, amount))
        if isinstance(event, happening.Fill | happening.Dump | happening.Flow) and event.step >= 0:
            steps[event.vessel] = event.step
        progress()
    return Run(scenario, timeline, paper, sheet, state, segments, drained, steps)
