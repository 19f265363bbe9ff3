"""The page Tonight without a server: what it shows, and how a visitor's session behaves."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from tests.apps.evening import quick
from tests.stories import bench
from washsim import files, planner, plans, solve, unknowns
from washsim.errors import InputError
from washsim.recipes import Bath, Running
from washsim.scenario import Target
from washsim_dashboard import share, tonight, tonight_form, tonight_view
from washsim_dashboard.tonight_form import Wishes

DEMO = files.example("demo")


def plan_of(scenario: Any, chance: float = 0.93) -> plans.Plan:
    stages = scenario.timeline.stages
    return plans.Plan(
        scenario=scenario,
        seconds=stages[-1].stop - stages[1].start,
        volume=scenario.timeline.fresh_water,
        chance=chance,
        residual=0.009e-3,
    )


def front_of(*found: plans.Plan, scenario: Any = DEMO, **others: Any) -> plans.Front:
    return plans.Front(
        wish=plans.Wish(seconds=5400),
        own=plan_of(scenario, 0.97),
        plans=found,
        closest=others.get("closest"),
        soonest=others.get("soonest"),
        hands=others.get("hands", False),
        sample=unknowns.NOMINAL,
    )


LESS = DEMO.but({"steps.1.baths": 4})
"""16 L instead of 24, 40 min in the water instead of 60."""


# the form


def test_every_field_has_a_value_and_a_way_back() -> None:
    shape = tonight_form.shape(DEMO, DEMO, "metric")
    values = tonight_form.values(DEMO, Wishes(), "metric")
    fields = [*shape["wishes"]]
    for group in (*shape["groups"], *shape["vessels"]):
        fields += group["fields"]
    assert len(fields) > 25
    for field in fields:
        assert field["path"] in values
        assert field["reset"] == [values[field["path"]]], field["path"]
    assert len({field["label"] for field in shape["groups"][0]["fields"]}) == 9


def test_an_own_target_can_be_filled_in_once_it_is_chosen() -> None:
    def paths(scenario: Any) -> list[str]:
        target = tonight_form.shape(scenario, DEMO, "metric")["groups"][-1]
        return [field["path"] for field in target["fields"]]

    assert paths(DEMO) == ["target.preset"]
    own = DEMO.but(target=Target(preset="own", residual=1e-5))
    assert paths(own) == ["target.preset", "target.residual"]


@pytest.mark.parametrize(
    ("name", "value", "attribute"),
    [
        ("minutes", 45, 2700.0),
        ("chance", 95, 0.95),
        ("evenings", 12, 12),
        ("aid", "yes", "yes"),
        ("rinse", "no", "no"),
    ],
)
def test_wishes_are_kept_in_si(name: str, value: Any, attribute: Any) -> None:
    found = getattr(tonight_form.with_wish(Wishes(), name, value), name)
    assert found == (
        attribute if isinstance(attribute, str) else pytest.approx(attribute, rel=1e-12)
    )


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("minutes", 0, "time there is: expected 1 to 1440 min"),
        ("chance", 100, "chance of the target: expected 50 to 99 %"),
        ("evenings", 2.5, "evenings a year: expected a whole number"),
        ("aid", "maybe", "wash aid at hand: expected no or yes"),
        ("rinse", "often", "pre-rinse: expected yes or no"),
        ("start", "late", "start: expected a time such as"),
        ("luck", 1, "wish: expected"),
    ],
)
def test_wishes_that_cannot_be_are_refused_in_words(name: str, value: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        tonight_form.with_wish(Wishes(), name, value)


def test_there_is_time_enough_for_the_own_schedule() -> None:
    """The demo's hour is within the usual 90 min; prints 8 min apart take 13 x 8 min longer."""
    assert tonight_form.opening(DEMO).minutes == 90 * 60
    apart = DEMO.but({"sheet.interval": 480.0})
    opened = tonight_form.opening(apart)
    # an hour, the coming of the prints and 10 s of draining, up to the next five minutes
    assert opened.minutes == 165 * 60
    shape = tonight_form.shape(apart, apart, "metric")
    assert next(one for one in shape["wishes"] if one["path"] == "wish.minutes")["reset"] == [165]


# the front


