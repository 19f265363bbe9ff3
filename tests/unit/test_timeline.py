"""Recipes as they expand: who is where and when, and the water it takes, counted by hand."""

from __future__ import annotations

import pytest
from hypothesis import event as note
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.drawn import EVERYTHING
from washsim import files
from washsim.errors import InputError
from washsim.liquids import film_after_drain
from washsim.timeline import Cover, Dump, Fill, Flow, Lift, Place, Timeline

HEAD = f"""
format = "{files.FORMAT}"
[vessels.tray]
volume_l = 4
puddle_l = 0.3
[vessels.tub]
volume_l = 20
flow_l_min = 4
[vessels.small]
volume_l = 2
"""
FIX, DRAIN = 60.0, 10.0
"""Seconds, the defaults of fixing and handling."""


def evening(*steps: str, sheet: str = "", more: str = "") -> Timeline:
    """The timeline of steps, each written as 'kind vessel key = value, key = value'."""
    text = HEAD + "".join(f"[sheet]\n{sheet}\n" if sheet else "") + more
    for step in steps:
        kind, vessel, *pairs = step.split(" ", 2)
        named = "" if vessel == "-" else f'vessel = "{vessel}"\n'
        keys = "\n".join(pair.strip() for pair in "".join(pairs).split(","))
        text += f'[[steps]]\nkind = "{kind}"\n{named}{keys}\n'
    return files.loads(text).timeline


def of(timeline: Timeline, kind: type, **equal) -> list:
    return [
        event
        for event in timeline.events
        if isinstance(event, kind) and all(getattr(event, k) == v for k, v in equal.items())
    ]


def times(events: list) -> list[float]:
    return [event.at for event in events]


def litres(timeline: Timeline, step: int = 1) -> float:
    return 1e3 * timeline.volume(step)


def basin(timeline: Timeline, label: str) -> int:
    return [one.label for one in timeline.basins].index(label)


ONE_BY_ONE = "count = 14\ninterval_min = 8"
GAP = 8 * 60.0
LEAVE = [FIX + GAP * i for i in range(14)]
"""When each of fourteen sheets leaves the fixer."""


# standing baths


def test_a_bath_is_filled_dumped_and_filled_again():
    found = evening("bath tray baths = 3, duration_min = 10", sheet="count = 14")
    assert [(lot.first, lot.count) for lot in found.lots] == [(1, 14)]
    tray = basin(found, "tray")
    arrive = FIX + DRAIN
    assert times(of(found, Place)) == [0.0, arrive]
    assert times(of(found, Lift)) == [FIX, arrive + 1800]
    # the puddle of a rinsed tray counts as nobody's litre
    assert [(e.at, 1e3 * e.volume, e.step) for e in of(found, Fill, vessel=tray)] == [
        (FIX, pytest.approx(0.3), -1),
        (FIX, pytest.approx(4), 1),
        (arrive + 600, pytest.approx(4), 1),
        (arrive + 1200, pytest.approx(4), 1),
    ]
    assert times(of(found, Dump)) == [arrive + 600, arrive + 1200]
    assert {1e3 * e.puddle for e in of(found, Dump)} == {0.3}
    assert litres(found) == pytest.approx(12)
    assert found.end == arrive + 1800


def test_a_bath_counts_from_when_all_are_in():
    found = evening("bath tray baths = 2, duration_min = 10", sheet=ONE_BY_ONE)
    tray = basin(found, "tray")
    assert times(of(found, Place, vessel=tray)) == [at + DRAIN for at in LEAVE]
    assert times(of(found, Dump)) == [LEAVE[-1] + DRAIN + 600]
    assert set(times(of(found, Lift))[14:]) == {LEAVE[-1] + DRAIN + 1200}


def test_steps_in_one_vessel_do_not_lift_the_sheets():
    found = evening("bath tray duration_min = 10", "bath tray duration_min = 5")
    assert len(of(found, Place)) == 2  # fixer, tray
    assert times(of(found, Dump)) == [FIX + DRAIN + 600]
    assert [litres(found, 1), litres(found, 2)] == pytest.approx([4, 4])


# holding


