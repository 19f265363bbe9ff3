"""Timeline -> what hands do: one list of moves with the time each takes, and where two collide.

Drain times are the timeline's own. How long it takes to lift, lay, dump and fill are estimates
(washsim/data/limits.toml, hands); the solver knows nothing of them: it moves sheets at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from washsim import tables
from washsim.scenario import Scenario
from washsim.timeline import Dump, Fill, Flow, Lift, Place, Timeline

FIXER = "F"
ALPHABET = "ABCDEGHIJKLMNOPQRSTUVWXYZ"
"""Letters of trays; F is kept for the fixer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing to do: at, s since the first sheet entered the fixer; hands, s it keeps busy.

    kind: 'in' (sheets into the fixer), 'carry', 'out' (to dry), 'renew' (dump and refill), 'fill',
    'open' and 'close' (the tap). source and target are basins; sheets are numbers from 1.
    """

    at: float
    kind: str
    hands: float
    sheets: tuple[int, ...] = ()
    source: int | None = None
    target: int | None = None
    drain: float = 0.0
    volume: float = 0.0
    """m3 poured in."""
    flow: float = 0.0
    """m3/s."""
    liquid: str = ""
    """What is poured, if not the scenario's own water."""
    temperature: float | None = None
    """K of what is poured, where not all of it is the wash water's."""
    occupied: bool = False
    """Whether sheets stay in a vessel while it is dumped."""
    kept: bool = False
    """Whether sheets go into water that the batch before has just left."""
    meanwhile: bool = False
    """Whether a vessel is dumped while sheets hang over it that go back into it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """Hands are still busy with moves that began at one time when the next are due; late, s."""

    begun: float
    due: float
    late: float


def moves(scenario: Scenario, timeline: Timeline | None = None) -> tuple[Move, ...]:
    """What to do in order; at one moment, sheets nearest the end go first.

    First fillings are left out: they are made ready before the start (see `first_fillings`).
    """
    timeline = timeline or scenario.timeline
    carried = list(_carried(timeline))
    found = [*carried, *_poured(scenario, timeline), *_tapped(timeline, carried)]
    ordered: list[Move] = []
    for _, same in groupby(sorted(found, key=lambda one: one.at), key=lambda one: one.at):
        ordered += _in_turn(_keeping(list(same)))
    return tuple(ordered)


def _keeping(same: list[Move]) -> list[Move]:
    """Moves of one moment; those into water that sheets leave for good just then say so, and
    changes of water while its sheets hang."""
    renewed = {one.target for one in same if one.kind == "renew"}
    left = {one.source for one in same if one.kind == "out"} - renewed
    hung = {one.target for one in same if one.kind == "carry" and one.source == one.target}
    return [
        replace(
            one,
            kept=one.kind == "carry" and one.target in left,
            meanwhile=one.kind == "renew" and one.target in hung,
        )
        for one in same
    ]


def letters(timeline: Timeline) -> tuple[str, ...]:
    """A letter for each basin: F (or F1, F2) for fixer, A, B, C ... for the others."""
    fixers = sum(basin.vessel is None for basin in timeline.basins)
    found, others = [], 0
    for i, basin in enumerate(timeline.basins):
        if basin.vessel is None:
            found.append(FIXER if fixers == 1 else f"{FIXER}{i + 1}")
            continue
        round_, place = divmod(others, len(ALPHABET))
        found.append(ALPHABET[place] + (str(round_ + 1) if round_ else ""))
        others += 1
    return tuple(found)


def first_fillings(scenario: Scenario, timeline: Timeline) -> tuple[Move, ...]:
    """What each vessel holds before it is used, in the order of use."""
    dumped = {(one.vessel, one.at) for one in timeline.events if isinstance(one, Dump)}
    return tuple(
        _filling(scenario, timeline, one, "fill")
        for one in timeline.events
        if isinstance(one, Fill) and one.step > 0 and (one.vessel, one.at) not in dumped
    )


def clashes(found: tuple[Move, ...]) -> tuple[Clash, ...]:
    """Moments that begin while hands are still busy with the one before; delays add up."""
    moments = [
        (at, sum(one.hands for one in same))
        for at, same in groupby(found, key=lambda one: round(one.at, 3))
    ]
    late, collided = 0.0, []
    for (at, hands), (due, _) in pairwise(moments):
        late = max(0.0, at + late + hands - due)
        # a second is nothing to a hand; anything longer is told
        if late > 1.0:
            collided.append(Clash(begun=at, due=due, late=late))
    return tuple(collided)


def _carried(timeline: Timeline) -> Iterator[Move]:
    """Moves of sheets; lots that go the same way at the same time are one move."""
    lift, lay = (tables.datum(f"limits.hands.{key}").si for key in ("lift", "lay"))
    together: dict[tuple[float, float, int | None, int | None], list[int]] = {}
    for lot, one in enumerate(timeline.lots):
        numbers = list(range(one.first, one.first + one.count))
        for way in _ways(timeline, lot):
            together.setdefault(way, []).extend(numbers)
    for (at, drain, source, target), sheets in together.items():
        each = (lift if source is not None else 0.0) + (lay if target is not None else 0.0)
        kind = "in" if source is None else "out" if target is None else "carry"
        yield Move(
            at=at,
            kind=kind,
            hands=drain + len(sheets) * each,
            sheets=tuple(sorted(sheets)),
            source=source,
            target=target,
            drain=drain,
        )


def _ways(timeline: Timeline, lot: int) -> list[tuple[float, float, int | None, int | None]]:
    """(start, drain time, from, to) of each move of a lot, s and basins."""
    inside: int | None = None
    lifted: float | None = None
    arrived = -1.0
    found: list[tuple[float, float, int | None, int | None]] = []
    for event in timeline.events:
        if isinstance(event, Lift) and event.lot == lot:
            lifted = event.at
        elif isinstance(event, Place) and event.lot == lot:
            start = event.at if lifted is None else lifted
            if found and start <= arrived:
                # put down and taken up again at once: it goes straight on
                start, _, inside, _ = found.pop()
            found.append((start, event.at - start, inside, event.vessel))
            inside, lifted, arrived = event.vessel, None, event.at
    assert lifted is not None, "every lot is lifted in the end"
    return [*found, (lifted, 0.0, inside, None)]


def _poured(scenario: Scenario, timeline: Timeline) -> Iterator[Move]:
    """Changes of water: a dump and the filling that follows at once."""
    for one in timeline.events:
        if isinstance(one, Dump):
            fill = next(
                other
                for other in timeline.events
                if isinstance(other, Fill) and (other.vessel, other.at) == (one.vessel, one.at)
            )
            yield _filling(scenario, timeline, fill, "renew")


def _filling(scenario: Scenario, timeline: Timeline, fill: Fill, kind: str) -> Move:
    rate = tables.datum("limits.hands.refill").si
    dump = tables.datum("limits.hands.dump").si if kind == "renew" else 0.0
    stage = next(one for one in timeline.stages if one.step == fill.step)
    set_so = [
        one
        for one in timeline.events
        if isinstance(one, Flow) and one.vessel == fill.vessel and one.at <= fill.at
    ][-1]
    water = f"{set_so.water.replace('_', ' ')} water" if set_so.water else ""
    # where one filling is warmer than the others, each says how warm it is
    alike = all(
        abs(one.temperature - scenario.water.temperature) < 0.5
        for one in timeline.events
        if isinstance(one, Flow) and one.step > 0
    )
    return Move(
        at=fill.at,
        kind=kind,
        hands=dump + fill.volume / rate,
        target=fill.vessel,
        volume=fill.volume,
        liquid="2 % sulfite" if stage.label == "aid" else water,
        temperature=None if alike else set_so.temperature,
        occupied=_occupied(timeline, fill.vessel, fill.at),
    )


def _occupied(timeline: Timeline, basin: int, at: float) -> bool:
    """Whether sheets lie in a basin at a time and are not lifted just then."""
    inside: set[int] = set()
    for event in timeline.events:
        if event.at > at:
            break
        if isinstance(event, Place) and event.vessel == basin and event.at < at:
            inside.add(event.lot)
        elif isinstance(event, Lift):
            inside.discard(event.lot)
    return bool(inside)


def _tapped(timeline: Timeline, carried: list[Move]) -> Iterator[Move]:
    """The tap opened and closed; a running bath that only drifts in warmth is left alone.

    Water begins to run as the first sheets arrive: opening the tap belongs to the move that
    brings them.
    """
    brought = {(one.target, one.at + one.drain): one.at for one in carried}
    rates: dict[int, float] = {}
    for one in timeline.events:
        if not isinstance(one, Flow):
            continue
        before = rates.get(one.vessel, 0.0)
        if one.rate != before and one.fed_by is None:
            kind = "open" if one.rate > 0 else "close"
            at = brought.get((one.vessel, one.at), one.at) if one.rate > 0 else one.at
            yield Move(at=at, kind=kind, hands=0.0, target=one.vessel, flow=one.rate)
        rates[one.vessel] = one.rate if one.fed_by is None else 0.0


def _in_turn(same: list[Move]) -> list[Move]:
    """Moves of one moment in the order hands do them.

    The tap is closed first and opened last. A sheet goes into a tray once the one that lay there
    has left it, and once the tray is renewed if it is; else the lowest number goes first. Sheets
    that go back are lifted before their tray is dumped. Where trays are swapped in a ring,
    somebody must begin: again the lowest number.
    """
    shut = [one for one in same if one.kind == "close"]
    opened = [one for one in same if one.kind == "open"]
    waiting = [one for one in same if one.kind == "renew" or one.sheets]
    waiting.sort(key=lambda one: (one.kind != "renew", one.kind == "in", one.sheets))
    turn: list[Move] = []
    while waiting:
        free = [one for one in waiting if not any(_before(other, one) for other in waiting)]
        turn.append(free[0] if free else waiting[0])
        waiting.remove(turn[-1])
    return shut + turn + opened


def _before(one: Move, other: Move) -> bool:
    """Whether a move must be done before another of the same moment."""
    if one is other or other.target is None:
        return False
    back = one.source is not None and one.source == one.target
    if other.kind == "renew":
        # sheets that go back are lifted out before it is dumped
        return back and one.target == other.target
    if one.kind == "renew":
        into = bool(other.sheets) and other.target == one.target
        return into and other.source != other.target
    # a sheet that goes back into its own tray is in nobody's way
    leaves = one.source == other.target and one.target != one.source
    return leaves and other.source != other.target
