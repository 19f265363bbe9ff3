"""Which schedules the sink allows: vessels at hand, fillings, the tap, an aid if there is one.

Each shape is a scenario whose last step leaves a duration open. The planner tries its fillings
and durations; nothing here computes a wash.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from washsim import tables, wording
from washsim.recipes import Aid, Bath, Hold, Rinse, Running, Step, Transfer
from washsim.scenario import Scenario
from washsim.units import litre, minute, rounded
from washsim.vessels import Vessel

GRAIN = 0.5 * minute
"""Dwells are told in half minutes."""
MOST_CHANGES = 12
"""Fillings tried at most."""
FILLINGS, FILLINGS_APART = 5, 3
"""Sizes of filling tried between the least water that covers the sheets and a full vessel; those
where sheets come one by one or late, each of which takes a long evening or many."""
FLOWS = (1.0, 0.5, 0.25, 0.125)
"""Shares of a vessel's flow: a tap can be opened less."""
RENEWED = (0, 1)
"""Times that a holding bath may be renewed while sheets come."""
RINSED = (0, 2, 5)
"""Sheets after which a rinse may be made fresh; 0 never."""
ROWS = (1, 2, 3, 4, 5, 7, 10)
"""Sheets after which the first of a row of trays may be made fresh."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A schedule whose last step leaves its duration open, unless `fixed`.

    filled: name of the vessel whose filling may vary; "" where none does.
    """

    scenario: Scenario
    filled: str = ""
    fixed: bool = False

    @property
    def knob(self) -> str:
        """Path of the open duration."""
        return f"steps.{len(self.scenario.steps)}.duration"

    @property
    def brief(self) -> float:
        """Shortest dwell, s, in which hands can dump and fill what this one fills."""
        least = tables.datum("limits.planning.least_dwell").si
        if not self.filled:
            return least
        dump, refill = (tables.datum(f"limits.hands.{key}").si for key in ("dump", "refill"))
        return max(least, float(GRAIN * np.ceil((dump + self.filling / refill) / GRAIN)))

    @property
    def fillings(self) -> int:
        """Most fillings of the last step."""
        end = self.scenario.steps[-1]
        return end.baths if isinstance(end, Bath) else 1

    def at(self, seconds: float, fillings: int = 1, last: float | None = None) -> Scenario:
        """The schedule with so many fillings at the end, each of this duration.

        last: duration of the last filling, where it is not the same.
        """
        *before, end = self.scenario.steps
        last = seconds if last is None else last
        if isinstance(end, Running):
            before.append(replace(end, duration=last))
        elif not isinstance(end, Bath):
            before.append(end)
        elif last == seconds or fillings == 1:
            before.append(replace(end, duration=last, baths=fillings))
        else:
            before.append(replace(end, duration=seconds, baths=fillings - 1))
            before.append(replace(end, duration=last, baths=1, begin="fresh"))
        return replace(self.scenario, steps=tuple(before))

    def more_water(self, seconds: float, fillings: int) -> float:
        """m3 that it takes more, so much longer at the end and with so many fillings more."""
        end, batches = self.scenario.steps[-1], self.scenario.sheet.batches
        if isinstance(end, Running):
            flow = next(v.flow for v in self.scenario.vessels if v.name == end.vessel)
            return batches * flow * seconds
        return batches * fillings * self.filling if isinstance(end, Bath) else 0.0

    def sizes(self) -> list[Shape]:
        """The same with every size of filling that covers the sheets."""
        if not self.filled:
            return [self]
        vessel, low = self._vessel, self.least
        simple = together(self.scenario) and not self.scenario.late
        several = FILLINGS if simple else FILLINGS_APART
        steps = np.geomspace(low, vessel.volume, 2 if self.fixed else several)[1:-1]
        inside = {to_jug(float(volume)) for volume in steps}
        return [
            self.with_filling(volume)
            for volume in sorted({low, vessel.volume, *inside})
            if low <= volume <= vessel.volume
        ]

    def with_filling(self, volume: float) -> Shape:
        """The same with another filling, m3."""
        return replace(self, scenario=_changed(self.scenario, self._vessel, volume=volume))

    @property
    def filling(self) -> float:
        """m3 that the filled vessel takes."""
        return self._vessel.volume

    @property
    def emptied(self) -> Shape:
        """The same with the least filling: equal for all that differ in nothing else."""
        return self.with_filling(self.least)

    @property
    def _vessel(self) -> Vessel:
        return next(one for one in self.scenario.vessels if one.name == self.filled)

    @property
    def least(self) -> float:
        """Least filling that covers the sheets, m3; a full vessel, to the jug."""
        return min(to_jug(self._least_water, up=True), self._vessel.volume)

    @property
    def _least_water(self) -> float:
        one_each = isinstance(self.scenario.steps[-1], Transfer)
        return self._vessel.least_water(
            self.scenario.sheet, 1 if one_each else at_once(self.scenario)
        )