@pytest.mark.parametrize("changes", [0, 1, 2, 6, 13])
def test_holding_renews_as_often_as_said_spread_over_the_sheets(changes):
    steps = (f"hold tub changes = {changes}", "bath small duration_min = 5")
    found = evening(*steps, sheet=ONE_BY_ONE)
    tub = basin(found, "tub")
    assert litres(found) == pytest.approx(20 * (changes + 1))
    renewed = times(of(found, Dump, vessel=tub))
    assert len(renewed) == changes
    arrive = times(of(found, Place, vessel=tub))
    for number, at in enumerate(renewed, start=1):
        inside = sum(one < at for one in arrive)
        assert inside == pytest.approx(number * 14 / (changes + 1), abs=0.5)


def test_holding_ends_when_the_last_has_come_and_the_last_does_not_wait():
    found = evening("hold tub changes = 1", "bath tray duration_min = 5", sheet=ONE_BY_ONE)
    tub, tray = basin(found, "tub"), basin(found, "tray")
    assert [e.lot for e in of(found, Place, vessel=tub)] == list(range(13))
    # the others are lifted as the last leaves the fixer, and all go into the tray together
    assert set(times(of(found, Place, vessel=tray))) == {LEAVE[-1] + DRAIN}
    assert found.stages[1].stop == LEAVE[-1]


def test_holding_on_after_the_last():
    found = evening("hold tub duration_min = 3", sheet=ONE_BY_ONE)
    tub = basin(found, "tub")
    assert len(of(found, Place, vessel=tub)) == 14
    assert found.end == LEAVE[-1] + DRAIN + 180


# running water


def test_running_takes_one_filling_and_the_flow():
    found = evening("running tub duration_min = 60", sheet="count = 14")
    assert litres(found) == pytest.approx(20 + 4 * 60)
    ((_, start, stop, rate),) = found.runs(1)
    assert (start, stop) == (FIX + DRAIN, FIX + DRAIN + 3600)
    assert rate == pytest.approx(4e-3 / 60)


def test_the_tap_runs_from_the_first_sheet_on():
    found = evening("running tub duration_min = 60", sheet=ONE_BY_ONE)
    assert litres(found) == pytest.approx(20 + 4 * (13 * 8 + 60))
    ((_, start, stop, _),) = found.runs(1)
    assert (start, stop) == (LEAVE[0] + DRAIN, LEAVE[-1] + DRAIN + 3600)


def test_a_drifting_temperature_takes_no_more_water():
    steady = evening("running tub duration_min = 60, temperature_c = 25")
    drifting = evening("running tub duration_min = 60, temperature_c = 25, temperature_end_c = 18")
    assert litres(drifting) == pytest.approx(litres(steady), rel=1e-12)
    # seven kelvin in seven stretches, each at its middle; of two settings at once the last counts
    warmth = {e.at: e.temperature - 273.15 for e in of(drifting, Flow, vessel=1) if e.rate > 0}
    assert list(warmth.values()) == pytest.approx([24.5 - i for i in range(7)], abs=1e-9)
    assert list(warmth) == pytest.approx([FIX + DRAIN + 3600 / 7 * i for i in range(7)])


# one after the other


@pytest.mark.parametrize(("every", "fillings"), [(0, 1), (1, 14), (3, 5), (5, 3), (14, 1), (20, 1)])
@pytest.mark.parametrize("kind", ["rinse", "aid"])
def test_a_rinse_is_made_fresh_after_so_many_sheets(kind, every, fillings):
    found = evening(f"{kind} small duration_min = 2, sheets_per_fill = {every}", sheet=ONE_BY_ONE)
    small = basin(found, "small")
    assert litres(found) == pytest.approx(2 * fillings)
    placed, lifted = of(found, Place, vessel=small), of(found, Lift)[-14:]
    assert times(placed) == [at + DRAIN for at in LEAVE]
    stays = {e.lot: e.at for e in placed}
    for lot in range(14):
        out = max(e.at for e in of(found, Lift, lot=lot))
        assert out - stays[lot] == pytest.approx(120)
    assert len(lifted) == 14
    assert times(of(found, Dump)) == LEAVE[every::every] if every else not of(found, Dump)


