"""What stands on the wall above the sink: the evening in clock times, repeated moves folded.

A pure function of a scenario's timeline; `wall_page` lays it out on paper.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby, pairwise

from washsim import moves as handwork
from washsim.moves import Move
from washsim.scenario import Scenario
from washsim.timeline import Timeline
from washsim.vessels import Vessel
from washsim.wording import Style, amount, duration, names, poured, say

MARK = "◆"
"""Stands where a vessel is dumped and refilled before a sheet goes in."""
FEW = 3
"""Sheets that must do the same before their moves are folded."""
MANY_LINES = 10
"""Changes of one vessel, or moves of single sheets, beyond which a table takes their place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing to do at one time; dump: a vessel is emptied."""

    at: float
    clock: str
    text: str
    dump: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The same moves for one sheet, or one filling, after another: a box to tick for each."""

    at: float
    head: str
    cells: tuple[tuple[str, str], ...]
    """(what, clock time)."""
    dump: bool = False
    legend: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Which sheet goes where at which time: a row a time, a column a tray."""

    at: float
    head: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    """(clock time, one text for each column)."""


Block = Line | Grid | Table


@dataclass(frozen=True, slots=True, kw_only=True)
class WallSheet:
    """Title, when it runs, what to make ready, what to do, what to mind."""

    title: str
    span: str
    ready: tuple[str, ...]
    blocks: tuple[Block, ...]
    notes: tuple[str, ...]


def wall_sheet(scenario: Scenario, style: Style) -> WallSheet:
    """The evening of a scenario; InputError where its steps cannot be carried out."""
    timeline = scenario.timeline
    found = handwork.moves(scenario, timeline)
    letters = handwork.letters(timeline)
    teller = _Teller(scenario, timeline, style, letters, found)
    water = sum(timeline.volume(step) for step in range(1, len(scenario.steps) + 1))
    litres = amount(water, "l", style.units)
    return WallSheet(
        title=scenario.title,
        span=f"{style.at(0)} to {style.at(timeline.end)} · {litres} of water",
        ready=tuple(_ready(scenario, timeline, letters, style.units)),
        blocks=tuple(teller.blocks()),
        notes=tuple(_notes(found, teller)),
    )


def _ready(
    scenario: Scenario, timeline: Timeline, letters: tuple[str, ...], units: str
) -> Iterator[str]:
    """What each letter stands for and what is in it before the start."""
    fixing = scenario.fixing
    for basin, letter in zip(timeline.basins, letters, strict=True):
        if basin.vessel is None:
            strength = f" {fixing.dilution}" if fixing.dilution else ""
            stay = duration(fixing.duration / fixing.baths)
            yield f"{letter} = {basin.label}: {fixing.fixer}{strength}, {stay} a sheet"
    fillings = handwork.first_fillings(scenario, timeline)
    for (vessel, what), same in groupby(
        fillings, key=lambda one: (_vessel(timeline, one), poured(one, units))
    ):
        row = list(same)
        each = " each" if len(row) > 1 else ""
        row_of = ", ".join(letters[one.target] for one in row if one.target is not None)
        yield f"{row_of} = {vessel.name}: {what}{each}"


def _vessel(timeline: Timeline, move: Move) -> Vessel:
    assert move.target is not None
    vessel = timeline.basins[move.target].vessel
    assert vessel is not None, "a fixing bath is never filled here"
    return vessel


def _notes(found: tuple[Move, ...], teller: _Teller) -> Iterator[str]:
    """Where hands would have to be in two places."""
    collided = handwork.clashes(found)
    for one in collided[:2]:
        yield (
            f"Hands do one thing at a time: the moves of {teller.time(one.begun)} last, by "
            f"estimate, until {duration(round(one.late, -1) or one.late)} after those of "
            f"{teller.time(one.due)} are due."
        )
    if len(collided) > 2:
        last = collided[-1]
        yield (
            f"So do {len(collided) - 2} later moves, up to {teller.style.at(last.due)}: take a "
            f"helper, more time between sheets, or fewer sheets."
        )


class _Teller:
    """Folds an evening's moves into blocks."""

    def __init__(
        self,
        scenario: Scenario,
        timeline: Timeline,
        style: Style,
        letters: tuple[str, ...],
        found: tuple[Move, ...],
    ) -> None:
        self.scenario, self.timeline, self.style = scenario, timeline, style
        self.letters, self.moves = letters, found
        lots = timeline.lots
        self.guests = frozenset(one.first for one in lots if one.late)
        self.exact = _close_together(found)

    def time(self, at: float) -> str:
        """With seconds where moments lie so close that minutes would hide their order."""
        return self.style.at(at, exact=round(at, 3) in self.exact)

    def say(self, move: Move) -> str:
        return say(move, self.letters, self.guests, self.style.units)

    def blocks(self) -> list[Block]:
        """Everything to do, in order of time."""
        left = list(self.moves)
        found: list[Block] = []
        program = self._program()
        rotating = self._rotating(program)
        if rotating:
            found.append(self._table(program, rotating, left))
        elif program:
            found.append(self._grid(program, left))
        found += self._changes(left)
        found += [
            Line(
                at=one.at,
                clock=self.time(one.at),
                text=self.say(one),
                dump=one.kind == "renew",
            )
            for one in left
        ]
        until = max((own[0].at for own in program.values()), default=0.0)

        def place(block: Block) -> tuple[float, bool]:
            """What is due between the first and the last sheet of a fold is read before it."""
            fold = found[0]
            if isinstance(fold, Grid) and isinstance(block, Line) and fold.at < block.at <= until:
                return fold.at, False
            return block.at, True

        # one moment's lines stay in the order of the moves
        return sorted(found, key=place)

    def _program(self) -> dict[int, list[Move]]:
        """Sheet -> its first moves, where enough sheets do the same one after another."""
        alone = {}
        for lot in self.timeline.lots:
            if lot.count == 1 and not lot.late:
                of_sheet = [one for one in self.moves if lot.first in one.sheets]
                together = [len(one.sheets) > 1 for one in of_sheet]
                stop = together.index(True) if True in together else len(of_sheet)
                alone[lot.first] = of_sheet[:stop]
        starts = [own[0].at for own in alone.values() if own]
        if len(starts) < FEW or len(set(starts)) < len(starts):
            return {}
        first = _ways_of(alone[min(alone)])
        alike = {}
        for sheet, own in alone.items():
            pairs = zip(first, _ways_of(own), strict=False)
            same = [a == b for a, b in pairs]
            alike[sheet] = same.index(False) if False in same else len(same)
        # as far as two sheets in three go the same way; the last often goes straight on
        enough = max(FEW, -(-2 * len(alike) // 3))
        length = sorted(alike.values(), reverse=True)[enough - 1]
        return {sheet: alone[sheet][:length] for sheet, n in alike.items() if n >= length > 0}

    def _rotating(self, program: dict[int, list[Move]]) -> list[Move]:
        """Moves of single sheets that no program holds, where they are many: a row of trays."""
        folded = {id(one) for own in program.values() for one in own}
        rest = [one for one in self.moves if len(one.sheets) == 1 and one.kind in ("carry", "out")]
        rest = [one for one in rest if id(one) not in folded]
        return rest if program and len(rest) > MANY_LINES else []

    def _grid(self, program: dict[int, list[Move]], left: list[Move]) -> Grid:
        """The program's sentence and a cell a sheet; renewals on the way become marks."""
        marked: dict[int, list[Move]] = {}
        for sheet, own in program.items():
            due = {(one.at, one.target) for one in own}
            marked[sheet] = [
                one for one in left if one.kind == "renew" and (one.at, one.target) in due
            ]
            for one in (*own, *marked[sheet]):
                left.remove(one)
        renewed = list({one.target: one for group in marked.values() for one in group}.values())
        legend = [f"{MARK} first: {self.say(one)}, then this sheet" for one in renewed]
        cells = []
        for sheet, own in program.items():
            mark = f" {MARK}" if marked[sheet] else ""
            cells.append((f"{sheet}{mark}", self.time(own[0].at)))
        sheets = tuple(program)
        starts = [own[0].at for own in program.values()]
        gaps = {round(b - a) for a, b in pairwise(starts)}
        rhythm = f", one every {duration(gaps.pop())}" if len(gaps) == 1 else ""
        return Grid(
            at=starts[0],
            head=f"{names(sheets).capitalize()}{rhythm}: {self._course(program[sheets[0]])}",
            cells=tuple(cells),
            legend=tuple(legend),
        )

    def _course(self, own: list[Move]) -> str:
        """'in F 60 s, drain 10 s, in A 3 min, drain 30 s, into B'."""
        pieces = []
        for one, after in pairwise([*own, None]):
            assert one is not None
            if one.target is None:
                pieces.append("done, to dry")
                continue
            if one.drain:
                pieces.append(f"drain {duration(one.drain)}")
            letter = self.letters[one.target]
            if after is None:
                pieces.append(f"into {letter}")
            else:
                pieces.append(f"in {letter} {duration(after.at - one.at - one.drain)}")
        return ", ".join(pieces)

    def _table(
        self, program: dict[int, list[Move]], rotating: list[Move], left: list[Move]
    ) -> Table:
        """A row a moment, a column a tray; fillings on the way become marks."""
        moments = {one.at for one in rotating}
        rows, basins = {}, sorted({one.target for one in rotating if one.target is not None})
        columns = [*(self.letters[basin] for basin in basins), "dry"]
        renewed = [one for one in left if one.kind == "renew" and one.at in moments]
        for at in sorted(moments):
            cells = dict.fromkeys([*basins, None], "")
            for one in renewed:
                if one.at == at:
                    cells[one.target] = MARK
            for one in rotating:
                if one.at == at:
                    cells[one.target] = f"{cells[one.target]} {one.sheets[0]}".strip()
            rows[self.time(at)] = tuple(cells.values())
        folded = [one for own in program.values() for one in own]
        for one in (*folded, *rotating, *renewed):
            left.remove(one)
        own = next(iter(program.values()))
        wait = next(one.at for one in rotating if one.sheets == own[0].sheets) - own[0].at
        head = (
            f"Next sheet into {self.letters[own[0].target or 0]} {duration(wait)} before each row. "
            f"Then lift each, drain {duration(rotating[0].drain)}, into the tray over its number; "
            f"begin where a tray is free."
        )
        if renewed:
            head += f" {MARK} first dump this tray, refill {poured(renewed[0], self.style.units)}."
        return Table(at=min(moments), head=head, columns=tuple(columns), rows=tuple(rows.items()))

    def _changes(self, left: list[Move]) -> Iterator[Grid]:
        """Long runs of the same change of water, in a rhythm."""
        same = Counter(_change(one) for one in left if one.kind == "renew")
        for key, count in same.items():
            found = [one for one in left if one.kind == "renew" and _change(one) == key]
            gaps = {round(b.at - a.at) for a, b in pairwise(found)}
            if count <= MANY_LINES or len(gaps) > 1:
                continue
            for one in found:
                left.remove(one)
            yield Grid(
                at=found[0].at,
                head=f"{self.say(found[0])}, every {duration(gaps.pop())}",
                cells=tuple((f"{i}.", self.time(one.at)) for i, one in enumerate(found, start=1)),
                dump=True,
            )


def _change(move: Move) -> tuple[int | None, str, bool]:
    return move.target, poured(move), move.occupied


def _ways_of(own: list[Move]) -> list[tuple[str, int | None, int | None, int, int]]:
    """What makes one sheet's moves the same as another's: ways, and times from its own start."""
    return [
        (one.kind, one.source, one.target, round(one.at - own[0].at), round(one.drain))
        for one in own
    ]


def _close_together(found: tuple[Move, ...]) -> frozenset[float]:
    """Moments, s, that whole minutes would show out of step: a neighbour within two minutes."""
    moments = [at for at, _ in groupby(round(one.at, 3) for one in found)]
    near = set()
    for a, b in pairwise(moments):
        if b - a < 120:
            near |= {a, b}
    return frozenset(near)
