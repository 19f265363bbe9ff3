"""Field declarations: what they say, what they let pass, and how they refuse."""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.drawn import WORDS
from washsim import fields, tables
from washsim.errors import InputError
from washsim.fields import Choice, Part, Quantity, Text, declared, default_of, key_of
from washsim.recipes import Bath
from washsim.scenario import Scenario


def blocks(cls: type = Scenario) -> list[type]:
    """Every dataclass of the scenario format, outermost first."""
    found = [cls]
    for spec in declared(cls).values():
        for kind in spec.kinds if isinstance(spec, Part) else ():
            found += [one for one in blocks(kind) if one not in found]
    return found


FIELDS = [(cls, name, spec) for cls in blocks() for name, spec in declared(cls).items()]
QUANTITIES = [
    pytest.param(cls, name, spec, id=f"{cls.__name__}.{name}")
    for cls, name, spec in FIELDS
    if isinstance(spec, Quantity)
]


def test_the_walk_reaches_every_kind_of_step():
    assert set(WORDS) <= set(blocks())
    assert len(QUANTITIES) > 50


@pytest.mark.parametrize(
    ("cls", "name", "spec"), FIELDS, ids=[f"{c.__name__}.{n}" for c, n, _ in FIELDS]
)
def test_declaration_is_complete(cls, name, spec):
    assert spec.meaning.strip() == spec.meaning != ""
    keys = [key_of(one, each) for one, each in declared(cls).items()]
    assert len(set(keys)) == len(keys)
    default = default_of(cls, name)
    if isinstance(spec, Choice):
        assert len(set(spec.options)) == len(spec.options) > 1
        assert default in (MISSING, None, *spec.options)


@pytest.mark.parametrize(("cls", "name", "spec"), QUANTITIES)
def test_default_lies_in_its_range_and_agrees_with_its_datum(cls, name, spec):
    assert spec.low < spec.high
    default = default_of(cls, name)
    if default not in (MISSING, None):
        fields.check_number(spec, default, name)
    if spec.source:
        assert default == tables.datum(spec.source).si


@pytest.mark.parametrize(("cls", "name", "spec"), QUANTITIES)
def test_both_ends_are_allowed_and_nothing_beyond(cls, name, spec):
    for end, beyond in ((spec.low, spec.low - 1), (spec.high, spec.high + 1)):
        si = spec.unit.to_si(end)
        fields.check_number(spec, int(si) if spec.whole else si, name)
        with pytest.raises(InputError) as told:
            fields.check_number(spec, spec.unit.to_si(beyond), name)
        assert str(told.value) == f"{name}: expected {spec.range}, got {beyond:g}"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, -(10**400)])
@pytest.mark.parametrize(("cls", "name", "spec"), QUANTITIES[:3])
def test_what_is_no_finite_number_is_refused(cls, name, spec, value):
    with pytest.raises(InputError, match=f"^{name}: expected .* to .*, got "):
        fields.check_number(spec, value, name)


@pytest.mark.parametrize("value", [True, False, "4", None, [4], {"a": 4}, 4j])
def test_what_is_no_number_is_refused(value):
    spec = declared(Bath)["duration"]
    with pytest.raises(InputError, match=r"^here: expected 0\.01 to 3000 min, got "):
        fields.check_number(spec, value, "here")


@pytest.mark.parametrize("value", [2.0, 2.5])
def test_a_whole_number_is_an_int(value):
    spec = declared(Bath)["baths"]
    with pytest.raises(InputError, match=rf"a whole number from 1 to 60, got {value}"):
        fields.check_number(spec, value, "here")


def test_range_reads_as_a_person_says_it():
    assert declared(Bath)["baths"].range == "a whole number from 1 to 60"
    assert declared(Bath)["temperature"].range == "1 to 45 °C"


def test_key_is_name_and_suffix():
    keys = {name: key_of(name, spec) for name, spec in declared(Bath).items()}
    assert keys["duration"] == "duration_min"
    assert keys["temperature"] == "temperature_c"
    assert keys["baths"] == "baths"
    assert keys["vessel"] == "vessel"