def test_a_front_is_told_in_gallons_too_words_and_all() -> None:
    none = front_of(closest=plan_of(LESS, 0.5), hands=True)
    told = tonight_view.front(none, "us")["sentence"]
    assert "4 × 1.06 gal in tray" in told
    assert told.endswith(plans.HANDS)
    assert "gal of water" in tonight_view.detail(LESS, Wishes(), "us")["lines"][0]
    (point,) = tonight_view.front(front_of(plan_of(LESS)), "us")["plans"]
    assert "gal" in point["words"]
    lines = tonight_view.detail(LESS, Wishes(), "us", plan_of(LESS))["lines"]
    assert " L" not in lines[0]


def test_a_front_is_told_in_litres_minutes_and_chances() -> None:
    found = tonight_view.front(front_of(plan_of(LESS)), "metric")
    (point,) = found["plans"]
    assert (point["water"], point["amount"]) == (pytest.approx(16), "16 L")
    # ten seconds of draining, then 40 min
    assert point["minutes"] == pytest.approx(40 + 1 / 6)
    assert point["chance"] == "93 %"
    assert share.unpack(point["state"]) == LESS
    assert found["sentence"].startswith("1 plan meets the target with a chance of 90 % or")
    assert "your own schedule takes 24 L in 60 min, chance 97 %" in found["sentence"]
    us = tonight_view.front(front_of(plan_of(LESS)), "us")
    assert us["plans"][0]["water"] == pytest.approx(16 / 3.785411784)
    assert us["plans"][0]["unit"] == "gal"


def test_no_plan_is_said_plainly_with_what_comes_closest() -> None:
    found = front_of(closest=plan_of(LESS, 0.31), soonest=plan_of(DEMO))
    told = tonight_view.front(found, "metric")["sentence"]
    assert told.startswith("No plan with these vessels meets the target with a chance of 90 %")
    assert "chance 31 %" in told
    assert "With 60 min:" in told
    assert "10 min each; in all 40 min, chance 31 %" in told
    assert tonight_view.front(found, "metric")["plans"] == []


def test_a_time_in_which_the_prints_do_not_even_come_is_told_so() -> None:
    apart = DEMO.but({"sheet.interval": 480.0})
    told = tonight_view.front(front_of(scenario=apart), "metric")["sentence"]
    # 13 intervals of 8 min
    assert "in this time: the last print leaves the fixer 104 min after the first." in told
    told = tonight_view.front(front_of(), "metric")["sentence"]
    assert "in this time: it is shorter than one filling takes." in told


def test_list_and_sentence_round_minutes_alike() -> None:
    """56.5 min is 56 in both, or 57 in both."""
    half = DEMO.but({"steps.1.duration": (56.5 * 60 - 10) / 6})
    found = tonight_view.front(front_of(plan_of(half)), "metric")
    assert f" in {found['plans'][0]['time']};" in found["sentence"]


@pytest.mark.parametrize(
    ("chance", "told"), [(0.0, "under 1 %"), (1.0, "over 99 %"), (0.914, "91 %")]
)
def test_no_chance_is_certain(chance: float, told: str) -> None:
    assert tonight_view.percent(chance) == told


def test_before_any_search_the_own_schedule_stands_alone() -> None:
    found = tonight_view.alone(DEMO, Wishes(), "metric")
    assert found["plans"] == []
    assert (found["own"]["amount"], found["own"]["chance"]) == ("24 L", "")
    assert found["limit"] == pytest.approx(90)


# one plan in full


def test_a_schedule_in_full() -> None:
    wishes = Wishes(evenings=50, start="7:00 pm", clock="12")
    found = tonight_view.detail(DEMO, wishes, "metric")
    assert found["span"] == "7:00 pm to 8:01 pm · 24 L of water"
    rows = {row[0]: row[1:] for row in found["ledger"]["rows"]}
    assert rows["evening"][:3] == ["24 L", "0.096", "0 kWh"]
    assert rows["year of 50"][:2] == ["1200 L", "4.8"]
    assert rows["print"][0] == "1.71 L"
    assert found["run"]["start"] == 19 * 3600
    assert "7:11 pm" in found["sheet"]["html"]
    assert found["sheet"]["pages"] == "one page"
    assert share.unpack(found["state"]) == DEMO
    assert found["press"] == ""


