"""``washsim plan`` as a user calls it."""

from __future__ import annotations

import json
import re

import pytest

from washsim import __main__ as cli
from washsim import files, planner, plans, unknowns
from washsim.solve import solve


@pytest.fixture(autouse=True)
def few_draws(monkeypatch, tmp_path):
    """Draws enough for manners; their number is tested where chances are."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)
    whole = unknowns.draw
    monkeypatch.setattr(unknowns, "draw", lambda scenario: whole(scenario, 16))


def run(capsys, *arguments: str) -> tuple[int, str, str]:
    status = cli.main(list(arguments))
    out, err = capsys.readouterr()
    return status, out, err


def test_the_demo_is_planned_within_its_own_time(capsys):
    status, out, err = run(capsys, "plan")
    assert (status, err) == (0, "")
    assert "within 60.2 min of the first print leaving the fixer" in out.replace("\n", "")
    assert "6 × 4 L in tray, 10 min each" in out  # the file's own steps
    assert "Least water: " in out
    assert max(map(len, out.splitlines())) <= 80


def test_json_and_files_hold_scenarios_that_run(capsys, tmp_path):
    status, out, err = run(capsys, "plan", "--minutes", "55", "--json", "--write", "plans")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["format"] == "washsim-plan-1"
    assert found["minutes"] == 55
    assert found["draws"] == 16
    assert found["closest"] is found["soonest"] is None
    written = sorted((tmp_path / "plans").iterdir())
    assert [path.name for path in written] == [
        f"plan-{i}.toml" for i in range(1, len(found["plans"]) + 1)
    ]
    for path, plan in zip(written, found["plans"], strict=True):
        assert plan["minutes"] <= 55
        assert plan["chance"] >= 0.9
        assert files.load(path) == files.loads(plan["scenario"])
    status, out, err = run(capsys, "plan", "--minutes", "55", "--write", "plans")
    assert status == 2
    assert "plan-1.toml: is there already" in err


def test_gallons_for_who_wants_them(capsys):
    status, out, _ = run(capsys, "plan", "--units", "us", "--minutes", "50", "--no-rinse")
    assert status == 0
    assert "6 × 1.06 gal in tray" in out
    assert "water, gal" in out
    assert not re.search(r"\d L\b", out)


def test_none_found_says_so_with_a_status(capsys):
    status, out, _ = run(capsys, "plan", "--minutes", "15")
    assert status == 1
    assert "No plan: nothing found with these vessels meets it within 15 min." in out
    assert "closest" in out
    assert "Soonest: " in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--minutes", "0"), "demo, minutes: expected more than 0"),
        (("--chance", "2"), "demo, chance: expected more than 0 and less than 1, got 2"),
        (("--margin", "0"), "demo, margin: expected 1 to 1000, got 0"),
    ],
)
def test_wishes_that_mean_nothing(capsys, arguments, says):
    status, out, err = run(capsys, "plan", *arguments)
    assert (status, out) == (2, "")
    assert says in err


def test_what_is_no_number(capsys):
    with pytest.raises(SystemExit) as stopped:
        run(capsys, "plan", "--minutes", "soon")
    assert stopped.value.code == 2
    assert "expected a number, got 'soon'" in capsys.readouterr().err


def test_prints_that_may_not_be_fixed_are_told_first(capsys, tmp_path):
    """Story S29: a fixer at 60 sheets a litre; wash numbers are still given."""
    spent = files.example("demo").but({"fixing.sheets_per_litre": 60.0})
    path = tmp_path / "spent.toml"
    path.write_text(files.dumps(spent), encoding="utf-8")
    status, out, _ = run(capsys, "plan", str(path))
    assert status == 0
    assert out.index("silver") < out.index("Plans")
    assert "Least water: " in out


def test_how_much_longer_a_plan_would_need_to_equal_another():
    """Drawn out by that long it ends there, and not with half a minute less."""
    scenario = files.example("demo").but({"steps.1.baths": 1, "steps.1.duration": 600.0})
    made = plans.Plan(scenario=scenario, seconds=610.0, volume=4e-3, chance=0.0, residual=1.0)
    aim = 0.8 * solve(scenario).worst_residual
    longer = planner.seconds_to_equal(made, aim)
    for seconds, enough in ((longer, True), (longer - 30.0, False)):
        drawn_out = solve(scenario.but({"steps.1.duration": 600.0 + seconds}))
        assert (drawn_out.worst_residual <= aim) == enough
    assert planner.seconds_to_equal(made, solve(scenario).worst_residual * 1.001) == 0
    # the floor of this water
    assert planner.seconds_to_equal(made, 1e-9) is None


def test_own_steps_that_fail_are_said_to(capsys):
    status, out, _ = run(capsys, "plan", "--margin", "8", "--minutes", "150")
    told = out.replace("\n", " ")
    assert status == 0
    assert re.search(r"do not meet what was asked: their chance is \d+ %\.", told)
    assert "saves" not in told
    # the standard error of nine tenths of sixteen draws is 0.075
    assert "Chances are shares of 16 draws, good to 8 in 100." in told
