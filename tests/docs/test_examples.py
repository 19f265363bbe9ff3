"""The examples that come along: each loads, solves, round-trips, and says what it claims."""

from __future__ import annotations

import tomllib

import jsonschema
import pytest

from tests.references import cases, closed_forms
from washsim import files, schema
from washsim.solve import good_enough, solve

NAMES = files.examples()
VALIDATOR = jsonschema.Draft202012Validator(schema.schema())


def test_one_example_for_each_wash_method():
    used = {step["kind"] for name in NAMES for step in tree(name)["steps"]}
    offered = {one["properties"]["kind"]["const"] for one in step_schemas()}
    assert used == offered
    assert any("late" in tree(name) for name in NAMES)


def tree(name: str) -> dict:
    return tomllib.loads(files.example_text(name))


def step_schemas() -> list[dict]:
    return schema.schema()["properties"]["steps"]["items"]["oneOf"]


def test_the_schema_is_one():
    VALIDATOR.check_schema(schema.schema())


@pytest.mark.parametrize("name", NAMES)
def test_fits_the_published_schema(name):
    VALIDATOR.validate(tree(name))


@pytest.mark.parametrize(
    ("path", "value"),
    [(("sheet", "counts"), 3), (("sheet", "count"), 0), (("steps", 0, "vessel"), 4)],
)
def test_the_schema_refuses_what_the_reader_refuses(path, value):
    wrong = tree("demo")
    here = wrong
    for piece in path[:-1]:
        here = here[piece]
    here[path[-1]] = value
    assert not VALIDATOR.is_valid(wrong)


@pytest.mark.parametrize("name", NAMES)
def test_reads_back_what_it_writes(name):
    scenario = files.example(name)
    assert files.loads(files.dumps(scenario)) == scenario


@pytest.mark.parametrize("name", NAMES)
def test_says_that_it_is_invented(name):
    assert "nvented" in tree(name)["title"]


@pytest.mark.parametrize("name", NAMES)
def test_solves_and_loses_nothing(name):
    result = solve(files.example(name))
    assert result.numerical_error <= good_enough(result.scenario)
    assert result.balance < 1e-10
    # at the sink the water must leave something behind, and never more than the fixer brought
    assert 0 < result.worst_residual < max(result.load)


def test_slab_follows_its_closed_form():
    """Crank 1975 eq. 4.17 and 4.18; 2000 L renewed each minute are clean water to 5e-4."""
    result = solve(files.example("slab"))
    fixed, target = cases.in_slab_time(300), 0.015 / 25
    load = 25 * closed_forms.slab_fixed_then_washed(fixed, 0.0)
    assert 1e3 * result.load[0] == pytest.approx(load, rel=5e-4)
    minutes = closed_forms.time_to_fraction(target, fixed) / cases.in_slab_time(60)
    assert result.minutes_to_target == pytest.approx(minutes, rel=5e-4)


@pytest.mark.parametrize(
    ("name", "area", "passes"), [("strip", 0.005, True), ("batch", 14 * cases.SHEET_AREA, False)]
)
def test_strip_and_batch_end_in_balance(name, area, passes):
    result = solve(files.example(name))
    held = 0.25 * area
    assert 1e3 * result.worst_residual == pytest.approx(25 * held / (held + 5), rel=1e-5)
    assert (result.minutes_to_target is not None) is passes


@pytest.mark.parametrize(
    ("name", "litres"),
    [
        ("hold_and_changes", 10 * 2 + 5 * 10),  # holding tray twice, then five baths
        ("transfer", 2 * 7 + 2 * 4),  # seven trays, one renewed after prints 3, 6, 9 and 12
        ("changes", 6 * 4),
        ("running", 20 + 4 * 60),  # the first filling counts
    ],
)
def test_litres_are_those_the_comments_say(name, litres):
    assert 1e3 * solve(files.example(name)).litres_total == pytest.approx(litres)


def test_the_late_sheet_brings_the_others_up():
    """Sheet 1 rises after the guest comes; with the rinse of the comment it rises less."""
    scenario = files.example("late_sheet")
    rinsed = scenario.but({"late.1.rinse_volume": 1e-3, "late.1.rinse_duration": 600.0})
    rises = []
    for one in (scenario, rinsed):
        result = solve(one)
        joins = 60.0 + 10.0 + 40 * 60.0  # fixed, drained, and forty minutes on
        before, after = (result.residual[0][result.times <= t][-1] for t in (joins, joins + 240))
        rises.append(after - before)
    assert rises[0] > 0
    assert rises[1] < 0.5 * rises[0]