# rows of trays

K_AND_LITRES = [(4, 16), (6, 20), (7, 22)]
"""Fourteen sheets, 2 L trays, one renewed for every three sheets: k first fillings, four more."""


def row(trays: int, every: int = 3) -> Timeline:
    return evening(
        f"transfer small trays = {trays}, duration_min = 8, sheets_per_fill = {every}",
        sheet=ONE_BY_ONE,
    )


TRAYS = [1, 2, 3, 4, 6, 7]


@pytest.mark.parametrize(("trays", "total"), K_AND_LITRES)
def test_water_of_a_row_of_trays(trays, total):
    found = row(trays)
    assert litres(found) == pytest.approx(total)
    # trays first filled, then one after 3, 6, 9 and 12 sheets
    assert times(of(found, Dump)) == [LEAVE[3], LEAVE[6], LEAVE[9], LEAVE[12]]
    assert litres(row(trays, every=0)) == pytest.approx(2 * trays)


@pytest.mark.parametrize("trays", TRAYS)
def test_each_sheet_goes_through_all_trays_towards_the_cleanest(trays):
    found = row(trays)
    for lot in range(14):
        came = of(found, Place, lot=lot)[1:]
        assert len(came) == trays
        # a move every eight minutes, draining included
        assert times(came) == [LEAVE[lot] + DRAIN + GAP * i for i in range(trays)]
        # every tray was filled later than the one before, as that was when the sheet lay in it
        filled = [
            (max(e.at for e in of(found, Fill, vessel=here.vessel) if e.at <= here.at), here.at)
            for here in came
        ]
        assert filled == sorted(filled)
        # and the last is the cleanest there is
        newest = max(e.at for e in of(found, Fill) if e.at <= came[-1].at)
        assert filled[-1][0] == newest


@pytest.mark.parametrize("trays", TRAYS)
def test_a_tray_is_dumped_only_when_empty_and_no_two_sheets_meet(trays):
    found = row(trays)
    inside: dict[int, set[int]] = {}
    where: dict[int, int] = {}
    for event in found.events:
        if isinstance(event, Place):
            inside.setdefault(event.vessel, set()).add(event.lot)
            where[event.lot] = event.vessel
            assert event.vessel == 0 or len(inside[event.vessel]) == 1
        elif isinstance(event, Lift):
            inside[where.pop(event.lot)].remove(event.lot)
        elif isinstance(event, Dump):
            assert not inside.get(event.vessel)


# between the steps


def test_two_fixing_baths_share_the_time():
    found = evening("bath tray duration_min = 10", more="[fixing]\nduration_s = 90\nbaths = 2\n")
    first, second = basin(found, "fixer 1"), basin(found, "fixer 2")
    assert [(e.at, e.vessel) for e in of(found, Place)][:2] == [(0, first), (45 + DRAIN, second)]
    assert times(of(found, Lift))[:2] == [45, 90 + DRAIN]
    assert found.basins[first].vessel is found.basins[second].vessel is None


def test_a_drain_replaces_the_usual_draining():
    found = evening("drain - duration_s = 30", "bath tray duration_min = 10")
    assert times(of(found, Place)) == [0, FIX + 30]
    first, last = of(found, Lift)
    assert first.film == pytest.approx(film_after_drain(30))
    assert last.film == pytest.approx(film_after_drain(DRAIN))
    assert found.volume(1) == 0
    assert [(one.start, one.stop, one.basins) for one in found.stages if one.step == 1] == [
        (FIX, FIX + 30, ())
    ]


def test_a_drain_between_two_baths_of_one_tray_lifts_the_sheets():
    """They hang for two minutes and go back: less of the old water is carried into the new."""
    found = evening(
        "bath tray duration_min = 10", "drain - duration_s = 120", "bath tray duration_min = 5"
    )
    begin = FIX + DRAIN
    hung, back = begin + 600, begin + 600 + 120
    assert times(of(found, Place)) == [0, begin, back]
    assert times(of(found, Lift)) == [FIX, hung, back + 300]
    assert times(of(found, Dump)) == [hung]
    films = [film_after_drain(DRAIN), film_after_drain(120), film_after_drain(DRAIN)]
    assert [one.film for one in of(found, Lift)] == pytest.approx(films)