def to_jug(volume: float, up: bool = False) -> float:
    """m3 in steps that a jug tells: 0.1 L below 10 L, else 0.5 L."""
    grain = 0.1 if volume < 10 * litre else 0.5
    count = volume / litre / grain
    whole = np.ceil(count - 1e-9) if up else np.round(count)
    return float(round(whole * grain, 1) * litre)


def shapes(scenario: Scenario, aid: bool, rinse: bool = True) -> Iterator[Shape]:
    """Every shape that the scenario's vessels allow, vessels full, without its late sheets.

    aid: whether one is at hand; rinse: whether sheets may be rinsed before anything else.
    """
    # the user's own steps may not suit changed vessels: a lone filling stands in
    first = Bath(vessel=scenario.vessels[0].name, duration=minute)
    bare = replace(scenario, steps=(first,), late=(), stuck=())
    for vessel in _different(scenario.vessels):
        covered = covers(vessel, scenario)
        for start, before in _beforehand(bare, vessel, aid, rinse) if covered else ():
            yield from _baths(start, vessel, before)
            if vessel.flow > 0:
                yield from _running(start, vessel, before)
        trays = trays_at_hand(scenario, vessel)
        deep = vessel.least_water(scenario.sheet, 1) <= vessel.volume
        if not together(scenario) and trays > 1 and deep:
            yield from _rows(bare, vessel, trays)


def at_once(scenario: Scenario) -> int:
    """Sheets of a batch that lie in one water at last, late ones included."""
    return scenario.sheet.count + len(scenario.late)


def covers(vessel: Vessel, scenario: Scenario) -> bool:
    """Whether a full vessel covers all sheets of a batch at once."""
    return vessel.least_water(scenario.sheet, at_once(scenario)) <= vessel.volume


def trays_at_hand(scenario: Scenario, vessel: Vessel) -> int:
    """How many of a vessel there are: as stated, or as many as the scenario's own steps use."""
    rows = [step for step in scenario.steps if isinstance(step, Transfer)]
    return max(vessel.pieces, *(row.trays for row in rows if row.vessel == vessel.name), 1)


def together(scenario: Scenario) -> bool:
    """Whether all sheets of a batch come at once."""
    return scenario.sheet.interval == 0 or scenario.sheet.count == 1


def _different(vessels: tuple[Vessel, ...]) -> list[Vessel]:
    """The first of those that only their names tell apart."""
    found: dict[Vessel, Vessel] = {}
    for vessel in vessels:
        found.setdefault(replace(vessel, name="any"), vessel)
    return list(found.values())


Start = tuple[Scenario, tuple[Step, ...]]


def _beforehand(bare: Scenario, vessel: Vessel, aid: bool, rinse: bool) -> Iterator[Start]:
    """Vessels and steps before the sheets gather in `vessel`: none, a rinse, a rinse and an aid.

    Sheets that come together are rinsed by a first filling, so they need no other vessel.
    """
    yield bare, ()
    if not together(bare):
        yield from _one_by_one(bare, vessel, aid, rinse)
    elif aid:
        short = tables.datum("limits.planning.least_dwell").si
        first = (Bath(vessel=vessel.name, duration=short),) if rinse else ()
        soak = tables.datum("limits.planning.aid").si
        yield bare, (*first, Aid(vessel=vessel.name, duration=soak))


def _one_by_one(bare: Scenario, vessel: Vessel, aid: bool, rinse: bool) -> Iterator[Start]:
    """A rinse, an aid or both in small vessels, for each sheet as it comes."""
    # a sheet must have left before the next one comes
    spare = bare.sheet.interval - 2 * bare.handling.drain
    if spare <= 0:
        return
    brief = min(tables.datum("limits.planning.rinse").si, spare)
    soak = min(tables.datum("limits.planning.aid").si, spare)
    small = [
        one
        for one in bare.vessels
        if one.name != vessel.name
        and one.flow == 0
        and one.least_water(bare.sheet, 1) <= one.volume
    ]
    start = bare
    for one in small:
        start = _changed(start, one, volume=to_jug(one.least_water(bare.sheet, 1), up=True))
    rinses = [Rinse(vessel=one.name, duration=brief) for one in small if rinse]
    for step, often in itertools.product(rinses, RINSED):
        if often < bare.sheet.count:
            yield start, (replace(step, sheets_per_fill=often),)
    for one in small if aid else ():
        soaked = Aid(vessel=one.name, duration=soak)
        before = [(step,) for step in rinses if step.vessel != one.name] if rinse else [()]
        yield from ((start, (*rinsed, soaked)) for rinsed in before)


