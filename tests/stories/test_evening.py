"""An evening as a whole: prints that come one by one, two ways to wash them, and the wall sheet.

Digits of residuals are those of the working notes' own scoping script, good to 5 % as they say.
"""

from __future__ import annotations

import pytest

from tests.stories.bench import running, washed
from washsim import ledger, moves
from washsim.wall_sheet import Line, wall_sheet
from washsim.wording import Style

SHEETS = "count = 14\ninterval_min = 8"
FILM = 'film_um = 100\nstirring = "perfect"'
HOLD = f"""
[vessels.holding]
volume_l = 10
puddle_l = 0.3
{FILM}
[vessels.tray]
volume_l = 10
puddle_l = 0.3
{FILM}
[[steps]]
kind = "hold"
vessel = "holding"
changes = 1
[[steps]]
kind = "bath"
vessel = "tray"
baths = 5
duration_min = 10
"""
SEVEN = Style(start=19 * 3600)
FIXED = 5
"""min in the fixer: the first print leaves it at 19:05 if it goes in at 19:00."""


@pytest.fixture(scope="module")
def held():
    return washed("slab", HOLD, sheet=SHEETS)


@pytest.fixture(scope="module")
def run():
    return washed("slab", running(20, 4, 48, FILM), sheet=SHEETS)


def test_s4_a_tenth_of_the_water_ends_within_minutes_of_the_tap(held, run):
    *others, last = (1e3 * x for x in held.final_residual)
    assert last == pytest.approx(0.0094, rel=0.05)
    assert max(others) <= 0.0035
    assert 1e3 * held.litres_total == pytest.approx(10 + 10 + 5 * 10)
    # 104 min from the first print to the last and 48 min after it, at 4 L/min, and the filling
    assert 1e3 * run.litres_total == pytest.approx(152 * 4 + 20)
    # the last print leaves the fixer at 20:49; then 48 min and five baths of 10
    assert run.run.timeline.end == pytest.approx(60 * (FIXED + 104 + 48))
    assert held.run.timeline.end == pytest.approx(60 * (FIXED + 104 + 50))


def test_s4_clock_lines_and_litres(held, run):
    for result, ends, water in ((held, "21:39", "70 L"), (run, "21:37", "628 L")):
        sheet = wall_sheet(result.scenario, SEVEN)
        assert sheet.span == f"19:00 to {ends} · {water} of water"
    lines = [block for block in wall_sheet(held.scenario, SEVEN).blocks if isinstance(block, Line)]
    assert [(one.clock, one.text) for one in lines if one.dump] == [
        (clock, "Dump B, refill 10 L, sheets stay in")
        for clock in ("20:59", "21:09", "21:19", "21:29")
    ]
    assert moves.clashes(moves.moves(held.scenario)) == (), "two hands suffice"


def test_s4_the_ledger_sets_both_side_by_side(held, run):
    saved = ledger.ledger(run).evening.water - ledger.ledger(held).evening.water
    assert 1e3 * saved == pytest.approx(558)


def test_s27_four_hours_of_running_water():
    """960 L run and 20 L to fill; an hour would have taken 260."""
    result = washed("slab", running(20, 4, 240, FILM), sheet="count = 14")
    found = ledger.ledger(result)
    assert 1e3 * found.evening.water == pytest.approx(980)
    assert "720 L less than this" in ledger.sentence(found)
    assert result.minutes_to_target == pytest.approx(47, abs=1)