def test_a_ribbon_that_travels() -> None:
    ribbon = tonight_view.detail(DEMO, Wishes(), "metric")["ribbon"]
    assert len(ribbon["sheets"]) == len(ribbon["row"]) == 14
    assert all(len(row) == len(ribbon["minutes"]) for row in ribbon["residual"])
    late = tonight_view.detail(files.example("late_sheet"), Wishes(), "metric")["ribbon"]
    assert late["residual"][-1][0] is None, "the guest is not there yet"
    assert late["residual"][0][0] is not None


def test_s29_prints_that_may_not_be_fixed_are_told_first() -> None:
    worn = DEMO.but({"fixing.sheets_per_litre": 60.0})
    found = tonight_view.detail(worn, Wishes(), "metric")
    assert "counts as spent" in found["press"]
    assert "residual silver" in found["press"]
    # told before all else, so not once more among the rest
    assert not any("residual silver" in one for one in found["cautions"])
    # the numbers are given all the same
    assert found["lines"]
    assert found["ledger"]["rows"]


def test_a_plan_says_its_chance_and_why() -> None:
    lines = tonight_view.detail(LESS, Wishes(), "metric", plan_of(LESS))["lines"]
    assert "16 L in 40 min" in lines[0]
    assert "in 93 % of the draws" in lines[1]
    assert "stays under 0.009 g/m²" in lines[1]
    assert "ends at" in lines[1]
    assert lines[2].startswith("What holds the worst print up most at the end:")


def test_s3_a_plan_says_what_it_takes_to_equal_the_own_schedule() -> None:
    own = LESS.but({"steps.1.duration": 720.0})
    left = 1e3 * solve.solve(own).worst_residual
    lines = tonight_view.detail(LESS, Wishes(), "metric", plan_of(LESS), plan_of(own))["lines"]
    assert lines[2].endswith(f"bring it to what your own schedule leaves, {left:.2g} g/m².")
    minutes = int(lines[2].split(" min more in its last water")[0])
    # and so it does, washed that much longer
    baths = LESS.steps[0]
    assert isinstance(baths, Bath)
    last = replace(baths, baths=1, duration=baths.duration + 60 * minutes)
    longer = LESS.but(steps=(replace(baths, baths=3), last))
    assert 1e3 * solve.solve(longer).worst_residual == pytest.approx(left, rel=0.05)
    # its last water may hold too much for what six baths leave
    six = tonight_view.detail(LESS, Wishes(), "metric", plan_of(LESS), plan_of(DEMO))["lines"]
    assert six[2].startswith("Even 60 min more in its last water would not bring it to")
    same = tonight_view.detail(DEMO, Wishes(), "metric", plan_of(DEMO), plan_of(DEMO))["lines"]
    assert same[2] == "It leaves no more fixer than your own schedule."


def test_the_own_schedule_has_its_chance_once_it_is_weighed() -> None:
    assert len(tonight_view.detail(DEMO, Wishes(), "metric")["lines"]) == 2
    lines = tonight_view.detail(DEMO, Wishes(), "metric", None, plan_of(DEMO, 0.97))["lines"]
    assert "in 97 % of the draws" in lines[1]
    assert "stays under 0.009 g/m²" in lines[1]


def test_s26_prices_say_what_they_count_in() -> None:
    notes = tonight_view.detail(DEMO, Wishes(), "metric")["ledger"]["notes"]
    assert notes[0] == "Price in your own money: water at 4 per m³."
    heated = DEMO.but({"water.heat_price": 0.3 / 3.6e6})
    notes = tonight_view.detail(heated, Wishes(), "metric")["ledger"]["notes"]
    assert notes[0] == "Price in your own money: water at 4 per m³, heat at 0.3 per kWh."
    notes = tonight_view.detail(DEMO, Wishes(), "us")["ledger"]["notes"]
    # 264.17 gallons to the cubic metre
    assert notes[0] == "Price in your own money: water at 0.0151 per gal."