def test_drains_in_a_row_add_up():
    found = evening(
        "drain - duration_s = 30", "drain - duration_s = 20", "bath tray duration_min = 9"
    )
    assert times(of(found, Place)) == [0, FIX + 50]
    assert [(one.start - FIX, one.stop - FIX) for one in found.stages[1:3]] == [(0, 30), (30, 50)]


def test_carry_over_as_said_whatever_the_draining():
    found = evening("bath tray duration_min = 10", more="[handling]\ncarry_over_ml_m2 = 55\n")
    assert [e.film for e in of(found, Lift)] == pytest.approx([55e-6, 55e-6])


# late sheets


def late(step: int, after: float, rinse: float = 0.0) -> str:
    text = f"[[late]]\nstep = {step}\nafter_min = {after}\n"
    return text + (f"rinse_volume_l = {rinse}\nrinse_duration_min = 2\n" if rinse else "")


def test_a_late_sheet_joins_at_its_time_and_running_waits_for_it():
    found = evening("running tub duration_min = 60", sheet="count = 14", more=late(1, 30))
    start = found.stages[1].start
    assert [(lot.first, lot.count, lot.late) for lot in found.lots] == [
        (1, 14, False),
        (15, 1, True),
    ]
    assert times(of(found, Place, lot=1)) == [start + 1800 - DRAIN - FIX, start + 1800]
    assert set(times(of(found, Lift))[2:]) == {start + 1800 + 3600}
    assert litres(found) == pytest.approx(20 + 4 * (30 + 60 - DRAIN / 60))


def test_a_late_sheet_does_not_stop_the_rhythm_of_the_baths():
    plain = evening("bath tray baths = 3, duration_min = 10")
    found = evening("bath tray baths = 3, duration_min = 10", more=late(1, 15))
    assert times(of(found, Dump)) == times(of(plain, Dump))
    assert found.end == plain.end
    assert litres(found) == pytest.approx(12)


def test_a_late_sheet_may_be_rinsed_first():
    found = evening("bath tray duration_min = 30", more=late(1, 15, rinse=1.5))
    start = found.stages[1].start
    bowl = basin(found, "rinse of late sheet 2")
    ((placed, lifted),) = zip(
        of(found, Place, lot=1, vessel=bowl), of(found, Lift, lot=1)[1:2], strict=True
    )
    assert lifted.at - placed.at == pytest.approx(120)
    assert times(of(found, Place, lot=1))[-1] == pytest.approx(start + 900)
    assert litres(found) == pytest.approx(4 + 1.5)


# what cannot be carried out


@pytest.mark.parametrize(
    ("steps", "keys", "message"),
    [
        (["bath trai duration_min = 1"], {}, "step 1, vessel: expected "),
        (["running tray duration_min = 1"], {}, "step 1, vessel: expected one with flow_l_min "),
        (
            ["rinse tray duration_min = 10", "bath tray duration_min = 1"],
            {"sheet": ONE_BY_ONE},
            "step 2, vessel: expected one that is free at 11.1667 min, but 'tray' is in use until",
        ),
        (
            ["transfer small trays = 3, duration_min = 5, sheets_per_fill = 3"],
            {"sheet": ONE_BY_ONE},
            "step 1, duration_min: expected the time between one sheet and the next when trays",
        ),
        (
            ["transfer small trays = 3, duration_min = 0.1"],
            {},
            "step 1, duration_min: expected more than the 10 s of draining, got 0.1",
        ),
        (
            ["drain - duration_s = 3", "bath tray duration_min = 10"],
            {"more": late(2, 0)},
            "step 2, late sheet, after_min: expected at least ",
        ),
        (
            ["bath tray duration_min = 10"],
            {"more": late(1, 11)},
            "step 1, late sheet, after_min: expected to join before ",
        ),
    ],
)
def test_steps_that_cannot_be_carried_out(steps, keys, message):
    with pytest.raises(InputError) as told:
        evening(*steps, **keys)
    assert str(told.value).startswith(message)


