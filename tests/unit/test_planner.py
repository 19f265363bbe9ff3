"""The planner's manners: what it refuses, tells, and says when nothing fits."""

from __future__ import annotations

from itertools import pairwise

import pytest

from washsim import files, planner, plans, unknowns
from washsim.band import ACCURACY, solve_band
from washsim.errors import InputError
from washsim.plans import Wish
from washsim.recipes import Bath, Late, Running
from washsim.solve import solve
from washsim.units import celsius
from washsim.unknowns import NOMINAL

MINUTE = 60.0
HOUR = Wish(seconds=60 * MINUTE)


@pytest.fixture(scope="module")
def demo_front() -> plans.Front:
    return planner.plan(files.example("demo"), HOUR)


def test_plans_keep_time_and_chance_and_beat_each_other(demo_front) -> None:
    found = demo_front.plans
    assert len(found) >= 3
    for one in found:
        assert one.chance >= 0.9
        assert one.seconds <= HOUR.seconds
        assert one.residual <= one.scenario.target.limit
    for quick, slow in pairwise(found):
        assert quick.seconds < slow.seconds
        assert quick.volume > slow.volume
    assert demo_front.closest is None
    assert demo_front.soonest is None


def test_a_plan_is_a_scenario_that_comes_to_what_it_says(demo_front) -> None:
    for one in (demo_front.own, demo_front.plans[-1]):
        again = files.loads(files.dumps(one.scenario))
        band = solve_band(again, demo_front.sample)
        # on other nodes: a draw that lies within a hundredth of the target may change sides
        assert band.chance == pytest.approx(one.chance, abs=2 / 256)
        assert band.nominal.litres_total == pytest.approx(one.volume)
        timeline = again.timeline
        left_fixer = band.nominal.run.left_fixer[0]
        assert timeline.end - left_fixer == pytest.approx(one.seconds)


def test_own_schedule_is_beaten_with_less_water_in_its_time(demo_front) -> None:
    assert demo_front.own.volume == pytest.approx(24e-3)
    assert demo_front.plans[-1].volume < 0.6 * demo_front.own.volume


def test_no_plan_in_no_time_says_what_is_closest_and_soonest() -> None:
    few = unknowns.draw(files.example("demo"), 32)
    front = planner.plan(files.example("demo"), Wish(seconds=20 * MINUTE), few)
    assert front.plans == ()
    assert front.closest.chance < 0.9
    assert front.closest.seconds <= 20 * MINUTE
    assert front.soonest.chance >= 0.9
    assert front.soonest.seconds > 20 * MINUTE


def test_still_water_is_planned_with() -> None:
    """And a plan comes to what it says, when the currents are followed anew on finer nodes."""
    still = files.example("still").but({"target.preset": "everyday", "vessels.tray.least": 10e-3})
    least = planner.plan(still, Wish(seconds=40 * MINUTE), NOMINAL).plans[-1]
    result = solve(least.scenario)
    # plans are reckoned on nodes that are good to band.ACCURACY
    assert result.worst_residual == pytest.approx(least.residual, rel=ACCURACY)
    assert result.worst_residual <= still.target.limit
    # prints that hang wash no slower than under the least film of still water, by the same litres
    slow = solve(least.scenario.but({"vessels.tray.stirring": "still_face_down"}))
    assert slow.worst_residual > still.target.limit


def test_less_time_than_the_sheets_take_to_come() -> None:
    front = planner.plan(files.example("hold_and_changes"), Wish(seconds=20 * MINUTE), NOMINAL)
    assert front.plans == ()
    assert front.closest is None
    assert front.soonest is None


