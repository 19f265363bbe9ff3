"""``washsim gauge`` as typed."""

from __future__ import annotations

import math

import pytest

from washsim import __main__ as cli
from washsim import files
from washsim.units import litre_per_minute


def run(capsys, *words: str) -> tuple[int, str, str]:
    status = cli.main(["gauge", *words])
    out, err = capsys.readouterr()
    return status, out, err


def test_a_jug_and_a_watch(capsys):
    """A litre in twelve seconds; half a second in twelve and 20 mL in a litre, in quadrature."""
    status, out, err = run(capsys, "--jug", "1", "--seconds", "12")
    assert (status, err) == (0, "")
    error = 5 * math.hypot(0.5 / 12, 0.02)
    assert f"Flow 5, give or take {error:.2g}, in L/min." in out
    assert "flow_l_min = 5" in out
    assert "dye" not in out


def test_dye_says_how_well_the_water_exchanges(capsys):
    """Stirred perfectly it fades as exp(-t / 4 min): to a tenth in 9.2 min, not in 23."""
    status, out, _ = run(capsys, "--jug", "1", "--seconds", "12", "--vessel", "20", "--dye", "23")
    words = " ".join(out.split())
    assert status == 0
    assert f"fade to a tenth in {4 * math.log(10):.2g} min" in words
    assert f"exchange_efficiency = {4 * math.log(10) / 23:.2g}" in words
    _, out, _ = run(capsys, "--jug", "1", "--seconds", "12", "--vessel", "20", "--dye", "5")
    assert "time it again" in out
    assert "exchange_efficiency = 1" in out


def test_gallons_give_the_same(capsys):
    _, out, _ = run(capsys, "--jug", "0.264172", "--seconds", "12", "--units", "us")
    assert "in gal/min" in out
    # what it says for a file is what a file takes
    key, value = (
        next(line for line in out.splitlines() if " = " in line).split(": ")[1].split(" = ")
    )
    changed = files.changed(files.example("running"), {f"vessels.washer.{key}": float(value)}, "")
    assert changed.vessels[0].flow == pytest.approx(5 * litre_per_minute, rel=1e-3)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--jug", "0", "--seconds", "12"), "--jug: expected more than 0"),
        (("--jug", "1", "--seconds", "nan"), "--seconds: expected more than 0"),
        (("--jug", "1", "--seconds", "12", "--dye", "9"), "--vessel and --dye: expected both"),
    ],
)
def test_bad_input_is_one_sentence(capsys, words, says):
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert says in err
