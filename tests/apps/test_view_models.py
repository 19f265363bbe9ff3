"""What the app holds and says, without a server or a browser."""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any

import numpy as np
import pytest
import tomli_w
from hypothesis import given, settings

from tests.unit.drawn import trees
from washsim import band, files, pictures, solve
from washsim.errors import InputError
from washsim.recipes import STEPS, Bath, Running
from washsim.scenario import Scenario
from washsim.units import SYSTEMS, celsius, litre_per_minute
from washsim_dashboard import doubt, edits, first, form, inputs, runs, share, state

EXAMPLES = [files.example(name) for name in files.examples()]
DEMO = files.example("demo")
every_example = pytest.mark.parametrize("scenario", EXAMPLES, ids=files.examples())
both_systems = pytest.mark.parametrize("system", SYSTEMS)


def all_fields(shape: dict[str, Any]) -> list[dict[str, Any]]:
    """Every field of a form, wherever it stands."""
    groups = [block["fields"] for key in ("steps", "vessels", "blocks") for block in shape[key]]
    groups += [item for one in shape["lists"] for item in one["items"]]
    return [shape["title"], *(field for group in groups for field in group)]


@every_example
@both_systems
def test_the_form_has_a_place_for_every_value_and_values_fit_their_fields(
    scenario: Scenario, system: str
) -> None:
    shape = form.shape(scenario, scenario, system)
    values = form.values(scenario, system)
    found = all_fields(shape)
    layers = {path for path in values if path.startswith("sheet.layers")}
    assert {field["path"] for field in found} | layers == set(values)
    for field in found:
        value = values[field["path"]]
        if value is None:
            assert field["optional"], field["path"]
        elif field["kind"] == "number":
            assert field["low"] <= value <= field["high"], field["path"]
        elif field["kind"] == "choice":
            assert value in [key for key, _ in field["options"]], field["path"]
    json.dumps([shape, values], allow_nan=False)


@every_example
def test_setting_what_stands_there_changes_nothing(scenario: Scenario) -> None:
    for path, value in form.values(scenario, "metric").items():
        assert edits.apply(scenario, {"do": "set", "path": path, "value": value}) == scenario


