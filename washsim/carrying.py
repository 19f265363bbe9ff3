"""One step carried out: which basins it takes, how sheets come into it, when they may leave."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from washsim.errors import InputError
from washsim.fields import one_of
from washsim.fixers import Fixing
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
    Transfer,
)
from washsim.timeline import (
    Flow,
    Lot,
    Stage,
)
from washsim.vessels import Vessel
from washsim.writer import Coming, InWater, Writer


def slot_of(sheet: int, count: int, slots: int) -> int:
    """Which of the slots in a row, from 0, sheet number `sheet` of `count` stands in."""
    return min(sheet - 1, count - 1) * slots // count


def fix(writer: Writer, fixing: Fixing, lot: int, start: float) -> Coming:
    """A lot through one or two fixing baths, each for an equal share of the time."""
    coming = Coming(lot, start, writer.handling.drain)
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


def carry_out(
    writer: Writer,
    number: int,
    step: Step,
    coming: list[Coming],
    guests: list[tuple[int, Late]],
    fixing: Fixing,
    lots: list[Lot],
) -> list[Coming]:
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


def _basins(writer: Writer, step: InWater, vessel: Vessel) -> list[int]:
    """The basins of a step: one, a row of trays, or the slots of a vessel."""
    if isinstance(step, Transfer):
        return [writer.basin(f"{vessel.name} {i + 1}", vessel) for i in range(step.trays)]
    if isinstance(step, Running) and step.slots > 1:
        part = replace(vessel, volume=vessel.volume / step.slots, puddle=vessel.puddle / step.slots)
        return [writer.basin(f"{vessel.name} slot {i + 1}", part) for i in range(step.slots)]
    return [writer.basin(vessel.name, vessel)]


def _claim(writer: Writer, basins: list[int], start: float) -> None:
    """A basin serves one step at a time."""
    for basin in basins:
        if writer.filled.get(basin, start) > start + 1e-6:
            free = writer.filled[basin] / 60
            raise InputError(
                f"vessel: expected one that is free at {start / 60:g} min, but "
                f"{writer.basins[basin].label!r} is in use until {free:g} min; name another vessel"
            )


def _guest(
    writer: Writer, number: int, late: Late, lot: int, start: float, fixing: Fixing
) -> Coming:
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
    coming = fix(writer, fixing, lot, enters)
    coming.late = True
    if late.rinse_volume > 0:
        bowl = Vessel(name=f"rinse of late sheet {lot + 1}", volume=late.rinse_volume)
        basin = writer.basin(bowl.name, bowl)
        rinse = Rinse(vessel=bowl.name, duration=late.rinse_duration)
        writer.tap(basin, coming.ready, number, rinse)
        writer.fresh(basin, coming.ready, number)
        coming.ready = writer.move(coming, basin) + late.rinse_duration
    return coming


def _each(writer: Writer, number: int, step: Rinse | Aid, coming: list[Coming], basin: int) -> None:
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


def _gaps(coming: list[Coming]) -> list[float]:
    """s between one sheet and the next, in order; nothing between sheets of one lot."""
    gaps = [after.ready - before.ready for before, after in pairwise(coming)]
    return gaps + [0.0 for one in coming if one.sheets > 1]


def _arrive(
    writer: Writer, number: int, step: Bath | Running | Hold, coming: list[Coming], basin: int
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
    writer: Writer, number: int, step: Bath | Running | Hold, coming: list[Coming], basin: int
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
    writer: Writer,
    number: int,
    step: Running,
    coming: list[Coming],
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
        writer.move(one, basins[slot_of(lots[one.lot].first - earlier, count, len(basins))])
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
    writer: Writer,
    number: int,
    step: Transfer,
    coming: list[Coming],
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
