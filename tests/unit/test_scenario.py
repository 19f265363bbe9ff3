"""Varying a scenario: every declared path, suggestions, nothing changed by accident."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import FrozenInstanceError, fields, is_dataclass
from typing import Any

import pytest

from tests.unit.drawn import EVERYTHING
from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import Choice, Declared, Part, Quantity, Text, declared
from washsim.recipes import Bath, Drain
from washsim.scenario import Scenario, Target, value_at

EVERY = files.loads(EVERYTHING)


def walk(node: Any, before: str = "") -> list[tuple[str, Declared, Any]]:
    """(path, declaration, value) of everything that stands in a scenario."""
    found = []
    for name, spec in declared(type(node)).items():
        path, value = f"{before}{name}", getattr(node, name)
        found.append((path, spec, value))
        if isinstance(spec, Part) and value is not None:
            several = spec.many or spec.named
            children = [(str(i), x) for i, x in enumerate(value, 1)] if several else [("", value)]
            for number, child in children:
                found += walk(child, f"{path}.{number}." if number else f"{path}.")
    return found


PATHS = walk(EVERY)
TIED: dict[str, tuple[Callable[[Any], bool], str]] = {
    "sheet.paper": (lambda new: new != "own", "layers: expected with paper = 'own'"),
    "target.preset": (lambda new: new != "own", "residual_g_m2: expected with preset = 'own'"),
    "late.N.step": (lambda new: new > 1, "step: expected the number of a step in water"),
    "fixing.dilution": (lambda new: True, "thiosulfate_g_l: expected either it or dilution, got"),
    "vessels.N.name": (lambda new: not new, "name: expected a name, got an empty one"),
    "vessels.N.shuffle": (lambda new: True, "shuffle_min: expected with stirring = 'shuffled'"),
    "vessels.N.stirring": (lambda new: new == "shuffled", "shuffle_min: expected with stirring"),
}
"""Paths whose value a rule ties to another field: which new values break it, and what it says."""


def changed(path: str, new: Any) -> Scenario | None:
    """The scenario with a new value at a path; None where a rule forbids it, as it must say."""
    breaks, message = TIED.get(re.sub(r"\.\d+\.", ".N.", path), (lambda new: False, ""))
    if not breaks(new):
        return EVERY.but({path: new})
    with pytest.raises(InputError, match=message) as told:
        EVERY.but({path: new})
    assert str(told.value).startswith(path)
    return None


def of(kind: type) -> list[Any]:
    return [pytest.param(p, spec, value, id=p) for p, spec, value in PATHS if type(spec) is kind]


def test_the_walk_sees_every_kind_of_block():
    assert len(PATHS) > 100
    assert {"steps.7.trays", "sheet.layers.2.hindrance", "vessels.2.flow", "late.1.after"} <= {
        path for path, _, _ in PATHS
    }


@pytest.mark.parametrize(("path", "spec", "value"), of(Quantity))
def test_a_number_can_be_changed_to_any_in_its_range_and_no_other(path, spec, value):
    for end in (spec.low, spec.high):
        new = int(end) if spec.whole else spec.unit.to_si(end)
        other = changed(path, new)
        if other is not None:
            assert value_at(other, path) == new
            assert other.but({path: value}) == EVERY
    for wrong in (spec.unit.to_si(spec.high + 1), True, "4", float("nan"), 10**400):
        with pytest.raises(InputError, match=r"expected .* to ") as told:
            EVERY.but({path: wrong})
        assert str(told.value).startswith(path)
        assert str(told.value).isprintable()


@pytest.mark.parametrize(("path", "spec", "value"), of(Choice))
def test_a_word_can_be_changed_to_any_of_its_options_and_no_other(path, spec, value):
    assert value_at(EVERY, path) == value
    for new in spec.options:
        other = changed(path, new)
        assert other is None or value_at(other, path) == new
    with pytest.raises(InputError, match="; did you mean ") as told:
        EVERY.but({path: spec.options[-1] + "x"})
    assert str(told.value).startswith(path)


@pytest.mark.parametrize(("path", "spec", "value"), of(Text))
def test_a_text_can_be_changed_to_a_line(path, spec, value):
    for new in ("another", ""):
        other = changed(path, new)
        assert other is None or value_at(other, path) == new
    for wrong in ("a\nb", "x" * (spec.longest + 1), 3):
        with pytest.raises(InputError, match="expected a line of at most") as told:
            EVERY.but({path: wrong})
        assert str(told.value).startswith(path)


@pytest.mark.parametrize(("path", "spec", "value"), of(Part))
def test_a_part_can_be_changed_to_another_of_its_kind_and_nothing_else(path, spec, value):
    assert EVERY.but({path: value}) == EVERY
    for wrong in (5, "abc", [value], (5,)):
        with pytest.raises(InputError, match="expected ") as told:
            EVERY.but({path: wrong})
        assert str(told.value).startswith(path)


@pytest.mark.parametrize("path", sorted({path for path, _, _ in PATHS}))
def test_a_misspelt_path_names_the_right_one(path):
    *before, last = path.split(".")
    wrong = ".".join([*before, last + "x"])
    with pytest.raises(InputError) as told:
        EVERY.but({wrong: 1.0})
    assert str(told.value).startswith(f"{wrong}: expected ")
    assert str(told.value).endswith(f"got '{last}x'; did you mean {last!r}?")


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("vessels.trai.volume", "vessels.trai.volume: expected tray, washer or row, got 'trai'; "),
        ("vessels.4.volume", "vessels.4.volume: expected tray, washer or row, got '4'"),
        ("steps.0.duration", "steps.0.duration: expected 1, 2, 3, 4, 5, 6 or 7, got '0'"),
        ("steps.8.duration", "steps.8.duration: expected 1, 2, 3, 4, 5, 6 or 7, got '8'"),
        ("steps.one.duration", "steps.one.duration: expected 1, 2, 3, 4, 5, 6 or 7, got 'one'"),
        ("sheet.layers.bas.porosity", "sheet.layers.bas.porosity: expected emulsion or base, got "),
        ("sheet.count.more", "sheet.count.more: nothing below 'more'"),
        ("", ": expected title, sheet, "),
        ("sheet.", "sheet.: expected paper, width, "),
    ],
)
def test_a_path_that_leads_nowhere(path, message):
    for call in (lambda: EVERY.but({path: 1.0}), lambda: value_at(EVERY, path)):
        with pytest.raises(InputError) as told:
            call()
        assert str(told.value).startswith(message)


def test_a_path_into_an_empty_list():
    with pytest.raises(InputError, match=r"^late.1.step: nothing to name there"):
        files.example("demo").but({"late.1.step": 1})


def test_names_and_numbers_lead_to_the_same_place():
    assert EVERY.but({"vessels.washer.flow": 1e-4}) == EVERY.but({"vessels.2.flow": 1e-4})
    assert EVERY.but({"sheet.layers.base.porosity": 0.5}) == EVERY.but(
        {"sheet.layers.2.porosity": 0.5}
    )
    assert value_at(EVERY, "vessels.row.volume") == 2e-3


def test_several_changes_at_once_and_keywords():
    steps = (Drain(duration=30.0), Bath(vessel="tray", duration=60.0))
    other = EVERY.but({"fixing.duration": 300.0, "late": ()}, steps=steps, title="Other")
    assert (other.fixing.duration, other.steps, other.title) == (300.0, steps, "Other")
    assert EVERY.but() == EVERY.but({}) == EVERY


def test_one_change_touches_nothing_else():
    other = EVERY.but({"steps.4.baths": 5})
    differ = [p for p, spec, v in PATHS if type(spec) is not Part and value_at(other, p) != v]
    assert differ == ["steps.4.baths"]


def test_a_rule_between_fields_is_kept():
    with pytest.raises(InputError, match=r"^vessels\.tray\.name: vessels: expected each name once"):
        EVERY.but({"vessels.tray.name": "washer"})
    with pytest.raises(InputError, match=r"^steps: expected at least one"):
        EVERY.but(steps=())
    with pytest.raises(InputError, match=r"^late\.1\.step: late 1, step: expected the number"):
        EVERY.but({"late.1.step": 2})  # a drain
    with pytest.raises(InputError, match="thiosulfate_g_l: expected either it or dilution"):
        EVERY.but({"fixing.dilution": "1+4"})


def test_nothing_can_be_changed_in_place():
    for holder in {id(v): v for _, _, v in PATHS if is_dataclass(v)}.values():
        for one in fields(holder):
            with pytest.raises(FrozenInstanceError):
                setattr(holder, one.name, None)
        with pytest.raises((FrozenInstanceError, TypeError, AttributeError)):
            holder.no_such_field = 1
    before = hash(EVERY)
    EVERY.but({"sheet.count": 3, "vessels.tray.volume": 1e-3})
    assert files.loads(EVERYTHING) == EVERY
    assert hash(EVERY) == before


def test_equal_scenarios_are_one_key():
    again = files.loads(EVERYTHING)
    assert again is not EVERY
    assert {EVERY: "found"}[again] == "found"
    assert len({EVERY, again, again.but({"sheet.count": EVERY.sheet.count})}) == 1


def test_every_number_matters_to_equality():
    seen, tried = {EVERY}, 0
    for path, spec, value in PATHS:
        if isinstance(spec, Quantity):
            low = int(spec.low) if spec.whole else spec.unit.to_si(spec.low)
            high = int(spec.high) if spec.whole else spec.unit.to_si(spec.high)
            other = changed(path, high if value == low else low)
            if other is not None:
                seen.add(other)
                tried += 1
    assert tried > 50
    assert len(seen) == 1 + tried


def test_paper_area_counts_late_sheets():
    assert EVERY.paper_area == pytest.approx((5 + 1) * 0.203 * 0.254, rel=1e-15)


@pytest.mark.parametrize("preset", ["film_limit", "strict", "everyday"])
def test_target_is_that_of_the_tables(preset):
    limit = tables.datum(f"limits.target.{preset}.value")
    assert limit.unit == "g/m2"
    assert Target(preset=preset).limit == pytest.approx(1e-3 * limit.value, rel=1e-15)
    assert Target(preset="own", residual=2e-5).limit == 2e-5


def test_a_scenario_needs_steps_and_vessels():
    with pytest.raises(TypeError):
        Scenario()
