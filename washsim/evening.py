"""Steps -> timeline: who is where, when, and what water they take."""

from __future__ import annotations

from functools import lru_cache

from washsim.carrying import carry_out, fix, slot_of
from washsim.errors import InputError
from washsim.fixers import Fixing
from washsim.papers import Sheet
from washsim.recipes import (
    Late,
    Running,
    Step,
    Stuck,
)
from washsim.timeline import (
    Cover,
    Lift,
    Lot,
    Place,
    Stage,
    Timeline,
    in_order,
)
from washsim.vessels import Handling, Vessel, Water
from washsim.writer import Coming, Writer

MOST_SHEETS = 200
"""In one evening, however many batches they make."""


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
    writer = Writer({vessel.name: vessel for vessel in vessels}, water, handling)
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
                coming = carry_out(writer, number, step, coming, joining, fixing, lots)
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
    writer: Writer, sheet: Sheet, fixing: Fixing, lots: list[Lot], batch: range, free: float
) -> list[Coming]:
    """The lots of a batch, fixed so that the first is ready when the wash is free, s."""
    found = []
    takes = fixing.duration + (fixing.baths - 1) * writer.handling.drain
    for place, lot in enumerate(batch):
        enters = max(0.0, free - takes) + place * sheet.interval
        one = fix(writer, fixing, lot, enters)
        if free > 0:
            # to the last digit, or a vessel would be emptied before the others have left it
            one.ready = free + place * sheet.interval
        one.sheets = lots[lot].count
        found.append(one)
    return found


def _fixing_stage(fixing: Fixing, coming: list[Coming]) -> Stage:
    return Stage(
        step=0,
        label="fixing",
        start=0.0,
        stop=max(c.ready for c in coming),
        basins=tuple(range(fixing.baths)),
    )


def _lots(sheet: Sheet, stuck: tuple[Stuck, ...], steps: tuple[Step, ...]) -> list[Lot]:
    """Sheets that are always together share a lot, but for those that stick to something."""
    rows = [step.slots for step in steps if isinstance(step, Running)]

    def places(number: int) -> list[int]:
        """Its batch, and its slot in each row."""
        batch, place = divmod(number - 1, sheet.count)
        return [batch, *(slot_of(place + 1, sheet.count, slots) for slots in rows)]

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


def _stick(writer: Writer, number: int, lots: list[Lot], stuck: list[Stuck]) -> None:
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