# whatever the evening


@st.composite
def evenings(draw) -> str:
    """Up to five steps, each in a vessel of its own."""
    count, interval = draw(st.integers(1, 6)), draw(st.sampled_from([0, 0.5, 8]))
    text = f"[sheet]\ncount = {count}\ninterval_min = {interval}\n"
    text += (
        f"[fixing]\nduration_s = {draw(st.integers(1, 300))}\nbaths = {draw(st.integers(1, 2))}\n"
    )
    text += f"[handling]\ndrain_s = {draw(st.integers(0, 20))}\n"
    minutes = st.sampled_from(["0.5", "1", "8", "33.3"])
    kinds = st.sampled_from(["rinse", "aid", "bath", "running", "hold", "transfer", "drain"])
    chosen = draw(st.lists(kinds, min_size=1, max_size=5))
    for number, kind in enumerate(chosen, start=1):
        keys = {"duration_min": draw(minutes), "vessel": f'"v{number}"'}
        if kind == "drain":
            keys = {"duration_s": str(draw(st.integers(0, 100)))}
        elif kind in ("rinse", "aid"):
            keys["sheets_per_fill"] = str(draw(st.integers(0, 4)))
        elif kind == "bath":
            keys["baths"] = str(draw(st.integers(1, 4)))
        elif kind == "hold":
            keys["changes"] = str(draw(st.integers(0, 3)))
        elif kind == "transfer":
            keys["trays"] = str(draw(st.integers(1, 4)))
        text += f"[vessels.v{number}]\nvolume_l = 3\nflow_l_min = 1\npuddle_l = 0.2\n"
        text += f'[[steps]]\nkind = "{kind}"\n' + "".join(f"{k} = {v}\n" for k, v in keys.items())
    return f'format = "{files.FORMAT}"\n[vessels]\n{text}'


def test_a_batch_leaves_the_fixer_as_the_one_before_leaves_the_wash() -> None:
    """Two batches of three, ten minutes each: fixed for 60 s, so the second enters at 600 s."""
    found = evening("bath tray duration_min = 5, baths = 2", sheet="count = 3\nbatches = 2")
    assert [(lot.first, lot.count) for lot in found.lots] == [(1, 3), (4, 3)]
    washed = FIX + DRAIN + 600
    assert times(of(found, Place, lot=1)) == [washed - FIX, washed + DRAIN]
    assert times(of(found, Lift, lot=0)) == [FIX, washed]
    assert found.stages[-1].stop == washed + DRAIN + 600
    assert litres(found) == pytest.approx(16)
    consistent(found)


def test_kept_water_is_poured_once() -> None:
    """The last filling of a batch is the first of the next: seven fillings for two times four."""
    step = 'bath tray duration_min = 5, baths = 4, begin = "kept"'
    found = evening(step, sheet="count = 3\nbatches = 2")
    assert litres(found) == pytest.approx(7 * 4)
    came = times(of(found, Place, vessel=basin(found, "tray")))[1]
    assert not [e for e in of(found, Dump) if came - DRAIN <= e.at <= came]
    assert litres(evening(step, sheet="count = 3\nbatches = 3")) == pytest.approx(10 * 4)
    consistent(found)


def test_a_holding_bath_may_be_kept() -> None:
    found = evening(
        "hold tray changes = 0",
        'bath tray duration_min = 5, baths = 2, begin = "kept"',
        sheet="count = 3\ninterval_min = 2",
    )
    assert (litres(found, 1), litres(found, 2)) == (pytest.approx(4), pytest.approx(4))
    assert times(of(found, Dump)) == [found.stages[2].stop - 300]
    consistent(found)


def test_water_kept_under_the_tap() -> None:
    found = evening('running tub duration_min = 10, begin = "kept"', sheet="count = 3\nbatches = 2")
    assert litres(found) == pytest.approx(20 + 2 * 40)


def test_an_evening_has_an_end() -> None:
    with pytest.raises(InputError, match=r"step 1: expected at most 200 sheets .* got 240"):
        evening("bath tray duration_min = 5", sheet="count = 20\nbatches = 12")