def test_a_value_is_set_in_the_unit_that_is_shown() -> None:
    warm = edits.apply(DEMO, {"do": "set", "path": "water.temperature", "value": 50.0}, "us")
    assert warm.water.temperature == pytest.approx(celsius(10), abs=1e-9)
    more = edits.apply(DEMO, {"do": "set", "path": "vessels.1.volume", "value": 2}, "us")
    # NIST Handbook 44, Appendix C: one US gallon is 231 cubic inches
    assert more.vessels[0].volume == pytest.approx(2 * 231 * 0.0254**3, rel=1e-14)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (None, "change: expected set, add"),
        ({"do": "sett"}, "did you mean 'set'"),
        ({"do": "set", "path": "vessels.1.volume", "value": -3}, "vessel 1, volume: expected 0.05 to 2000 L, got -3"),
        ({"do": "set", "path": "vessels.1.volume", "value": "much"}, "vessel 1, volume: expected"),
        ({"do": "set", "path": "vessels.1.volume", "value": True}, "vessel 1, volume: expected"),
        ({"do": "set", "path": "vessels.1.volume", "value": 10**400}, "vessel 1, volume: expected"),
        ({"do": "set", "path": "sheet.count", "value": 2.5}, "sheet, count: expected a whole number"),
        ({"do": "set", "path": "vessels.9.volume", "value": 3}, "no such place"),
        ({"do": "set", "path": "vessels.1.volume.real", "value": 3}, "no such place"),
        ({"do": "set", "path": "__class__", "value": 3}, "no such place"),
        ({"do": "set", "path": "sheet", "value": 3}, "single value"),
        ({"do": "set", "path": "water.kind", "value": "wine"}, "expected demineralised"),
        ({"do": "set", "path": "vessels.1.name", "value": "washer"}, "each name once"),
        ({"do": "set", "path": "vessels.1.name", "value": ""}, "expected a name"),
        ({"do": "remove", "list": "steps", "at": 1}, "steps: expected at least one"),
        ({"do": "remove", "list": "steps", "at": 0}, "no number 0"),
        ({"do": "remove", "list": "vessels", "at": 1}, "'tray' is used by step 1"),
        ({"do": "remove", "list": "sheets", "at": 1}, "list: expected"),
        ({"do": "move", "list": "steps", "at": 1, "by": 1}, "cannot be moved"),
        ({"do": "copy", "list": "steps", "at": 2}, "no number 2"),
        ({"do": "add", "list": "steps", "at": 1, "kind": "soak"}, "kind: expected"),
        ({"do": "add", "list": "sheet.layers", "at": 0}, "layers: expected with paper"),
        ({"do": "method", "name": "row of tray"}, "method: expected"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said_in_one_sentence(change: Any, message: str) -> None:
    with pytest.raises(InputError) as caught:
        edits.apply(DEMO, change)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_range_is_told_in_the_units_shown() -> None:
    with pytest.raises(InputError, match=r"expected 33\.8 to 113 °F, got 20"):
        edits.apply(DEMO, {"do": "set", "path": "water.temperature", "value": 20}, "us")


@pytest.mark.parametrize("kind", STEPS)
def test_every_kind_of_step_can_be_added_and_run(kind: str) -> None:
    added = edits.apply(DEMO, {"do": "add", "list": "steps", "at": 0, "kind": kind})
    assert isinstance(added.steps[0], STEPS[kind])
    assert added.steps[1:] == DEMO.steps
    assert added.timeline.end >= DEMO.timeline.end


def test_a_running_step_brings_a_vessel_with_flow() -> None:
    still = files.example("still")
    assert not any(vessel.flow for vessel in still.vessels)
    added = edits.apply(still, {"do": "add", "list": "steps", "at": 1, "kind": "running"})
    assert isinstance(added.steps[1], Running)
    assert added.timeline.end > still.timeline.end


def test_steps_move_and_late_and_stuck_sheets_follow() -> None:
    late = files.example("late_sheet")
    joined = late.late[0].step
    first = edits.apply(late, {"do": "add", "list": "steps", "at": 0, "kind": "rinse"})
    assert first.late[0].step == joined + 1
    back = edits.apply(first, {"do": "remove", "list": "steps", "at": 1})
    assert (back.steps, back.late) == (late.steps, late.late)
    gone = edits.apply(first, {"do": "remove", "list": "steps", "at": joined + 1})
    assert gone.late == ()
    moved = edits.apply(first, {"do": "move", "list": "steps", "at": 1, "by": 1})
    assert (moved.late[0].step, moved.steps[0]) == (joined, late.steps[0])


def test_steps_follow_their_vessel_to_its_new_name() -> None:
    for name in ("2", "5.5 L tray", "<b>"):
        renamed = edits.apply(DEMO, {"do": "set", "path": "vessels.1.name", "value": name})
        assert renamed.steps[0].vessel == name  # type: ignore[union-attr]
        deeper = {"do": "set", "path": "vessels.1.volume", "value": 7}
        assert edits.apply(renamed, deeper).vessels[0].volume == pytest.approx(7e-3, rel=1e-15)


def test_own_layers_start_from_the_paper_and_wash_alike() -> None:
    own = edits.apply(DEMO, {"do": "set", "path": "sheet.paper", "value": "own"})
    assert own.sheet.material.layers == DEMO.sheet.material.layers
    back = edits.apply(own, {"do": "set", "path": "sheet.paper", "value": "fibre_double"})
    assert back == DEMO


def test_values_that_hang_together_change_together() -> None:
    own = edits.apply(DEMO, {"do": "set", "path": "target.preset", "value": "own"})
    assert own.target.limit == DEMO.target.limit
    pile = edits.apply(DEMO, {"do": "set", "path": "vessels.1.stirring", "value": "shuffled"})
    assert pile.vessels[0].shuffle is not None
    plain = edits.apply(DEMO, {"do": "set", "path": "fixing.fixer", "value": "plain"})
    assert plain.fixing.dilution is None
    stuck = files.example("stuck")
    wall = edits.apply(stuck, {"do": "set", "path": "stuck.1.how", "value": "face_to_wall"})
    assert wall.stuck[0].other is None


@pytest.mark.parametrize("name", files.methods())
def test_each_method_is_a_starting_point(name: str) -> None:
    changed = edits.apply(DEMO, {"do": "method", "name": name})
    assert form.method_of(changed) == name
    assert changed.sheet == DEMO.sheet
    assert changed.title.endswith(": 14 sheets"), "the demo's title tells of its six changes"
    assert inputs.quick(changed, changed, "metric")


@every_example
@both_systems
def test_sliders_span_no_more_than_their_fields_allow(scenario: Scenario, system: str) -> None:
    found = [one for one in inputs.quick(scenario, scenario, system) if one.get("slider")]
    assert {"fixing_time", "temperature", "sheets"} <= {one["name"] for one in found}
    values = form.values(scenario, system)
    for one in found:
        assert one["low"] <= values[one["path"]] <= one["high"], one["name"]
        assert one["low"] < one["high"]
        # an end of the slider can be asked for
        for end in (one["low"], one["high"]):
            edits.apply(scenario, {"do": "set", "path": one["path"], "value": end}, system)


def test_a_slider_can_be_set_back_to_the_demo() -> None:
    for one in inputs.sliders(DEMO):
        steps = (form.values(DEMO, "metric")[one.path] - one.low) / one.step
        assert abs(steps - round(steps)) < 1e-9, one.name


@given(trees())
@settings(max_examples=40, deadline=None)
def test_any_scenario_has_a_form_and_survives_its_link(tree: dict[str, Any]) -> None:
    written = files.loads(tomli_w.dumps(tree))
    assert share.unpack(share.pack(written)) == written
    assert len(share.pack(written)) < share.LONGEST
    form.shape(written, DEMO, "us")
    inputs.quick(written, DEMO, "us")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "link"),
        ("%%%", "damaged"),
        ("é", "damaged"),
        ("AAAA", "damaged"),
        ("x" * 60_000, "at most 50000 characters"),
        (share.pack(DEMO)[:-9], "link: it is"),
        (base64.urlsafe_b64encode(zlib.compress(b"a = 1")).decode(), "format: expected"),
        (base64.urlsafe_b64encode(zlib.compress(b"\xff\xfe")).decode(), "damaged"),
        (base64.urlsafe_b64encode(zlib.compress(b"\n" * 10_000_000)).decode(), "cut short, or holds more"),
    ],
)  # fmt: skip
def test_a_damaged_or_hostile_link_gets_one_sentence(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        share.unpack(text)
    assert message in str(caught.value)


def test_file_names_are_plain() -> None:
    assert share.file_name(DEMO.but(title="../../Été <b> 3"), "toml") == "t_b_3.toml"
    assert share.file_name(DEMO.but(title="…"), "csv") == "wash.csv"


def asked(session: state.Session, *changes: Any) -> dict[str, Any]:
    session.board.asked = {"changes": list(changes), "number": session.answers + 1}
    return session.board.told


def test_what_cannot_be_done_is_said_and_the_last_run_stays() -> None:
    session = state.Session(DEMO)
    before = session.frames.data
    told = asked(session, {"do": "set", "path": "sheet.count", "value": -3})
    assert "sheet, count" in told["error"]
    assert told["answer"] == 1, "the browser would wait for ever"
    assert session.frames.data is before
    # each is allowed by itself, but a running wash in a still tray cannot be carried out
    run = {"do": "add", "list": "steps", "at": 1, "kind": "running"}
    told = asked(session, run, {"do": "set", "path": "steps.2.vessel", "value": "tray"})
    assert "flow_l_min above 0" in told["error"]
    assert session.scenario == DEMO, "half of what was asked was done"
    assert asked(session, {"do": "set", "path": "sheet.count", "value": 3})["error"] == ""
    assert session.frames.data is not before


@pytest.mark.parametrize(
    "asks", [None, 7, "x", [None], [{}], [{"do": []}], [{"do": "set", "path": {}}]]
)
def test_garbage_from_a_browser_gets_one_sentence(asks: Any) -> None:  # fmt: skip
    session = state.Session(DEMO)
    session.board.asked = {"changes": asks}
    assert session.board.told["error"]
    assert session.scenario == DEMO


def test_undo_and_redo() -> None:
    session = state.Session(DEMO)
    dragged = [
        {"do": "set", "path": "fixing.duration", "value": v, "drag": 1} for v in (70, 80, 90)
    ]
    for change in dragged:
        asked(session, change)
    assert session.scenario.fixing.duration == 90
    asked(session, {"do": "copy", "list": "steps", "at": 1})
    assert len(session.scenario.steps) == 2
    told = asked(session, {"do": "undo"})
    assert (len(session.scenario.steps), told["redo"]) == (1, True)
    told = asked(session, {"do": "undo"})
    assert session.scenario == DEMO, "one drag is one thing to undo"
    assert told["undo"] is False
    asked(session, {"do": "undo"})
    asked(session, {"do": "redo"})
    assert session.scenario.fixing.duration == 90
    asked(session, {"do": "set", "path": "sheet.count", "value": 2})
    assert asked(session, {"do": "redo"})["redo"] is False
    assert session.scenario.sheet.count == 2


def test_a_slider_sends_no_second_form() -> None:
    session = state.Session(DEMO)
    before = session.board.shape
    asked(session, {"do": "set", "path": "fixing.duration", "value": 70})
    assert session.board.shape is before
    asked(session, {"do": "copy", "list": "steps", "at": 1})
    assert session.board.shape is not before


def test_another_file_and_other_units() -> None:
    session = state.Session(DEMO)
    told = asked(session, {"do": "open", "name": "evil.toml", "text": "format = 3"})
    assert told["error"].startswith("evil.toml: format")
    assert session.scenario == DEMO
    text = files.example_text("transfer")
    told = asked(session, {"do": "open", "name": "row.toml", "text": text})
    assert (told["error"], session.scenario) == ("", files.example("transfer"))
    told = asked(session, {"do": "units", "system": "us"})
    assert told["values"]["water.temperature"] == pytest.approx(68, abs=1e-9)
    assert session.scenario == files.example("transfer")
    assert asked(session, {"do": "units", "system": "roman"})["error"]


def test_reset_goes_back_to_what_was_opened() -> None:
    session = state.Session(DEMO)
    asked(session, {"do": "set", "path": "steps.1.baths", "value": 3})
    baths = session.scenario.steps[0]
    assert isinstance(baths, Bath)
    assert baths.baths == 3
    asked(session, {"do": "reset"})
    assert session.scenario == DEMO


@pytest.mark.parametrize("way", first.WAYS)
@pytest.mark.parametrize("size", first.SIZES)
@pytest.mark.parametrize(("sheets", "minutes"), [(1, 30), (10, 60), (40, 90)])
def test_three_questions_give_a_plan_that_says_what_it_assumed(
    way: str, size: str, sheets: int, minutes: int
) -> None:
    plan = first.plan({"sheets": sheets, "size": size, "way": way, "minutes": minutes})
    assert plan.sheet.count == sheets
    assert (plan.sheet.width, plan.sheet.height) == first.SIZES[size]
    step = plan.steps[0]
    assert isinstance(step, Bath if way == "trays" else Running)
    total = step.duration * (step.baths if isinstance(step, Bath) else 1)
    assert total == pytest.approx(60 * minutes, rel=1e-12)
    # enough time for this paper in every case but half an hour
    assert minutes == 30 or solve.solve(plan).minutes_to_target is not None
    for system in SYSTEMS:
        values = form.values(plan, system)
        listed = list(first.assumptions(plan, system))
        assert {one.path for one in listed} <= set(values)
        assert all(one.words for one in listed)


def test_the_first_plan_takes_the_least_water_that_keeps_the_margin() -> None:
    asks = {"sheets": 10, "size": "8x10", "way": "washer", "minutes": 60}
    plan = first.plan(asks)
    flow = plan.vessels[0].flow
    limit = plan.target.limit / first.MARGIN
    assert solve.solve(plan).worst_residual <= limit
    slower = [f * litre_per_minute for f in first.FLOWS if f * litre_per_minute < flow]
    for less in slower:
        assert solve.solve(edits.put(plan, "vessels.1.flow", less)).worst_residual > limit


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"sheets": 0}, "sheets: expected a whole number from 1 to 200"),
        ({"sheets": 2.5}, "sheets: expected a whole number"),
        ({"sheets": None}, "sheets: expected"),
        ({"size": "A4"}, "size: expected"),
        ({"way": ["trays"]}, "way: expected"),
        ({"minutes": 1e9}, "minutes: expected 5 to 600 min"),
        ({"minutes": float("nan")}, "minutes: expected 5 to 600 min"),
    ],
)
def test_wrong_answers_get_one_sentence(wrong: dict[str, Any], message: str) -> None:
    asks = {"sheets": 10, "size": "8x10", "way": "trays", "minutes": 60} | wrong
    session = state.Session(DEMO)
    told = asked(session, {"do": "first"} | asks)
    assert told["error"].startswith(message)
    assert told["assumed"] == []
    assert session.scenario == DEMO