def test_s25_s26_the_page_has_the_figures_of_the_stories() -> None:
    """Ideal mode, fixer with 1 g/L of silver: five baths of 14 L at 4 per m3, then two of 10 L."""
    silver = "silver_g_l = 1"
    money = files.loads(bench.scenario("ideal", bench.baths(14, 5, 10), fixing=silver))
    rows = {
        row[0]: row[1:] for row in tonight_view.detail(money, Wishes(), "metric")["ledger"]["rows"]
    }
    assert rows["evening"][:3] == ["70 L", "0.28", "0 kWh"]
    assert rows["print"][:3] == ["5 L", "0.02", "0 kWh"]
    first = files.loads(bench.scenario("ideal", bench.baths(10, 2, 60), fixing=silver))
    notes = tonight_view.detail(first, Wishes(), "metric")["ledger"]["notes"]
    assert notes[-1].startswith("The first water, 10 L, carries 0.18 g of silver (18 mg/L)")


def test_no_silver_is_accounted_for() -> None:
    fresh = DEMO.but({"fixing.sheets_per_litre": 0.0})
    found = tonight_view.detail(fresh, Wishes(), "metric")["ledger"]
    assert found["rows"][0][-1] == "0 g"
    assert found["notes"][-1].startswith("Fixer that no sheet was fixed in before counts as free")


def test_a_plan_that_turns_the_tap_down_is_set_beside_the_tap_as_it_was() -> None:
    """20 L and 4 L/min for an hour, though the plan runs its washer at 0.25 L/min."""
    slow = DEMO.but(
        {
            "vessels.washer.flow": 0.25e-3 / 60,
            "steps": (Running(vessel="washer", duration=3600.0),),
        }
    )
    found = tonight_view.detail(slow, Wishes(), "metric", plan_of(slow), plan_of(DEMO))
    notes = " ".join(found["ledger"]["notes"])
    assert "An hour of running water in 'washer' at 4 L/min would take 260 L: 225 L more" in notes


# a visitor's session


