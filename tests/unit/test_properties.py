"""Invariants of the engine in any evening (the working notes), by property-based tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit import schedules
from tests.unit.schedules import FIXER, some
from washsim.engine import acts, march
from washsim.engine import segment as segments

BOTH = pytest.mark.parametrize(
    ("family", "intervals"), [("even", (4, 10)), ("lobatto", (4, 8))], ids=["even", "lobatto"]
)


@BOTH
@given(events=schedules.evenings(members=3))
@some(60)
def test_the_balance_closes(family, intervals, events):
    """Paper, films, trays and drain hold what was taken in, to 1e-10 of it."""
    evening = schedules.state(schedules.paper(family, intervals, 3), 3, 3)
    for _ in evening.run(events):
        pass
    taken, drained = evening.tally.taken, evening.tally.drained
    assert np.all(np.abs(evening.content() + drained - taken) <= 1e-10 * taken)
    assert np.all(taken > 0)


@given(events=schedules.evenings())
@some(60)
def test_even_nodes_stay_between_zero_and_the_fixer(events):
    """Maximum principle of the text-book scheme, pores, held fixer and water alike."""
    evening = schedules.state(schedules.paper("even", (4, 10)), 3)
    for segment in evening.run(events):
        seconds = np.linspace(0, 1, 7)[None] * (segment.stop - segment.start)[:, None]
        seen = [segment.slab_at(lot, seconds) for lot in segment.parts]
        for values in [*seen, segment.water_at(seconds)]:
            assert values.min() >= -1e-12 * FIXER
            assert values.max() <= FIXER * (1 + 1e-12)


@BOTH
@given(events=schedules.evenings())
@some(40)
def test_a_sheet_gains_only_where_the_water_is_richer(family, intervals, events):
    """The residual falls while both faces are above the water, rises while both are below."""
    kind = schedules.paper(family, intervals)
    evening = schedules.state(kind, 3)
    faces = np.zeros((1, 3, kind.size))
    faces[0, 0, 0] = faces[0, 1, kind.space.size - 1] = 1.0
    faces[0, 2] = kind.capacity[0]
    for segment in evening.run(events):
        seconds = np.linspace(0, 1, 9)[None] * (segment.stop - segment.start)[:, None]
        water = segment.water_at(seconds)[0, :, 0]
        for lot in segment.parts:
            front, back, residual = segment.slab_at(lot, seconds, faces)[0].T
            if segment.tank == segments.AIR:
                assert residual == pytest.approx(np.full(9, residual[0]), rel=1e-11, abs=1e-15)
                continue
            slack = 1e-12 * FIXER * kind.capacity.sum()
            giving = np.all((front >= water) & (back >= water))
            taking = np.all((front <= water) & (back <= water))
            change = np.diff(residual)
            assert not giving or np.all(change <= slack)
            assert not taking or np.all(change >= -slack)


@BOTH
@given(events=schedules.evenings(members=3, most=8))
@some(25)
def test_members_at_once_are_members_one_by_one(family, intervals, events):
    together = schedules.state(schedules.paper(family, intervals, 3), 3, 3)
    for _ in together.run(events):
        pass
    kind = schedules.paper(family, intervals, 3)
    for m in range(3):
        one = slice(m, m + 1)
        alone = replace(
            kind,
            **{
                name: getattr(kind, name)[one]
                for name in ("thickness", "mobile", "flux", "held", "release")
            },
        )
        single = schedules.state(alone, 3)
        for _ in single.run([only(event, one) for event in events]):
            pass
        for a, b in zip(together.lots, single.lots, strict=True):
            assert a.state[one] == pytest.approx(b.state, rel=1e-12, abs=1e-12 * FIXER)
        for a, b in zip(together.tanks[1:], single.tanks[1:], strict=True):
            assert a.moving[one] == pytest.approx(b.moving, rel=1e-12, abs=1e-12 * FIXER)
        assert together.tally.drained[one] == pytest.approx(single.tally.drained, rel=1e-10)


def only(event: acts.Event, member: slice) -> acts.Event:
    """The event of one member."""
    changes = {}
    for name in event.__dataclass_fields__:
        value = getattr(event, name)
        if isinstance(value, np.ndarray):
            changes[name] = value[member]
        elif name == "conditions":
            parts = {
                key: getattr(value, key)[member]
                for key in value.__dataclass_fields__
                if isinstance(getattr(value, key), np.ndarray)
            }
            changes[name] = replace(value, **parts)
    return replace(event, **changes)


@BOTH
@given(events=schedules.evenings(lots=1, most=10), count=st.integers(2, 5))
@some(25)
def test_a_lot_of_n_is_n_lots_of_one(family, intervals, events, count):
    """Sheets with one history, put in one by one or as a heap."""
    kind = schedules.paper(family, intervals)
    area = np.array([0.1])
    heap = march.March([kind], [(0, count * area, np.zeros(1))], 3, 1)
    singles = march.March([kind], [(0, area, np.zeros(1))] * count, 3, 1)
    many = []
    for event in events:
        match event:
            case acts.Lift() | acts.Place() | acts.Expose() | acts.Release():
                many += [replace(event, lot=i) for i in range(count)]
            case _:
                many.append(event)
    events = [
        replace(event, film=count * event.film) if isinstance(event, acts.Lift) else event
        for event in events
    ]
    for one, deeds in ((heap, events), (singles, many)):
        for _ in one.run(deeds):
            pass
    for lot in singles.lots:
        assert lot.state == pytest.approx(heap.lots[0].state, rel=1e-11, abs=1e-12 * FIXER)
    for a, b in zip(heap.tanks[1:], singles.tanks[1:], strict=True):
        assert a.moving == pytest.approx(b.moving, rel=1e-11, abs=1e-12 * FIXER)


@BOTH
@given(events=schedules.evenings(), where=st.integers(0, 1000))
@some(25)
def test_looking_changes_nothing(family, intervals, events, where):
    """An interval cut in two by an idle event gives the same end: time steps are exact."""
    kind = schedules.paper(family, intervals)
    plain, cut = schedules.state(kind, 3), schedules.state(kind, 3)
    for _ in plain.run(events):
        pass
    spot = 6 + where % (len(events) - 6)
    last = next(e for e in reversed(events[:spot]) if isinstance(e, acts.Set) and e.tank == 1)
    idle = replace(last, at=0.5 * (events[spot - 1].at + events[spot].at))
    for _ in cut.run([*events[:spot], idle, *events[spot:]]):
        pass
    for a, b in zip(plain.lots, cut.lots, strict=True):
        assert a.state == pytest.approx(b.state, rel=1e-10, abs=1e-12 * FIXER)
    for a, b in zip(plain.tanks[1:], cut.tanks[1:], strict=True):
        assert a.solute() == pytest.approx(b.solute(), rel=1e-10, abs=1e-15)


@BOTH
@given(events=schedules.evenings(), factor=st.floats(0.01, 3.0))
@some(25)
def test_strength_is_only_a_scale(family, intervals, events, factor):
    """All concentrations times a factor: everything times that factor."""
    kind = schedules.paper(family, intervals)
    scaled = []
    for event in events:
        match event:
            case acts.Set(conditions=at):
                scaled.append(replace(event, conditions=replace(at, supply=factor * at.supply)))
            case acts.Fill(concentration=c):
                scaled.append(replace(event, concentration=factor * c))
            case _:
                scaled.append(event)
    one, other = schedules.state(kind, 3), schedules.state(kind, 3)
    for run, deeds in ((one, events), (other, scaled)):
        for _ in run.run(deeds):
            pass
    for a, b in zip(one.lots, other.lots, strict=True):
        assert factor * a.state == pytest.approx(b.state, rel=1e-11, abs=1e-13 * FIXER)
    assert factor * one.tally.drained == pytest.approx(other.tally.drained, rel=1e-11)