def test_assumptions_are_listed_until_the_next_change() -> None:
    session = state.Session(DEMO)
    asks = {"do": "first", "sheets": 3, "size": "5x7", "way": "trays", "minutes": 45}
    assert asked(session, asks)["assumed"]
    assert asked(session, {"do": "set", "path": "sheet.count", "value": 4})["assumed"] == []
    assert asked(session, {"do": "undo"})["assumed"]


def test_doubt_is_the_band_in_words_and_edges() -> None:
    """The edges are quantiles of the draws, so half lies below the middle: numpy says the same."""
    found = doubt.doubt(DEMO)
    drawn = band.solve_band(DEMO)
    met = float(np.mean(drawn.worst <= DEMO.target.limit))
    assert f"{100 * met:.0f} in 100 of {len(drawn.worst)} draws" in found.words
    low, high = np.quantile(drawn.worst, [0.05, 0.95]) * 1e3
    # single precision is what the browser is sent
    assert found.edges["low"][-1] == pytest.approx(low, rel=1e-6)
    assert found.edges["high"][-1] == pytest.approx(high, rel=1e-6)
    assert np.all(found.edges["low"] <= found.edges["high"])


def test_frames_are_packed_in_the_order_the_browser_takes_apart() -> None:
    film = pictures.frames(solve.solve(DEMO), count=runs.FRAMES)
    numbers = runs.run(DEMO).frames["numbers"]
    depths, places = len(film.depth_um), len(runs.PLACES)
    assert numbers.shape == (runs.FRAMES, 3 + places + 2 * depths)
    close = {"rtol": 1e-6, "atol": 1e-12}  # single precision
    np.testing.assert_allclose(numbers[:, 0], film.minutes, **close)
    np.testing.assert_allclose(numbers[:, 1], film.water_g_l, **close)
    np.testing.assert_allclose(numbers[:, 2], film.residual_g_m2, **close)
    np.testing.assert_allclose(numbers[:, 3 : 3 + places].sum(axis=1)[5:], 1, atol=1e-6)
    np.testing.assert_allclose(numbers[:, -depths:], film.held_g_l, **close)
    np.testing.assert_allclose(numbers[:, -2 * depths : -depths], film.mobile_g_l, **close)


def test_fixer_in_layers_of_ones_own_is_somewhere() -> None:
    """A text-book slab is one layer with a name of its own: the shares add up to all there is."""
    numbers = runs.run(files.example("slab")).frames["numbers"]
    shares = numbers[:, 3 : 3 + len(runs.PLACES)]
    np.testing.assert_allclose(shares.sum(axis=1)[5:], 1, atol=1e-6)
    other = list(runs.PLACES).index("other")
    assert shares[5, other] == pytest.approx(1, abs=1e-3)


def test_words_follow_the_units() -> None:
    session = state.Session(DEMO)
    # 24 L at 3.785411784 L to the gallon (NIST Handbook 44, Appendix C)
    assert "24 L of water" in session.board.told["sentence"]
    told = asked(session, {"do": "units", "system": "us"})
    assert "6.34 gal of water" in told["sentence"]
    assert told["verdict"].endswith("6.34 gal")