class Desk:
    """A session, a planner that waits to be let go, and calls handed over from its thread."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.calls: queue.Queue[Callable[[], None]] = queue.Queue()
        self.go, self.begun, self.ended = threading.Event(), threading.Event(), threading.Event()
        self.result: plans.Front | Exception = front_of(plan_of(LESS))
        patch.setattr(planner, "plan", self.plan)
        tonight._found.clear()
        self.session = tonight.Session(DEMO, later=self.calls.put)

    def plan(
        self, scenario: Any, wish: plans.Wish, progress: Callable[[float], None], executor: Any
    ) -> Any:
        self.begun.set()
        try:
            while not self.go.wait(0.01):
                progress(0.5)
            if isinstance(self.result, Exception):
                raise self.result
            return self.result
        finally:
            self.ended.set()

    def ask(self, *changes: dict[str, Any]) -> None:
        self.session.board.asked = {"changes": list(changes), "number": self.session.answers}

    def deliver(self, state: str) -> None:
        """Carry out handed-over calls until the work is in a state."""
        while self.session.board.work["state"] != state:
            self.calls.get(timeout=20)()


@pytest.fixture
def desk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    found = Desk(monkeypatch)
    yield found
    found.go.set()
    found.session.work.stop()


def test_plans_come_when_they_are_found(desk: Desk) -> None:
    assert desk.session.board.detail["chosen"] == -1
    desk.ask({"do": "plan"})
    assert desk.session.board.work["state"] == "working"
    desk.calls.get(timeout=20)()
    assert desk.session.board.work["share"] == 0.5
    desk.go.set()
    desk.deliver("found")
    assert desk.session.board.detail["chosen"] == 0
    assert share.unpack(desk.session.board.detail["state"]) == LESS
    desk.ask({"do": "choose", "index": -1})
    assert share.unpack(desk.session.board.detail["state"]) == DEMO
    desk.ask({"do": "choose", "index": 1})
    assert "plan: expected a number below 1" in desk.session.board.told["error"]


def test_a_search_can_be_cancelled(desk: Desk) -> None:
    desk.ask({"do": "plan"})
    assert desk.begun.wait(20)
    desk.ask({"do": "cancel"})
    assert desk.session.board.work["state"] == "idle"
    assert desk.ended.wait(20), "the thread works on for nobody"
    while not desk.calls.empty():
        desk.calls.get()()
    assert desk.session.board.work["state"] == "idle"
    assert desk.session.front is None


def test_other_things_at_hand_make_the_plans_stale(desk: Desk) -> None:
    desk.go.set()
    desk.ask({"do": "plan"})
    desk.deliver("found")
    desk.ask({"do": "set", "path": "wish.evenings", "value": 12})
    assert desk.session.front is not None, "a habit changes no plan"
    desk.ask({"do": "set", "path": "sheet.count", "value": 9})
    assert desk.session.board.front["plans"] == []
    assert desk.session.board.work["state"] == "idle"
    assert desk.session.board.detail["chosen"] == -1
    assert share.unpack(desk.session.board.told["state"]).sheet.count == 9


def test_the_same_again_is_remembered(desk: Desk) -> None:
    desk.go.set()
    desk.ask({"do": "plan"})
    desk.deliver("found")
    desk.begun.clear()
    other = tonight.Session(DEMO, later=desk.calls.put)
    other.search()
    assert other.board.work["state"] == "found"
    assert not desk.begun.is_set()


def test_what_cannot_be_planned_is_said(desk: Desk) -> None:
    desk.result = InputError("vessels: expected at least one")
    desk.go.set()
    desk.ask({"do": "plan"})
    desk.deliver("failed")
    assert desk.session.board.work["words"] == "vessels: expected at least one"


def test_refusals_name_what_can_be_done_on_this_page(desk: Desk) -> None:
    desk.ask({"do": "remove", "list": "vessels", "at": 1})
    assert desk.session.board.told["error"].startswith(
        "'tray' stays, as your own schedule uses it: open that in Explore"
    )
    desk.ask({"do": "remove", "list": "vessels", "at": 2})
    assert [one.name for one in desk.session.scenario.vessels] == ["tray"]
    desk.ask({"do": "set", "path": "water.temperature", "value": 30}, {"do": "plan"})
    assert desk.session.board.work["state"] == "failed"
    assert "above 25 °C" in desk.session.board.work["words"]
    desk.ask({"do": "units", "system": "us"}, {"do": "plan"})
    assert "above 77 °F" in desk.session.board.work["words"]
    late = files.example("late_sheet")
    (guest,) = late.late
    two = late.but({"late": (guest, replace(guest, after=guest.after - 600))})
    session = tonight.Session(two, later=desk.calls.put)
    session.search()
    assert "late: expected sheets that come at one time" in session.board.work["words"]
    assert not desk.begun.is_set()


def test_what_cannot_be_done_is_said_and_leaves_all_as_it_was(desk: Desk) -> None:
    before = desk.session.board.detail
    for change in (
        {"do": "set", "path": "sheet.count", "value": -3},
        {"do": "set", "path": "wish.chance", "value": 3},
        {"do": "units", "system": "roman"},
        {"do": "choose", "index": "x"},
        {"do": "dance"},
        "nonsense",
    ):
        answers = desk.session.board.told["answer"]
        desk.ask(change)  # type: ignore[arg-type]
        assert desk.session.board.told["error"]
        assert desk.session.board.told["answer"] == answers + 1
        assert desk.session.board.detail == before


def test_us_units_change_words_not_the_scenario(desk: Desk) -> None:
    desk.ask({"do": "units", "system": "us"})
    assert desk.session.scenario == DEMO
    assert desk.session.board.front["own"]["amount"] == "6.34 gal"
    assert "refill 1.06 gal" in desk.session.board.detail["sheet"]["text"]
    desk.ask({"do": "set", "path": "water.temperature", "value": 50})
    assert desk.session.scenario.water.temperature == pytest.approx(283.15)


def test_the_real_planner_through_a_session() -> None:
    """Every plan is within the time, keeps its chance, and runs as it stands."""
    calls: queue.Queue[Callable[[], None]] = queue.Queue()
    session = tonight.Session(quick(), later=calls.put)
    session.board.asked = {
        "changes": [{"do": "set", "path": "wish.minutes", "value": 30}, {"do": "plan"}],
        "number": 1,
    }
    while session.board.work["state"] == "working":
        calls.get(timeout=300)()
    assert session.board.work["state"] == "found", session.board.work["words"]
    front = session.front
    assert front is not None
    assert front.plans
    waters = [point["water"] for point in session.board.front["plans"]]
    assert waters == sorted(waters, reverse=True)
    for plan in front.plans:
        assert plan.seconds <= 30 * 60 + 1e-6
        assert plan.chance >= 0.9
        detail = tonight_view.detail(plan.scenario, Wishes(), "metric", plan)
        assert share.unpack(detail["state"]) == plan.scenario
