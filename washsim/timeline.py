"""A handful of event kinds that say what happened at the sink and when; seconds and SI.

Time zero is when the first sheet enters the fixer. Recipes write timelines; the solver, the wall
sheet and the evening ribbon read them.
"""

from __future__ import annotations

from dataclasses import dataclass

from washsim.vessels import Vessel


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Sheets go from the air into a vessel."""

    at: float
    lot: int
    vessel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """Sheets come out of their vessel; what still clings to them after draining is film, m3/m2."""

    at: float
    lot: int
    film: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """From now on water reaches a lot's front and back so far: 1 open, 0 covered.

    begins: it covers what was open; else it bares what was covered.
    """

    at: float
    lot: int
    begins: bool
    front: float
    back: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """Fresh water, m3, is poured into a vessel."""

    at: float
    vessel: int
    volume: float
    step: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dump:
    """A vessel is emptied but for a puddle, m3."""

    at: float
    vessel: int
    puddle: float
    step: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """From now on a vessel is this warm, K, and fresh water runs through it, m3/s; zero closes
    the tap. water is its kind, "" the scenario's own; fed_by: the vessel, no tap, it is from."""

    at: float
    vessel: int
    water: str
    temperature: float
    rate: float
    step: int
    fed_by: int | None = None


Event = Place | Lift | Cover | Fill | Dump | Flow
_ORDER = {Lift: 1, Dump: 2, Flow: 3, Fill: 4, Place: 5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Basin:
    """One vessel on the timeline, such as the second of a row; vessel None is a fixing bath."""

    label: str
    vessel: Vessel | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """Sheets that go through everything together; numbers are those of the first and last."""

    first: int
    count: int
    late: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """When a step began and ended, s, and in which basins (none in the air); 0 is the fixing."""

    step: int
    label: str
    start: float
    stop: float
    basins: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Lots, basins and what happens to them, in order of time."""

    lots: tuple[Lot, ...]
    basins: tuple[Basin, ...]
    events: tuple[Event, ...]
    stages: tuple[Stage, ...]

    @property
    def end(self) -> float:
        """s; sheets that still drain then are lifted already."""
        return max(self.events[-1].at, self.stages[-1].stop)

    @property
    def fresh_water(self) -> float:
        """m3 that all steps take, filled and run."""
        return sum(self.volume(step) for step in {one.step for one in self.stages[1:]})

    def volume(self, step: int) -> float:
        """Fresh water that a step takes, m3, filled and run."""
        poured = sum(e.volume for e in self.events if isinstance(e, Fill) and e.step == step)
        return poured + sum(rate * (stop - start) for _, start, stop, rate in self.runs(step))

    def runs(self, step: int) -> list[tuple[int, float, float, float]]:
        """(vessel, start, stop, rate) of each time the tap ran into a vessel in a step."""
        flows = [e for e in self.events if isinstance(e, Flow) and e.step == step]
        found = []
        for i, event in enumerate(flows):
            if event.rate > 0 and event.fed_by is None:
                later = (e.at for e in flows[i + 1 :] if e.vessel == event.vessel)
                found.append((event.vessel, event.at, next(later, self.end), event.rate))
        return found


def in_order(events: list[Event]) -> tuple[Event, ...]:
    """By time; at one time bare, lift, dump, set the tap, fill, place, and cover last."""

    def place_in_line(event: Event) -> tuple[float, int]:
        if isinstance(event, Cover):
            return event.at, 6 if event.begins else 0
        return event.at, _ORDER[type(event)]

    return tuple(sorted(events, key=place_in_line))
