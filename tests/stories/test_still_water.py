"""Does it sink? Prints in still water, by the calls a user makes."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import files
from washsim.errors import InputError
from washsim.recipes import Bath
from washsim.solve import solve
from washsim.vessels import Vessel

MINUTE, LITRE = 60.0, 1e-3


def washed(lying: str, stirring: str = "still", **changes):
    """One print, five minutes in plain hypo, an hour in 10 L."""
    tray = Vessel(name="tray", volume=10 * LITRE, stirring=stirring, lying=lying)
    demo = files.example("demo").but(
        {
            "sheet.count": 1,
            "fixing.fixer": "plain",
            "fixing.dilution": None,
            "fixing.duration": 5 * MINUTE,
            "vessels": (tray,),
            "steps": (Bath(vessel="tray", duration=60 * MINUTE),),
            **changes,
        }
    )
    return solve(demo)


def left(result, minutes: float) -> float:
    return float(result.at(0, np.array([result.run.left_fixer[0] + minutes * MINUTE]))[0])


def test_only_in_still_water_does_it_matter_which_way_a_print_lies():
    """Face up on the floor keeps several times what face down or hanging does; rocked, little."""
    found = {lying: left(washed(lying), 30) for lying in ("floor", "face_down", "hanging")}
    assert found["floor"] > 10 * found["face_down"]
    assert found["hanging"] < found["face_down"]
    rocked = [left(washed(lying, "rocking"), 30) for lying in ("loose", "floor")]
    assert rocked[1] < 1.5 * rocked[0]
    # by its own weight alone a hanging print does nearly as well as a rocked one
    assert found["hanging"] < 1.1 * rocked[0]


def test_rocking_pumps_out_what_lies_beneath():
    """The same print on the same floor, an hour of rest against an hour of rocking."""
    still, rocked = washed("floor"), washed("floor", "rocking")
    assert still.worst_residual > 20 * rocked.worst_residual
    assert still.balance < 1e-12
    assert rocked.balance < 1e-12


def test_a_dry_back_is_a_covered_back():
    """Afloat, a print washes through its front alone."""
    afloat, level = washed("afloat"), washed("face_down")
    assert left(afloat, 30) > 10 * left(level, 30)
    assert afloat.open_faces(0, afloat.run.timeline.end) == (1.0, 0.0)


def test_weight_stirs_less_as_the_print_empties():
    """The half-life in force lengthens as the films do."""
    result = washed("hanging", **{"sheet.explanation": "slow"})
    start = result.run.left_fixer[0]
    early, late = (result.half_lives(0, start + m * MINUTE)[0] for m in (1, 50))
    assert late > 1.05 * early


def test_loose_in_still_water_counts_as_hanging():
    """So that stirring and lying can be changed one after the other."""
    assert washed("loose").worst_residual == washed("hanging").worst_residual


def test_the_water_beneath_is_the_dead_part():
    with pytest.raises(InputError, match="dead_fraction: expected 0 with lying = 'floor'"):
        Vessel(name="tray", volume=LITRE, lying="floor", dead_fraction=0.2)