def test_progress_rises_and_may_cancel() -> None:
    shares: list[float] = []
    planner.plan(
        files.example("demo"), HOUR, unknowns.draw(files.example("demo"), 16), shares.append
    )
    assert shares == sorted(shares)
    assert shares[0] < 0.1
    assert len(set(shares)) > 20
    assert shares[-1] == pytest.approx(1.0)

    class Stopped(Exception):
        pass

    def stop(share: float) -> None:
        if share > 0.1:
            raise Stopped

    with pytest.raises(Stopped):
        planner.plan(files.example("demo"), HOUR, NOMINAL, stop)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"water.temperature": celsius(30)}, "water, temperature_c: expected at most 25 .* got 30"),
        (
            {"late": tuple(Late(step=1, after=after * MINUTE) for after in (20.0, 30.0))},
            "late: expected sheets that come at one time to plan with, got some at 20, 30 min",
        ),
    ],
    ids=["warm", "guests at two times"],
)
def test_what_it_does_not_plan_with(changes: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        planner.plan(files.example("demo").but(changes), HOUR, NOMINAL)


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ({"seconds": 0.0}, "minutes: expected more than 0"),
        ({"seconds": 90000.0}, "at most 1440, got 1500"),
        ({"seconds": 60.0, "chance": 1.0}, "chance: expected more than 0 and less than 1"),
        ({"seconds": 60.0, "margin": 0.5}, "margin: expected 1 to 1000"),
    ],
)
def test_wishes_that_mean_nothing(wish: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        Wish(**wish)


def test_an_aid_is_used_where_it_is_at_hand_and_helps() -> None:
    held = files.example("demo").but({"sheet.explanation": "held"})
    brief = Wish(seconds=26 * MINUTE)
    without = planner.plan(held, brief, NOMINAL)
    with_aid = planner.plan(held, Wish(seconds=26 * MINUTE, aid=True), NOMINAL)
    assert not any("aid" in one.words() for one in without.plans)
    assert any("wash aid" in one.words() for one in with_aid.plans)
    assert with_aid.plans[0].seconds < without.plans[0].seconds


def test_two_batches_share_a_water_and_keep_the_chance() -> None:
    two = files.example("demo").but({"sheet.batches": 2})
    few = unknowns.draw(two, 64)
    front = planner.plan(two, Wish(seconds=120 * MINUTE), few)
    least = front.plans[-1]
    band = solve_band(least.scenario, few)
    assert band.chance == pytest.approx(least.chance, abs=2 / 64)
    assert least.chance >= 0.9
    assert least.seconds <= 120 * MINUTE
    assert band.nominal.litres_total == pytest.approx(least.volume)
    assert "kept from before" in least.words()
    # the same steps with every water fresh
    fresh = {f"steps.{n}.begin": "fresh" for n, _ in enumerate(least.scenario.steps, start=1)}
    assert least.volume < least.scenario.but(fresh).timeline.fresh_water


def test_hands_that_cannot_keep_up_make_no_plan() -> None:
    """200 prints take 20 min to carry over; baths shorter than that overlap with it."""
    crowd = files.example("demo").but(
        {"sheet.count": 200, "sheet.width": 0.1, "sheet.height": 0.1, "vessels.tray.volume": 0.02}
    )
    front = planner.plan(crowd, Wish(seconds=90 * MINUTE), NOMINAL)
    assert front.hands
    assert not any(one.overlaps for one in front.plans)
    assert not planner.plan(files.example("demo"), HOUR, NOMINAL).hands


def test_plans_without_a_rinse_where_none_is_wanted() -> None:
    evening = files.example("hold_and_changes")
    long = 170 * MINUTE
    with_one = planner.plan(evening, Wish(seconds=long), NOMINAL)
    without = planner.plan(evening, Wish(seconds=long, rinse=False), NOMINAL)
    assert any("rinse" in one.words() for one in with_one.plans)
    assert not any("rinse" in one.words() for one in without.plans)
    assert with_one.plans[-1].volume <= without.plans[-1].volume


def test_late_prints_join_where_they_come_and_wash_as_well() -> None:
    """Before they come some of the time may pass in fewer fillings; nobody joins before that."""
    alone = files.example("demo")
    late = alone.but({"late": (Late(step=1, after=20 * MINUTE), Late(step=1, after=20 * MINUTE))})
    wish = Wish(seconds=90 * MINUTE)
    front = planner.plan(late, wish, NOMINAL)
    assert front.plans
    for one in front.plans:
        *before, _ = one.scenario.steps
        steps = {each.step for each in one.scenario.late}
        assert len(one.scenario.late) == 2
        assert len(steps) == 1
        begins = one.scenario.timeline.stages
        joins = begins[steps.pop()].start - begins[1].start + one.scenario.late[0].after
        assert joins >= 20 * MINUTE
        assert all(isinstance(step, Bath | Running) for step in before)
        assert "2 late prints join" in one.words()
        result = solve(one.scenario)
        assert result.worst_residual <= late.target.limit
        assert len(result.run.timeline.lots) == 3
    # the last to come needs as long from then on as a batch by itself at least
    least = planner.plan(alone, wish, NOMINAL).plans[0].seconds
    assert front.plans[0].seconds >= 20 * MINUTE + least - MINUTE


def test_a_late_print_that_is_rinsed_asks_for_less() -> None:
    alone, wish = files.example("demo"), Wish(seconds=80 * MINUTE)
    guest = Late(step=1, after=30 * MINUTE)
    rinsed = Late(step=1, after=30 * MINUTE, rinse_volume=1e-3, rinse_duration=10 * MINUTE)
    plain = planner.plan(alone.but({"late": (guest,)}), wish, NOMINAL).plans
    clean = planner.plan(alone.but({"late": (rinsed,)}), wish, NOMINAL).plans
    assert clean[0].seconds < plain[0].seconds
    # in the time of the quickest without; with more time the rinse costs what it spares
    as_quick = [one.volume for one in clean if one.seconds <= plain[0].seconds]
    assert min(as_quick) < plain[0].volume


def test_a_tray_that_cannot_cover_the_prints_is_named_and_left_alone() -> None:
    """Fourteen prints of 0.05 m2 under 4 mm each take 2.9 L."""
    small = files.example("demo").but({"vessels.tray.volume": 2e-3})
    front = planner.plan(small, Wish(seconds=90 * MINUTE), NOMINAL)
    assert front.plans
    assert all("washer" in one.words() and "tray" not in one.words() for one in front.plans)
    said = plans.too_small(small)
    assert said.startswith("'tray' holds 2 L, too little to cover 14 prints, which takes 2.89 L")
    assert plans.too_small(files.example("demo")) == ""
    # who measured knows better
    assert plans.too_small(small.but({"vessels.tray.least": 2e-3})) == ""
    alone = small.but({"vessels": small.vessels[:1]})
    none = planner.plan(alone, Wish(seconds=90 * MINUTE), NOMINAL)
    assert (none.plans, none.closest, none.soonest) == ((), None, None)
    assert not plans.too_short(alone)