def _baths(start: Scenario, vessel: Vessel, before: tuple[Step, ...]) -> Iterator[Shape]:
    """Fillings of one vessel, after a holding bath in it where sheets come one by one.

    A holding bath may be kept as the first of them, and a batch may begin in the last of the one
    before.
    """
    for hold in _holds(start, vessel):
        for begin in _beginnings(start, before, hold):
            most = Bath(vessel=vessel.name, baths=MOST_CHANGES, duration=minute, begin=begin)
            yield Shape(
                scenario=replace(start, steps=(*before, *hold, most)),
                filled=vessel.name,
            )


def _beginnings(start: Scenario, before: tuple[Step, ...], held: tuple[Step, ...]) -> list[str]:
    """How a step may begin: with water kept where some stands there that is no aid."""
    aided = any(isinstance(step, Aid) for step in before)
    return ["fresh", "kept"] if held or (start.sheet.batches > 1 and not aided) else ["fresh"]


def _running(start: Scenario, vessel: Vessel, before: tuple[Step, ...]) -> Iterator[Shape]:
    """The tap from the first sheet on, or after holding or a few fillings."""
    dwell = 2 * tables.datum("limits.planning.least_dwell").si
    hold = _holds(start, vessel)[0]
    few = [(*hold, Bath(vessel=vessel.name, baths=n, duration=dwell)) for n in (1, 2)]
    stages: set[tuple[Step, ...]] = {(), hold, *few}
    for stage, share in itertools.product(sorted(stages, key=len), FLOWS):
        opened = _changed(start, vessel, flow=share * vessel.flow)
        for begin in _beginnings(start, before, stage):
            step = Running(vessel=vessel.name, duration=minute, begin=begin)
            yield Shape(scenario=replace(opened, steps=(*before, *stage, step)))


def _holds(start: Scenario, vessel: Vessel) -> list[tuple[Step, ...]]:
    if together(start):
        return [()]
    renewed = (n for n in RENEWED if n < start.sheet.count)
    return [(Hold(vessel=vessel.name, changes=n),) for n in renewed]


def _rows(bare: Scenario, vessel: Vessel, trays: int) -> Iterator[Shape]:
    """A row of trays against the water; all sheets move when the next leaves the fixer."""
    often = [n for n in ROWS if n < bare.sheet.count]
    for count, n in itertools.product(range(2, trays + 1), often):
        row = Transfer(
            vessel=vessel.name, trays=count, duration=bare.sheet.interval, sheets_per_fill=n
        )
        yield Shape(scenario=replace(bare, steps=(row,)), filled=vessel.name, fixed=True)


def _changed(scenario: Scenario, vessel: Vessel, **fields: float) -> Scenario:
    new = replace(vessel, **fields)  # type: ignore[arg-type]
    vessels = tuple(new if one.name == vessel.name else one for one in scenario.vessels)
    return replace(scenario, vessels=vessels)


def describe(scenario: Scenario, system: str = "metric") -> str:
    """The steps in one line, in the units of a system."""
    joined = [one.step for one in scenario.late]
    words = []
    for number, step in enumerate(scenario.steps, start=1):
        count = joined.count(number)
        joins = {0: "", 1: ", the late print joins"}.get(count, f", {count} late prints join")
        words.append(_words(step, scenario.vessels, system) + joins)
    return "; ".join(words)


def _words(step: Step, vessels: tuple[Vessel, ...], system: str) -> str:
    """One step, such as '6 × 4 L in tray, 10 min each'."""
    minutes = f"{rounded(step.duration / minute)} min"
    if not hasattr(step, "vessel"):
        return f"drain {rounded(step.duration)} s"
    vessel = next(one for one in vessels if one.name == step.vessel)
    water = f"{wording.amount(vessel.volume, 'l', system)} in {vessel.name}"
    fresh = getattr(step, "sheets_per_fill", 0)
    often = f", fresh after every {fresh} sheets" if fresh else ""
    kept = ", kept from before" if getattr(step, "begin", "fresh") == "kept" else ""
    match step:
        case Bath(baths=1):
            return f"{water}{kept}, {minutes}"
        case Bath():
            return f"{step.baths} × {water}{kept and ', the first' + kept[1:]}, {minutes} each"
        case Running():
            flow = wording.amount(vessel.flow, "l_min", system)
            return f"tap at {flow} through {water}{kept}, {minutes}"
        case Hold():
            renewed = f", renewed {step.changes} ×" if step.changes else ""
            return f"hold in {water}{kept}{renewed}"
        case Transfer():
            return f"row of {step.trays} with {water} each, {minutes} a tray{often}"
        case Aid():
            return f"wash aid, {water}, {minutes}{often}"
        case _:
            return f"rinse in {water}, {minutes}{often}"