def test_check_names_the_key_of_a_field_and_lets_none_stand_where_it_may():
    @dataclass(kw_only=True)
    class Jug:
        volume: float | None = fields.quantity("l", 1, 2, "water in it", default=None)
        colour: str = fields.choice(("red", "blue"), "its colour", default="red")
        label: str = fields.text("what is written on it", default="")

    fields.check(Jug())
    fields.check(Jug(volume=1e-3))
    for wrong, message in (
        (Jug(volume=3e-3), "volume_l: expected 1 to 2 L, got 3"),
        (Jug(colour="blu"), "colour: expected red or blue, got 'blu'; did you mean 'blue'?"),
        (Jug(colour=None), "colour: expected red or blue, got nothing"),
        (
            Jug(label="a\tb"),
            r"label: expected a line of at most 120 printable characters, got 'a\\tb'",
        ),
        (Jug(label="x" * 121), "label: expected a line of .* got 121 characters"),
    ):
        with pytest.raises(InputError, match=f"^{message.replace('?', '[?]')}$"):
            fields.check(wrong)


@pytest.mark.parametrize("wrong", [5, "abc", [Bath(vessel="t", duration=60.0)], (5,), None])
def test_a_part_is_a_tuple_of_its_blocks(wrong):
    spec = declared(Scenario)["steps"]
    with pytest.raises(InputError, match=r"^steps: expected a tuple of Rinse or .*Drain, got "):
        fields.check_part(spec, wrong, "steps")


def test_a_part_has_a_greatest_length():
    spec = declared(Scenario)["steps"]
    fields.check_part(spec, (Bath(vessel="t", duration=60.0),) * 60, "steps")
    with pytest.raises(InputError, match=r"^steps: expected at most 60, got 61$"):
        fields.check_part(spec, (Bath(vessel="t", duration=60.0),) * 61, "steps")


@pytest.mark.parametrize("value", ["", "x" * 120, "[bold]#'\"\\ é 漢"])
def test_a_line_of_text_passes(value):
    fields.check_text(Text("meaning"), value, "here")


@pytest.mark.parametrize("value", ["a\nb", "\x00", "\x1b[31m", "\u202e", "\ud800", "x" * 121, 3])
def test_what_is_no_line_of_text_is_refused(value):
    with pytest.raises(InputError, match=r"^here: expected a line of at most 120 ") as told:
        fields.check_text(Text("meaning"), value, "here")
    assert str(told.value).isprintable()


def test_one_of_names_the_nearest_or_none():
    assert fields.one_of("bathh", ("bath", "rinse", "hold")) == (
        "bath, rinse or hold, got 'bathh'; did you mean 'bath'?"
    )
    assert fields.one_of("zzz", ("bath", "rinse")) == "bath or rinse, got 'zzz'"
    assert fields.one_of(["bath"], ("bath",)) == "bath, got a list"


anything = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**60), 10**60),
    st.floats(),
    st.text(),
    st.dates(),
    st.times(),
    st.binary(),
    st.lists(st.integers()),
    st.dictionaries(st.text(), st.integers()),
)


@given(anything)
def test_short_is_one_short_line(found):
    shown = fields.short(found)
    assert 0 < len(shown) <= 60
    assert shown.isprintable()


@given(st.text(max_size=200))
def test_label_is_the_name_or_one_short_line(name):
    shown = fields.label(name)
    assert shown.isprintable()
    assert 0 < len(shown) <= 60
    if name.isprintable() and 0 < len(name) <= 60:
        assert shown == name


def test_short_takes_numbers_python_will_not_print():
    assert fields.short(16**5000) == "a huge number"


def test_a_long_list_of_names_is_counted_instead():
    names = [f"name {number} {'x' * 20}" for number in range(60)]
    told = fields.one_of(names[7] + "y", names)
    assert told.startswith("one of 60 names, got 'name 7 ")
    assert told.endswith(f"did you mean {names[7]!r}?")