@pytest.mark.parametrize(
    "more",
    [
        "[[late]]\nstep = 1\nafter_min = 3\n",
        '[[stuck]]\nstep = 1\nsheet = 1\nhow = "back_to_wall"\n',
    ],
)
def test_late_and_stuck_sheets_want_one_batch(more: str) -> None:
    with pytest.raises(
        InputError, match="step 1: expected one batch where sheets come late or stick, got 2"
    ):
        evening("bath tray duration_min = 5", sheet="count = 3\nbatches = 2", more=more)


ORDER = {Lift: 1, Dump: 2, Flow: 3, Fill: 4, Place: 5}
"""At one time; where a cover begins and ends is a matter of its own."""


def consistent(timeline: Timeline) -> None:
    """What holds for every timeline, whatever the steps."""
    when = times(timeline.events)
    assert when == sorted(when)
    assert when[0] == 0
    # sheets may still hang in the air after the last event
    assert timeline.end == max(when[-1], timeline.stages[-1].stop)
    keys = [(e.at, ORDER[type(e)]) for e in timeline.events if not isinstance(e, Cover)]
    assert keys == sorted(keys)
    for lot in range(len(timeline.lots)):
        moves = [e for e in timeline.events if isinstance(e, Place | Lift) and e.lot == lot]
        # every lot goes in and is lifted, in turns, and ends in the air
        assert [type(e) for e in moves] == [Place, Lift] * (len(moves) // 2)
        assert timeline.basins[moves[0].vessel].vessel is None
        stays = list(zip(moves[::2], moves[1::2], strict=True))
        assert all(came.at <= went.at for came, went in stays)
        assert all(went.film >= 0 for _, went in stays)
    holds: dict[int, float] = {}
    for event in timeline.events:
        match event:
            case Fill(vessel=vessel, volume=volume, step=step):
                assert volume >= 0
                spec = timeline.basins[vessel].vessel
                holds[vessel] = holds.get(vessel, 0.0) + volume
                # one filling on top of the puddle, never two
                if step >= 0:
                    assert holds[vessel] == pytest.approx(spec.volume + spec.puddle, rel=1e-12)
            case Dump(vessel=vessel, puddle=puddle):
                assert holds[vessel] >= puddle
                holds[vessel] = puddle
            case Place(vessel=vessel):
                assert timeline.basins[vessel].vessel is None or holds[vessel] > 0
    for stage in timeline.stages:
        assert stage.start <= stage.stop <= timeline.end
        assert timeline.volume(stage.step) >= 0
    filled = sum(e.volume for e in of(timeline, Fill) if e.step >= 0)
    run = sum(
        rate * (stop - start)
        for step in {stage.step for stage in timeline.stages}
        for _, start, stop, rate in timeline.runs(step)
    )
    total = timeline.fresh_water
    assert total == pytest.approx(filled + run, rel=1e-12)


@settings(max_examples=150, deadline=None)
@given(evenings())
def test_every_evening_is_consistent_or_refused(text):
    try:
        timeline = files.loads(text).timeline
    except InputError as error:
        note("refused")
        if not str(error).startswith("step "):
            raise
    else:
        note("carried out")
        consistent(timeline)


def test_a_sheet_that_has_not_come_cannot_stick():
    stuck = "[[stuck]]\nsheet = 2\nhow = 'back_to_wall'\nstep = 1\n"
    with pytest.raises(InputError, match="step 1, stuck"):
        evening(*["bath tray duration_min = 9"] * 2, more=late(2, 5) + stuck)


def test_a_drain_longer_than_the_time_between_trays():
    steps = ("drain - duration_s = 40", "transfer small trays = 2, duration_min = 0.5")
    with pytest.raises(InputError, match="step 3, duration_min: expected more than"):
        evening("rinse tray duration_min = 1", *steps)


@pytest.mark.parametrize("name", files.examples())
def test_every_example_is_consistent(name):
    consistent(files.example(name).timeline)


def test_one_of_each_is_consistent():
    consistent(files.loads(EVERYTHING).timeline)
