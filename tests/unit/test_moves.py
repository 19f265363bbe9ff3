"""What hands do, replayed against the timeline it was read from."""

from __future__ import annotations

import pytest
from hypothesis import given

from tests.unit.evenings import ALL, evenings
from tests.unit.schedules import some
from washsim import files, moves, wording
from washsim.moves import Move


def replay(scenario) -> None:
    """Carry out every move; each must find its sheets where the one before left them."""
    timeline = scenario.timeline
    where: dict[int, int | None] = {}
    last = 0.0
    for one in moves.moves(scenario, timeline):
        assert one.at >= last, "moves are in order of time"
        last = one.at
        if one.kind == "renew":
            others = [s for s, basin in where.items() if basin == one.target]
            # a sheet that leaves, or goes out and back, just then does not lie in the dumped tray
            stays = set(others) - lifted_at(scenario, one.at)
            assert one.occupied == bool(stays)
        for sheet in one.sheets:
            assert where.get(sheet) == one.source
            where[sheet] = one.target
    count = scenario.sheet.count * scenario.sheet.batches + len(scenario.late)
    assert where == dict.fromkeys(range(1, count + 1)), "every sheet ends out of all vessels"


def lifted_at(scenario, at: float) -> set[int]:
    return {
        sheet
        for one in moves.moves(scenario)
        if one.at == at and one.source is not None
        for sheet in one.sheets
    }


def litres(scenario) -> float:
    """Water of the moves: first fillings, changes, taps."""
    timeline = scenario.timeline
    found = moves.moves(scenario, timeline)
    poured = sum(one.volume for one in (*moves.first_fillings(scenario, timeline), *found))
    for i, one in enumerate(found):
        if one.kind == "open":
            shut = next(m for m in found[i:] if m.kind == "close" and m.target == one.target)
            poured += one.flow * (shut.at - one.at)
    return poured


@pytest.mark.parametrize("name", ALL)
def test_examples_and_methods_can_be_carried_out(name):
    replay(ALL[name])


@given(scenario=evenings())
@some(150)
def test_any_evening_can_be_carried_out(scenario):
    replay(scenario)


@given(scenario=evenings())
@some(80)
def test_no_litre_is_lost_between_timeline_and_hands(scenario):
    steps = range(1, len(scenario.steps) + 1)
    timeline = scenario.timeline
    total = sum(timeline.volume(step) for step in steps)
    # the tap is opened as the sheets are lifted, a drain time before they arrive
    early = sum(one.flow for one in moves.moves(scenario)) * scenario.handling.drain
    assert total - 1e-12 <= litres(scenario) <= total + early + 1e-12


def test_letters_leave_f_to_the_fixer():
    transfer = files.example("transfer").timeline
    assert moves.letters(transfer) == ("F", "A", "B", "C", "D", "E", "G", "H")
    assert moves.letters(files.example("two_baths").timeline)[:3] == ("F1", "F2", "A")


def test_a_row_of_trays_empties_from_the_far_end():
    """Nobody can put a sheet into a tray before the sheet ahead has left it."""
    scenario = files.example("transfer")
    for at in {one.at for one in moves.moves(scenario)}:
        carried = [m for m in moves.moves(scenario) if m.at == at and m.kind == "carry"]
        for i, one in enumerate(carried):
            assert all(later.source != one.target for later in carried[i + 1 :])


def test_a_tray_is_dumped_once_its_sheet_has_left():
    scenario = files.example("transfer")
    renewed = [m for m in moves.moves(scenario) if m.kind == "renew"]
    assert len(renewed) == 4  # after sheets 3, 6, 9 and 12 of fourteen
    assert not any(one.occupied for one in renewed)


def test_hands_add_up():
    """14 prints of 3 s to lift, 10 s to drain, 3 s to lay; dump 15 s and 4 L at 10 L/min."""
    found = moves.moves(files.example("demo"))
    assert [one.kind for one in found] == ["in", "carry", *["renew"] * 5, "out"]
    assert found[0].hands == pytest.approx(14 * 3)
    assert found[1].hands == pytest.approx(10 + 14 * 6)
    assert found[2].hands == pytest.approx(15 + 24)


def move(at: float, hands: float) -> Move:
    return Move(at=at, kind="out", hands=hands)


def test_clashes_add_up_their_delays():
    found = moves.clashes((move(0, 50), move(30, 20), move(30, 20), move(60, 5), move(200, 5)))
    # 20 s late at 30; 20 + 40 = 60 s of work from there, so 30 s late at 60; 35 s late, over at 95
    assert [(one.begun, one.due, one.late) for one in found] == [(0, 30, 20), (30, 60, 30)]


def test_time_enough_is_no_clash():
    assert moves.clashes((move(0, 30), move(30, 20), move(50.5, 1))) == ()
    assert moves.clashes(()) == ()


def test_sheets_every_half_minute_are_too_many_for_two_hands():
    slow = files.example("hold_and_changes")
    assert moves.clashes(moves.moves(slow)) == ()
    hurried = slow.but({"sheet.interval": 20.0})
    assert len(moves.clashes(moves.moves(hurried))) > 5


def test_what_is_poured_is_named_where_it_is_not_plain_water():
    aid = ALL["aid"]
    fillings = moves.first_fillings(aid, aid.timeline)
    assert [one.liquid for one in fillings] == ["", "2 % sulfite"]
    sea = moves.moves(ALL["method sea"])
    assert [one.liquid for one in sea if one.kind == "renew"] == ["sea water"] * 3 + [""] * 2
    warm = files.example("demo").but({"steps.1.temperature": 298.15})
    assert moves.first_fillings(warm, warm.timeline)[0].temperature == 298.15
    plain = files.example("demo")
    assert moves.first_fillings(plain, plain.timeline)[0].temperature is None


@pytest.mark.parametrize(("begin", "words"), [("kept", ", its water kept"), ("fresh", "into A")])
def test_a_batch_is_told_that_it_goes_into_kept_water(begin, words):
    scenario = files.example("two_batches").but({"steps.1.begin": begin})
    letters = moves.letters(scenario.timeline)
    told = [wording.say(one, letters) for one in moves.moves(scenario) if one.kind == "carry"]
    assert told[0].endswith("into A")
    assert told[1].endswith(words)
