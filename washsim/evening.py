"""Steps -> timeline: who is where, when, and what water they take."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise

from washsim.errors import InputError
from washsim.fields import one_of
from washsim.materials import Fixing, Handling, Sheet, Vessel, Water
from washsim.recipes import (
    STEPS,
    Aid,
    Bath,
    Drain,
    Hold,
    Late,
    Rinse,
    Running,
    Step,
    Stuck,
    Transfer,
)
from washsim.timeline import (
    Basin,
    Cover,
    Dump,
    Event,
    Fill,
    Flow,
    Lift,
    Lot,
    Place,
    Stage,
    Timeline,
    in_order,
)

Drifting = Bath | Running | Hold
InWater = Drifting | Rinse | Aid | Transfer
MOST_SHEETS = 200
"""In one evening, however many batches they make."""


@dataclass(slots=True)
class _Coming:
    """A lot on its way: when it may leave where it lies, and how long it will drain."""

    lot: int
    ready: float
    drain: float
    hung: bool = False
    sheets: int = 1
    inside: int | None = None
    late: bool = False


@dataclass(slots=True)
class _Writer:
    """Collects the events of an evening."""

    vessels: dict[str, Vessel]
    water: Water
    handling: Handling
    basins: list[Basin] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    stages: list[Stage] = field(default_factory=list)
    filled: dict[int, float] = field(default_factory=dict)
    """When a basin was last in use, s; absent while it is dry."""

    def basin(self, label: str, vessel: Vessel | None) -> int:
        """The number of the basin of that name, made on first call."""
        wanted = Basin(label=label, vessel=vessel)
        if wanted not in self.basins:
            self.basins.append(wanted)
        return self.basins.index(wanted)

    def fresh(self, basin: int, at: float, step: int) -> None:
        """Dump what is in a basin and fill it; at first it holds its puddle of plain water."""
        vessel = self.basins[basin].vessel
        assert vessel is not None, "a fixing bath is never filled here"
        if basin in self.filled:
            self.events.append(Dump(at=at, vessel=basin, puddle=vessel.puddle, step=step))
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.volume, step=step))
        else:
            # the puddle of the rinsed tray is nobody's litre: step -1
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.puddle, step=-1))
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.volume, step=step))
        self.filled[basin] = at

    def begin(self, basin: int, at: float, number: int, step: Drifting) -> None:
        """Fill a basin for a step, unless that keeps what stands there."""
        if step.begin == "fresh" or basin not in self.filled:
            self.fresh(basin, at, number)

    def tap(
        self,
        basin: int,
        at: float,
        step: int,
        spec: InWater,
        rate: float = 0.0,
        warmer: float = 0.0,
        fed_by: int | None = None,
    ) -> None:
        """Say what a basin holds, how warm, and whether water runs through it, and from where."""
        own = self.water.temperature if spec.temperature is None else spec.temperature
        self.events.append(
            Flow(
                at=at,
                vessel=basin,
                water=getattr(spec, "water", None) or "",
                temperature=own + warmer,
                rate=rate,
                step=step,
                fed_by=fed_by,
            )
        )

    def drift(
        self,
        basin: int,
        start: float,
        stop: float,
        step: int,
        spec: Drifting,
        rate: float,
        fed_by: int | None = None,
    ) -> None:
        """Let the temperature run evenly to its end, in steps of at most one kelvin."""
        if spec.temperature_end is None:
            return
        own = self.water.temperature if spec.temperature is None else spec.temperature
        rise = spec.temperature_end - own
        pieces = max(1, math.ceil(abs(rise)))
        for piece in range(pieces):
            at = start + (stop - start) * piece / pieces
            self.tap(basin, at, step, spec, rate, rise * (piece + 0.5) / pieces, fed_by)

    def move(self, coming: _Coming, basin: int, lifted: bool = False) -> float:
        """Carry a lot to a basin unless it lies there already; when it arrives, s.

        lifted: even then, out of the basin and back into it.
        """
        if coming.inside == basin and not lifted:
            return coming.ready
        arrival = coming.ready
        if coming.inside is not None:
            film = self.handling.film(coming.drain)
            self.events.append(Lift(at=coming.ready, lot=coming.lot, film=film))
            arrival += coming.drain
        self.events.append(Place(at=arrival, lot=coming.lot, vessel=basin))
        coming.inside, coming.drain, coming.hung = basin, self.handling.drain, False
        return arrival


@lru_cache(maxsize=64)
def expand(
    sheet: Sheet,
    fixing: Fixing,
    steps: tuple[Step, ...],
    vessels: tuple[Vessel, ...],
    water: Water,
    handling: Handling,
    late: tuple[Late, ...] = (),
    stuck: tuple[Stuck, ...] = (),
) -> Timeline:
    """The evening as a timeline. InputError where steps cannot be carried out as written."""
    if sheet.batches > 1 and (late or stuck):
        where = late[0].step if late else stuck[0].step
        raise InputError(
            f"step {where}: expected one batch where sheets come late or stick, got {sheet.batches}"
        )
    if sheet.batches > 1 and sheet.count * sheet.batches > MOST_SHEETS:
        raise InputError(
            f"step 1: expected at most {MOST_SHEETS} sheets in all batches together, "
            f"got {sheet.count * sheet.batches}"
        )
    writer = _Writer({vessel.name: vessel for vessel in vessels}, water, handling)
    regular = _lots(sheet, stuck, steps)
    guests = [Lot(first=sheet.count + 1 + i, count=1, late=True) for i in range(len(late))]
    lots = [*regular, *guests]
    free = 0.0
    for batch in _by_batch(sheet, regular):
        coming = _fixed(writer, sheet, fixing, lots, batch, free)
        if not writer.stages:
            writer.stages.append(_fixing_stage(fixing, coming))
        for number, step in enumerate(steps, start=1):
            joining = [(len(regular) + i, one) for i, one in enumerate(late) if one.step == number]
            try:
                coming = _carry_out(writer, number, step, coming, joining, fixing, lots)
                _stick(writer, number, lots, [one for one in stuck if one.step == number])
            except InputError as error:
                raise InputError(f"step {number}, {error}") from None
        for one in coming:
            assert one.inside is not None
            film = handling.film(one.drain)
            writer.events.append(Lift(at=one.ready, lot=one.lot, film=film))
        free = max(one.ready for one in coming)
    return Timeline(
        lots=tuple(lots),
        basins=tuple(writer.basins),
        events=in_order(writer.events),
        stages=tuple(writer.stages),
    )


def _by_batch(sheet: Sheet, lots: list[Lot]) -> list[range]:
    """Numbers of the lots of each batch."""
    each = [(lot.first - 1) // sheet.count for lot in lots]
    return [range(each.index(n), each.index(n) + each.count(n)) for n in range(sheet.batches)]


def _fixed(
    writer: _Writer, sheet: Sheet, fixing: Fixing, lots: list[Lot], batch: range, free: float
) -> list[_Coming]:
    """The lots of a batch, fixed so that the first is ready when the wash is free, s."""
    found = []
    takes = fixing.duration + (fixing.baths - 1) * writer.handling.drain
    for place, lot in enumerate(batch):
        enters = max(0.0, free - takes) + place * sheet.interval
        one = _fix(writer, fixing, lot, enters)
        if free > 0:
            # to the last digit, or a vessel would be emptied before the others have left it
            one.ready = free + place * sheet.interval
        one.sheets = lots[lot].count
        found.append(one)
    return found


def _fixing_stage(fixing: Fixing, coming: list[_Coming]) -> Stage:
    return Stage(
        step=0,
        label="fixing",
        start=0.0,
        stop=max(c.ready for c in coming),
        basins=tuple(range(fixing.baths)),
    )


def _slot(sheet: int, count: int, slots: int) -> int:
    """Which of the slots in a row, from 0, sheet number `sheet` of `count` stands in."""
    return min(sheet - 1, count - 1) * slots // count


def _lots(sheet: Sheet, stuck: tuple[Stuck, ...], steps: tuple[Step, ...]) -> list[Lot]:
    """Sheets that are always together share a lot, but for those that stick to something."""
    rows = [step.slots for step in steps if isinstance(step, Running)]

    def places(number: int) -> list[int]:
        """Its batch, and its slot in each row."""
        batch, place = divmod(number - 1, sheet.count)
        return [batch, *(_slot(place + 1, sheet.count, slots) for slots in rows)]

    alone = {number for one in stuck for number in one.covered()}
    if sheet.interval > 0:
        alone = set(range(1, sheet.count * sheet.batches + 1))
    lots: list[Lot] = []
    for number in range(1, sheet.count * sheet.batches + 1):
        last = lots[-1] if lots else None
        apart = last is not None and places(last.first) != places(number)
        if last is None or apart or number in alone or last.first in alone:
            lots.append(Lot(first=number, count=1))
        else:
            lots[-1] = Lot(first=last.first, count=last.count + 1)
    return lots


def _stick(writer: _Writer, number: int, lots: list[Lot], stuck: list[Stuck]) -> None:
    """Cover and uncover the faces of sheets that stick for part of a step."""
    for one in stuck:
        stage = next((s for s in writer.stages if s.step == number), None)
        if stage is None or len(stage.basins) != 1:
            raise InputError("stuck: expected a step in which sheets stay in one vessel")
        vessel = writer.basins[stage.basins[0]].vessel
        assert vessel is not None
        front, back = vessel.faces
        for sheet, face in one.covered().items():
            lot = next((i for i, each in enumerate(lots) if each.first == sheet), None)
            if lot is None:
                last = lots[-1].first + lots[-1].count - 1
                raise InputError(f"stuck: expected a sheet from 1 to {last}, got {sheet}")
            # a sheet in the bath from the step before was never placed in this one
            came = [e.at for e in writer.events if isinstance(e, Place) and e.lot == lot]
            if not came:
                raise InputError(f"stuck: sheet {sheet} has not come yet in this step")
            begin = max(stage.start + one.after, max(came))
            end = min(begin + one.duration, stage.stop)
            if begin >= stage.stop:
                raise InputError(
                    f"stuck, after_min: expected less than {(stage.stop - stage.start) / 60:g}, "
                    f"got {one.after / 60:g}"
                )
            shut = (front * (face != "front"), back * (face != "back"))
            writer.events += [
                Cover(at=begin, lot=lot, begins=True, front=shut[0], back=shut[1]),
                Cover(at=end, lot=lot, begins=False, front=front, back=back),
            ]


def _fix(writer: _Writer, fixing: Fixing, lot: int, start: float) -> _Coming:
    """A lot through one or two fixing baths, each for an equal share of the time."""
    coming = _Coming(lot, start, writer.handling.drain)
    for bath in range(fixing.baths):
        label = "fixer" if fixing.baths == 1 else f"fixer {bath + 1}"
        basin = writer.basin(label, None)
        if basin not in writer.filled:
            writer.filled[basin] = start
            writer.events.append(
                Flow(
                    at=0.0,
                    vessel=basin,
                    water="",
                    temperature=fixing.temperature,
                    rate=0.0,
                    step=0,
                )
            )
        arrival = writer.move(coming, basin)
        coming.ready = arrival + fixing.duration / fixing.baths
    return coming


def _carry_out(
    writer: _Writer,
    number: int,
    step: Step,
    coming: list[_Coming],
    guests: list[tuple[int, Late]],
    fixing: Fixing,
    lots: list[Lot],
) -> list[_Coming]:
    """Write one step; the lots as they leave it."""
    start = min(c.ready for c in coming)
    if isinstance(step, Drain):
        # the first replaces the usual draining, any more are added to it
        begin = start + (coming[0].drain if coming[0].hung else 0.0)
        for one in coming:
            one.drain = step.duration + (one.drain if one.hung else 0.0)
            one.hung = True
        stop = max(one.ready + one.drain for one in coming)
        writer.stages.append(Stage(step=number, label="drain", start=begin, stop=stop, basins=()))
        return coming
    if step.vessel not in writer.vessels:
        known = list(writer.vessels)
        if not known:
            raise InputError(f"vessel: expected a vessel to be described, got {step.vessel!r}")
        raise InputError(f"vessel: expected {one_of(step.vessel, known)}")
    coming = coming + [_guest(writer, number, one, lot, start, fixing) for lot, one in guests]
    coming.sort(key=lambda one: one.ready)
    vessel = writer.vessels[step.vessel]
    basins = _basins(writer, step, vessel)
    _claim(writer, basins, start)
    match step:
        case Rinse() | Aid():
            _each(writer, number, step, coming, basins[0])
        case Running() if len(basins) > 1:
            _in_a_row(writer, number, step, coming, basins, lots)
        case Bath() | Running() | Hold():
            _gather(writer, number, step, coming, basins[0])
        case Transfer():
            _row(writer, number, step, coming, basins)
    stop = max(one.ready for one in coming)
    for basin in basins:
        writer.filled[basin] = stop
    label = next(word for word, kind in STEPS.items() if isinstance(step, kind))
    writer.stages.append(
        Stage(step=number, label=label, start=start, stop=stop, basins=tuple(basins))
    )
    return coming


def _basins(writer: _Writer, step: InWater, vessel: Vessel) -> list[int]:
    """The basins of a step: one, a row of trays, or the slots of a vessel."""
    if isinstance(step, Transfer):
        return [writer.basin(f"{vessel.name} {i + 1}", vessel) for i in range(step.trays)]
    if isinstance(step, Running) and step.slots > 1:
        part = replace(vessel, volume=vessel.volume / step.slots, puddle=vessel.puddle / step.slots)
        return [writer.basin(f"{vessel.name} slot {i + 1}", part) for i in range(step.slots)]
    return [writer.basin(vessel.name, vessel)]


def _claim(writer: _Writer, basins: list[int], start: float) -> None:
    """A basin serves one step at a time."""
    for basin in basins:
        if writer.filled.get(basin, start) > start + 1e-6:
            free = writer.filled[basin] / 60
            raise InputError(
                f"vessel: expected one that is free at {start / 60:g} min, but "
                f"{writer.basins[basin].label!r} is in use until {free:g} min; name another vessel"
            )


def _guest(
    writer: _Writer, number: int, late: Late, lot: int, start: float, fixing: Fixing
) -> _Coming:
    """A late sheet, fixed (and rinsed) so that it joins at its time."""
    drain = writer.handling.drain
    joins = start + late.after
    rinsing = late.rinse_duration + drain if late.rinse_volume > 0 else 0.0
    if late.after < drain:
        raise InputError(
            f"late sheet, after_min: expected at least the {drain:g} s of draining, "
            f"got {late.after / 60:g}"
        )
    enters = joins - drain - rinsing - fixing.duration - (fixing.baths - 1) * drain
    if enters < 0:
        raise InputError(
            f"late sheet, after_min: expected at least {(late.after - enters) / 60:.3g} min, so "
            f"that it can be fixed first, got {late.after / 60:g}"
        )
    coming = _fix(writer, fixing, lot, enters)
    coming.late = True
    if late.rinse_volume > 0:
        bowl = Vessel(name=f"rinse of late sheet {lot + 1}", volume=late.rinse_volume)
        basin = writer.basin(bowl.name, bowl)
        rinse = Rinse(vessel=bowl.name, duration=late.rinse_duration)
        writer.tap(basin, coming.ready, number, rinse)
        writer.fresh(basin, coming.ready, number)
        coming.ready = writer.move(coming, basin) + late.rinse_duration
    return coming


def _each(
    writer: _Writer, number: int, step: Rinse | Aid, coming: list[_Coming], basin: int
) -> None:
    gaps = _gaps(coming)
    if step.sheets_per_fill and gaps and min(gaps) <= 0:
        raise InputError(
            f"sheets_per_fill: expected 0 where sheets come together, got {step.sheets_per_fill}"
        )
    writer.tap(basin, coming[0].ready, number, step)
    for i, one in enumerate(coming):
        if i == 0 or (step.sheets_per_fill and i % step.sheets_per_fill == 0):
            writer.fresh(basin, one.ready, number)
        one.ready = writer.move(one, basin) + step.duration


def _gaps(coming: list[_Coming]) -> list[float]:
    """s between one sheet and the next, in order; nothing between sheets of one lot."""
    gaps = [after.ready - before.ready for before, after in pairwise(coming)]
    return gaps + [0.0 for one in coming if one.sheets > 1]


def _arrive(
    writer: _Writer, number: int, step: Bath | Running | Hold, coming: list[_Coming], basin: int
) -> list[float]:
    """Put the sheets in as they come, renewing a holding bath on the way; when each is in, s."""
    renewals = step.changes if isinstance(step, Hold) else 0
    if renewals and (renewals >= len(coming) or min(_gaps(coming)) <= 0):
        raise InputError(
            f"changes: expected fewer than the sheets that come one by one, got {renewals}"
        )
    arrivals = []
    for i, one in enumerate(coming):
        # the k-th of n renewals comes when k/(n+1) of the sheets are in
        if i and any(i == round(k * len(coming) / (renewals + 1)) for k in range(1, renewals + 1)):
            writer.fresh(basin, one.ready, number)
        if one is coming[-1] and step.duration == 0:
            # nobody waits for anybody any more: the last sheet goes straight on
            arrivals.append(one.ready)
        else:
            arrivals.append(writer.move(one, basin))
    return arrivals


def _gather(
    writer: _Writer, number: int, step: Bath | Running | Hold, coming: list[_Coming], basin: int
) -> None:
    start = coming[0].ready
    rate = writer.vessels[step.vessel].flow if isinstance(step, Running) else 0.0
    if isinstance(step, Running) and rate == 0:
        raise InputError(f"vessel: expected one with flow_l_min above 0, {step.vessel!r} has none")
    writer.tap(basin, start, number, step)
    writer.begin(basin, start, number, step)
    arrivals = _arrive(writer, number, step, coming, basin)
    # running and holding wait for a late sheet; fillings keep their rhythm, it joins one of them
    waited = [at for at, one in zip(arrivals, coming, strict=True) if not one.late]
    now = max(waited if isinstance(step, Bath) else arrivals) + step.duration
    for _ in range(step.baths - 1 if isinstance(step, Bath) else 0):
        writer.fresh(basin, now, number)
        now += step.duration
    if rate:
        writer.tap(basin, arrivals[0], number, step, rate)
    writer.drift(basin, arrivals[0], now, number, step, rate)
    if rate:
        writer.tap(basin, now, number, step)
    if max(arrivals) > now:
        raise InputError(
            f"late sheet, after_min: expected to join before {(now - start) / 60:g} min, when the "
            f"step ends"
        )
    for one in coming:
        one.ready = now


def _in_a_row(
    writer: _Writer,
    number: int,
    step: Running,
    coming: list[_Coming],
    basins: list[int],
    lots: list[Lot],
) -> None:
    """Slots of which each feeds the next; a late sheet stands in the last."""
    rate, start = writer.vessels[step.vessel].flow, coming[0].ready
    if rate == 0:
        raise InputError(f"vessel: expected one with flow_l_min above 0, {step.vessel!r} has none")
    for basin in basins:
        writer.tap(basin, start, number, step)
        writer.begin(basin, start, number, step)
    count = sum(one.sheets for one in coming if not one.late)
    earlier = min(lots[one.lot].first for one in coming) - 1
    arrivals = [
        writer.move(one, basins[_slot(lots[one.lot].first - earlier, count, len(basins))])
        for one in coming
    ]
    now = max(arrivals) + step.duration
    for basin, before in zip(basins, [None, *basins], strict=False):
        writer.tap(basin, arrivals[0], number, step, rate, fed_by=before)
        writer.drift(basin, arrivals[0], now, number, step, rate, before)
        writer.tap(basin, now, number, step)
    for one in coming:
        one.ready = now


def _row(
    writer: _Writer,
    number: int,
    step: Transfer,
    coming: list[_Coming],
    basins: list[int],
) -> None:
    if step.sheets_per_fill and any(abs(step.duration - gap) > 1e-6 for gap in _gaps(coming)):
        raise InputError(
            f"duration_min: expected the time between one sheet and the next when trays are "
            f"renewed, so that all move at once, got {step.duration / 60:g}"
        )
    longest = max(writer.handling.drain, *(one.drain for one in coming))
    if step.duration <= longest:
        raise InputError(
            f"duration_min: expected more than the {longest:g} s of draining, "
            f"got {step.duration / 60:g}"
        )
    for basin in basins:
        writer.tap(basin, coming[0].ready, number, step)
        writer.fresh(basin, coming[0].ready, number)
    renewed = [
        one.ready
        for i, one in enumerate(coming)
        if i and step.sheets_per_fill and i % step.sheets_per_fill == 0
    ]
    trays = len(basins)
    for i, at in enumerate(renewed):
        writer.fresh(basins[i % trays], at, number)
    for one in coming:
        for position in range(trays):
            # each renewal so far has shifted the row by one tray
            shift = sum(at <= one.ready + 1e-6 for at in renewed)
            tick = one.ready
            # of two trays the renewed one takes back the sheet that lay in it
            writer.move(one, basins[(position + shift) % trays], lifted=position > 0)
            one.ready = tick + step.duration
