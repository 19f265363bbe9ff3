"""Scenario files: what is read, what is refused and in which words, round trip, JSON Schema."""

from __future__ import annotations

import copy
import os
import random
import re
import sys
import tomllib

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from tests.unit.drawn import EVERYTHING, trees
from washsim import files, schema
from washsim.errors import InputError
from washsim.scenario import Scenario

PLAIN = """
format = "washsim-scenario-1"
[vessels.tray]
volume_l = 4
[[steps]]
kind = "bath"
vessel = "tray"
duration_min = 10
"""
OWN = """
[sheet]
paper = "own"
[[sheet.layers]]
name = "front"
thickness_um = 25
porosity = 0.8
hindrance = 0.4
[[sheet.layers]]
name = "back"
thickness_um = 300
porosity = 0.6
hindrance = 0.05
"""
EPS = 2.0**-52
LONGEST = 300
"""Characters of a message, the file's name left out: what a person reads in one go."""


def said(error: InputError, where: str = "evening.toml") -> str:
    """The message, which must be one readable line that begins with the file."""
    message = str(error)
    assert message.startswith(where)
    assert message.isprintable(), message
    assert len(message) - len(where) <= LONGEST, message
    assert "Traceback" not in message
    return message.removeprefix(where)


def refused(text: str) -> str:
    """What loads says about a text, without the file's name."""
    with pytest.raises(InputError) as caught:
        files.loads(text, "evening.toml")
    return said(caught.value)


def edited(old: str, new: str) -> str:
    assert PLAIN.count(old) == 1
    return PLAIN.replace(old, new)


VOLUME = ", vessels.tray, volume_l: expected 0.05 to 2000 L, got "


@pytest.mark.parametrize(
    ("found", "shown"),
    [
        ("-4", "-4"),
        ("-0.0", "0"),
        ("2001", "2001"),
        ("nan", "nan"),
        ("inf", "inf"),
        ("-inf", "-inf"),
        ("1e999", "inf"),
        ("1" + "0" * 400, "a huge number"),
        ("-1" + "0" * 400, "a huge number"),
        ("0x" + "f" * 900, "a huge number"),
        ("true", "true"),
        ('"4"', "'4'"),
        ('"' + "4" * 900 + '"', "'" + "4" * 56 + "..."),
        ("[4]", "a list"),
        ("{ a = 4 }", "a table"),
        ("1979-05-27", "1979-05-27"),
        ("07:32:00", "07:32:00"),
    ],
)
def test_a_number_that_is_none_or_out_of_range(found, shown):
    assert refused(edited("= 4", f"= {found}")) == VOLUME + shown


def test_a_line_too_long_to_be_one_of_ours():
    # a key of so many parts took the TOML reader half a minute
    text = edited("volume_l", ".".join(["a"] * 20_000))
    assert refused(text) == ": expected lines of at most 1000 characters, got one of 40003"
    assert files.loads(PLAIN + "#" * 1000) == files.loads(PLAIN)
    assert refused(PLAIN + "#" * 1001).startswith(": expected lines of at most 1000 characters")


def test_a_number_python_will_not_read():
    # Python's own limit, 4300 digits unless set lower, is longer than a line may be
    limit = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(640)
    try:
        message = refused(edited("= 4", "= 1" + "0" * 900))
    finally:
        sys.set_int_max_str_digits(limit)
    assert message == ": not valid TOML: a number has too many digits"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        # unknown keys, at every level, the nearest named
        ("sheets = 3\n" + PLAIN, ": unknown key, expected title, sheet, "),
        (PLAIN + "[sheet]\ncuont = 3\n", ", sheet: unknown key, expected paper, "),
        (PLAIN + "[fixing]\nduration_min = 1\n", ", fixing: unknown key, expected "),
        (PLAIN + "[water]\ntemperature = 20\n", ", water: unknown key, expected "),
        (PLAIN + "[handling]\ndrain_min = 1\n", ", handling: unknown key, expected "),
        (PLAIN + "[target]\nresidual = 1\n", ", target: unknown key, expected "),
        (PLAIN + "[settings]\nnode = 1\n", ", settings: unknown key, expected "),
        (edited("volume_l", "volume_ml"), ", vessels.tray: unknown key, expected "),
        (edited("duration_min", "duration_s"), ", step 1 (bath): unknown key, expected "),
        (PLAIN + "[[late]]\nafter_s = 1\n", ", late 1: unknown key, expected "),
        (PLAIN + OWN + "thickness_mm = 1\n", ", sheet, layer 2: unknown key, expected "),
        # a key that must be there
        (edited("volume_l = 4", ""), ", vessels.tray: volume_l is missing, it must be given"),
        (edited("duration_min = 10", ""), ", step 1 (bath): duration_min is missing, it must"),
        (edited('vessel = "tray"', ""), ", step 1 (bath): vessel is missing, it must be given"),
        (PLAIN[: PLAIN.index("[[")], ": steps is missing, it must be given"),
        (PLAIN.replace("[vessels.tray]\nvolume_l = 4", ""), ": vessels is missing, it must"),
        # steps and their kinds
        (edited('"bath"', '"bathe"'), ", step 1, kind: expected rinse, aid, bath, "),
        (edited('"bath"', '["bath"]'), ", step 1, kind: expected rinse, aid, bath, "),
        (edited('"bath"', "{ a = 1 }"), ", step 1, kind: expected rinse, aid, bath, "),
        (edited('kind = "bath"\n', ""), ", step 1, kind: expected rinse, aid, bath, "),
        ("steps = []\n" + PLAIN[: PLAIN.index("[[")], ", steps: expected at least one, got none"),
        ("steps = 3\n" + PLAIN[: PLAIN.index("[[")], ", steps: expected a list of tables, got 3"),
        ("steps = [3]\n" + PLAIN[: PLAIN.index("[[")], ", step 1: expected a table, got 3"),
        (PLAIN + PLAIN[PLAIN.index("[[") :] * 60, ", steps: expected at most 60, got 61"),
        # tables, lists and words in each other's place
        ("sheet = 3\n" + PLAIN, ", sheet: expected a table, got 3"),
        ("sheet = [3]\n" + PLAIN, ", sheet: expected a table, got a list"),
        (PLAIN + "[late]\nstep = 1\n", ", late: expected a list of tables, got a table"),
        ("vessels = 3\n" + PLAIN[PLAIN.index("[[") :], ", vessels: expected named tables, got 3"),
        ("[vessels]\ntray = 3\n" + PLAIN[PLAIN.index("[[") :], ", vessels.tray: expected a table"),
        (PLAIN + '[sheet]\npaper = ["own"]\n', ", sheet, paper: expected fibre_double, "),
        (PLAIN + "[sheet]\npaper = {}\n", ", sheet, paper: expected fibre_double, "),
        (edited('"tray"', "3"), ", step 1 (bath), vessel: expected a line of at most 120 "),
        # counts
        (PLAIN + "[sheet]\ncount = 10000\n", ", sheet, count: expected a whole number from 1 to "),
        (PLAIN + "[sheet]\ncount = 2.5\n", ", sheet, count: expected a whole number from 1 to "),
        (PLAIN + "[sheet]\ncount = true\n", ", sheet, count: expected a whole number from 1 to "),
        # names
        (
            edited("volume_l = 4", 'volume_l = 4\nname = "tub"'),
            ", vessels.tray: unknown key, expected volume_l, ",
        ),
        (PLAIN + '[vessels.""]\nvolume_l = 4\n', ", vessels.'', name: expected a name"),
        (PLAIN + '[vessels."a\\nb"]\nvolume_l = 4\n', ", vessels.'a\\nb', name: expected a line "),
        (PLAIN + f"[vessels.{'x' * 121}]\nvolume_l = 4\n", ", vessels.'xxxxx"),
        (PLAIN + '["a\\nb"]\n', ": unknown key, expected title, "),
        (f"{'x' * 900} = 1\n" + PLAIN, ": unknown key, expected title, "),
        # rules between fields
        (PLAIN + "[fixing]\ndilution = '1+4'\nthiosulfate_g_l = 90\n", ", fixing, thiosulfate_g_l"),
        (PLAIN + "[sheet]\npaper = 'own'\n", ", sheet, layers: expected with paper = 'own', and"),
        (PLAIN + OWN.replace('paper = "own"', ""), ", sheet, layers: expected with paper = 'own'"),
        (PLAIN + "[target]\npreset = 'own'\n", ", target, residual_g_m2: expected with preset"),
        (PLAIN + "[target]\nresidual_g_m2 = 1\n", ", target, residual_g_m2: expected with preset"),
        (PLAIN + "[[late]]\nstep = 2\nafter_min = 1\n", ", late 1, step: expected the number of "),
        (PLAIN + OWN.replace("0.05", "1.5"), ", sheet, layer 2, hindrance: expected 0.001 to 1, "),
    ],
)
def test_a_mistake_is_told_with_its_place(text, message):
    if "format" not in text:
        text = f'format = "{files.FORMAT}"\n' + text
    elif not text.lstrip().startswith("format"):
        # a bare key must stand before the first table
        head, _, tail = text.partition(PLAIN.split("[")[0])
        text = f'format = "{files.FORMAT}"\n{head}{tail}'
    assert refused(text).startswith(message)


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("[sheet]\ncuont = 3\n", "count"),
        ("[fixing]\nduration_min = 1\n", "duration_s"),
        ("[water]\ntemperature = 20\n", "temperature_c"),
        ("[handling]\ndrain_min = 1\n", "drain_s"),
        ("[target]\nresidual = 1\n", "residual_g_m2"),
        ("[settings]\nnode = 1\n", "nodes"),
        ("[vessels.tub]\nvolume_ml = 1\n", "volume_l"),
        ("[[late]]\nafter_s = 1\n", "after_min"),
        ("[[steps]]\nkind = 'running'\nduration_s = 1\n", "duration_min"),
        ("[[steps]]\nkind = 'baths'\n", "bath"),
        ("[water]\nkind = 'soft_tab'\n", "soft_tap"),
        ("[sheets]\ncount = 3\n", "sheet"),
    ],
)
def test_the_nearest_right_word_is_named(text, right):
    assert refused(PLAIN + text).endswith(f"; did you mean {right!r}?")


@pytest.mark.parametrize("found", ['"washsim-scenario-2"', '""', "1", "1979-05-27", "[]", "{}"])
def test_the_format_line(found):
    message = refused(edited('"washsim-scenario-1"', found))
    assert message.startswith(": format: expected 'washsim-scenario-1', got ")


@pytest.mark.parametrize("text", ["", "# nothing\n", PLAIN.replace("format", "fromat")])
def test_no_format_line(text):
    assert refused(text) == ": format: expected 'washsim-scenario-1', got nothing"


@pytest.mark.parametrize(
    "dilution",
    ["1:4", "1+", "+4", "0+4", "-1+4", "1+-4", "nan+1", "1+inf", "1+4+5", "a+b", "", "4", "1001+1"],
)
def test_dilution_nonsense(dilution):
    message = refused(PLAIN + f"[fixing]\ndilution = '{dilution}'\n")
    assert message == f", fixing, dilution: expected parts such as '1+4', got '{dilution}'"


@pytest.mark.parametrize(
    "title", ["a\\u001b[31m", "a\\nb", "a\\u0000", "\\u202Eevil", "x" * 121, "x" * 900]
)
def test_a_title_that_would_spoil_a_screen(title):
    message = refused(f'title = "{title}"\n'.join(PLAIN.split("\n", 1)))
    if len(title) > 120:
        assert message.endswith(f"got {len(title)} characters")
    assert message.startswith(", title: expected a line of at most 120 printable characters, got ")


@pytest.mark.parametrize(
    "title", ["", "x" * 120, "[bold]no[/] <b>&amp;</b> :smile: \\[red]", "漢é"]
)
def test_a_title_comes_out_as_written(title):
    scenario = files.loads(PLAIN).but(title=title)
    again = files.loads(files.dumps(scenario))
    assert again.title == title
    assert again == scenario


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("= = =", "Invalid statement (at line 1, column 1)"),
        ('a = "', "Unterminated string"),
        ("a = 1\na = 2", "Cannot overwrite a value"),
        ("a = \0", "Invalid value"),
        ("[vessels.tray]\n[vessels.tray]", ""),
        ("a = 2026-02-30", "Invalid date"),
        ("x = " + "[\n" * 3000 + "]" * 900, "nested too deeply"),
        ("x" * 900, ""),
        (".".join(["a" * 90] * 9) + " = {}\n" + ".".join(["a" * 90] * 9) + ".b = 1", ""),
    ],
)
def test_what_is_not_toml(text, reason):
    message = refused(text)
    assert message.startswith(": not valid TOML: ")
    assert reason in message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (edited('"tray"', '"trai"'), "step 1, vessel: expected "),
        (edited('"bath"', '"running"'), "step 1, vessel: expected one with flow_l_min above 0, "),
        (PLAIN + "[[late]]\nstep = 1\nafter_min = 0\n", "step 1, late sheet, after_min: expected "),
        (PLAIN + "[[late]]\nstep = 1\nafter_min = 99\n", "step 1, late sheet, after_min: expected"),
    ],
)
def test_steps_that_cannot_be_carried_out(text, message):
    scenario = files.loads(text)
    with pytest.raises(InputError) as caught:
        _ = scenario.timeline
    assert said(caught.value, "step 1").startswith(message.removeprefix("step 1"))


# files on disk


def test_a_file_is_read(tmp_path):
    path = tmp_path / "evening.toml"
    path.write_text(PLAIN, encoding="utf-8")
    assert files.load(path) == files.load(str(path)) == files.loads(PLAIN)


@pytest.mark.parametrize("ends", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_mark_do_not_matter(tmp_path, ends, mark):
    path = tmp_path / "evening.toml"
    path.write_bytes(mark + PLAIN.replace("\n", ends).encode())
    assert files.load(path) == files.loads(PLAIN)


def unreadable(path) -> str:
    with pytest.raises(InputError) as caught:
        files.load(path)
    return said(caught.value, str(path))


def test_a_file_of_fifty_megabytes_is_not_read(tmp_path):
    path = tmp_path / "evening.toml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    assert unreadable(path) == ": expected at most 1 MB, got 50.0 MB"


def test_the_largest_file_is_read_and_one_byte_more_is_not(tmp_path):
    path = tmp_path / "evening.toml"
    text = PLAIN + "#" + "\n" * (files.LARGEST - len(PLAIN) - 1)
    path.write_text(text)
    assert files.load(path) == files.loads(PLAIN)
    path.write_text(text + "\n")
    assert unreadable(path).startswith(": expected at most 1 MB, got ")


def test_a_binary_file(tmp_path):
    path = tmp_path / "evening.toml"
    path.write_bytes(bytes(range(256)))
    assert unreadable(path) == ": expected UTF-8 text, got other bytes"


def test_a_folder_a_pipe_and_nothing(tmp_path):
    assert unreadable(tmp_path) == ": expected a TOML file, got a folder or device"
    os.mkfifo(tmp_path / "pipe")
    assert unreadable(tmp_path / "pipe") == ": expected a TOML file, got a folder or device"
    assert unreadable(tmp_path / "none") == ": cannot be read (No such file or directory)"
    (tmp_path / "file").write_text(PLAIN)
    assert unreadable(tmp_path / "file" / "none") == ": cannot be read (Not a directory)"
    assert unreadable(tmp_path / ("x" * 300)) == ": cannot be read (File name too long)"


def test_names_no_file_can_have():
    with pytest.raises(InputError) as caught:
        files.load("a\0b")
    assert said(caught.value, r"'a\x00b'").startswith(": cannot be read (")
    with pytest.raises(InputError) as caught:
        files.load("no\nsuch")
    assert said(caught.value, r"'no\nsuch'").startswith(": cannot be read (")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_one_may_not_read(tmp_path):
    path = tmp_path / "evening.toml"
    path.write_text(PLAIN)
    path.chmod(0)
    assert unreadable(path) == ": cannot be read (Permission denied)"


# examples


@pytest.mark.parametrize("name", files.examples())
def test_an_example_can_be_carried_out_and_comes_back_from_its_own_text(name):
    scenario = files.example(name)
    assert scenario.timeline.end > 0
    assert files.loads(files.dumps(scenario)) == scenario


def test_an_unknown_example_names_the_nearest():
    with pytest.raises(InputError, match=r"did you mean 'demo'\?$") as caught:
        files.example("dmeo")
    said(caught.value, "example")
    for odd in ("../demo", "demo.toml", "", "/etc/passwd"):
        with pytest.raises(InputError, match=r"^example: expected "):
            files.example(odd)


# whatever may be written

SLOW = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SCHEMA = schema.schema()
VALIDATOR = Draft202012Validator(SCHEMA)


@SLOW
@given(trees())
def test_every_drawn_file_is_read_and_comes_back_equal(tree):
    scenario = files.loads(tomli_w.dumps(tree))
    text = files.dumps(scenario)
    again = files.loads(text)
    assert again == scenario
    assert hash(again) == hash(scenario)
    # the shortest spelling is a fixed point
    assert files.dumps(again) == text
    assert VALIDATOR.is_valid(tree)


@SLOW
@given(trees())
def test_a_drawn_evening_expands_or_is_refused_in_one_sentence(tree):
    scenario = files.loads(tomli_w.dumps(tree))
    try:
        end = scenario.timeline.end
    except InputError as error:
        said(error, "step ")
    else:
        assert end > 0


@pytest.mark.parametrize("litres", [20.3, 0.1, 0.1 + 0.2, 1999.99, 2000.0, 4.0, 1 / 3])
def test_a_number_that_was_written_comes_back_in_its_shortest_spelling(litres):
    text = files.dumps(files.loads(edited("= 4", f"= {litres}")))
    written = re.search(r"volume_l = (.*)", text)[1]
    assert files.loads(text) == files.loads(edited("= 4", f"= {litres}"))
    assert len(written) <= len(repr(litres))
    assert float(written) == pytest.approx(litres, rel=EPS, abs=0)


def test_any_other_number_comes_back_as_near_as_its_unit_allows():
    drawn = random.Random(20)
    for _ in range(1000):
        cubic_metres = drawn.uniform(5e-5, 2)
        scenario = files.loads(PLAIN).but({"vessels.tray.volume": cubic_metres})
        once = files.loads(files.dumps(scenario))
        # one rounding there, one back
        assert once.vessels[0].volume == pytest.approx(cubic_metres, rel=EPS, abs=0)
        assert files.loads(files.dumps(once)) == once


def test_the_schema_is_one():
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"].endswith("2020-12/schema")


@pytest.mark.parametrize("text", [PLAIN, PLAIN + OWN, EVERYTHING])
def test_the_schema_accepts_what_is_read(text):
    assert isinstance(files.loads(text), Scenario)
    assert VALIDATOR.is_valid(tomllib.loads(text))


def holders(tree, path=()):
    """Every table in a tree, with the keys that lead to it."""
    if isinstance(tree, dict):
        yield tree, path
        for key, child in tree.items():
            yield from holders(child, (*path, key))
    elif isinstance(tree, list):
        for number, child in enumerate(tree):
            yield from holders(child, (*path, number))


WRONG = [True, "wrong", -1e9, 1e9, [], {}, {"a": 1}, [1], 0.5 + 1e6]


@st.composite
def spoiled(draw) -> tuple[dict, str]:
    """A drawn file with one thing in it that no rule between fields could forgive."""
    tree = copy.deepcopy(draw(trees()))
    places = list(holders(tree))
    table, path = draw(st.sampled_from(places))
    how = draw(st.sampled_from(["key", "value", "missing", "empty"]))
    if how == "key" and path != ("vessels",):
        table["no_such_key"] = 1
    elif how == "missing":
        block = draw(st.sampled_from([t for t, p in places if p[:1] in {("steps",), ("vessels",)}]))
        needed = {"kind", "vessel", "volume_l"} & set(block)
        block.pop(draw(st.sampled_from(sorted(needed))), None) if needed else tree.pop("steps")
    elif how == "empty":
        tree["steps"] = []
    else:
        numbers = [
            (t, k)
            for t, _ in places
            for k, v in t.items()
            if isinstance(v, int | float) and not isinstance(v, bool)
        ]
        holder, key = draw(st.sampled_from(numbers))
        holder[key] = draw(st.sampled_from(WRONG))
    return tree, how


@SLOW
@given(spoiled())
def test_schema_and_reader_refuse_alike(drawn):
    tree, how = drawn
    with pytest.raises(InputError) as caught:
        files.loads(tomli_w.dumps(tree), "evening.toml")
    said(caught.value)
    assert not VALIDATOR.is_valid(tree), how


NASTY = st.sampled_from(
    [
        *("", "nan", "-1", "1e999", "true", "[]", "{}", '""', "'''", "[[", "]]", "=", ".", "\\"),
        *("\0", "\r", "\u2028", "\ud800", "#", "0xffffffffffffffffffffffff", "1979-05-27"),
        *("[steps]", "[[late]]", "steps = 1", "kind = []", "name = 3", "format = 1", '"own"'),
        *("9" * 900, "9" * 5000, "[" * 500),
    ]
)


@st.composite
def mangled(draw) -> str:
    """A good file after up to four accidents."""
    text = draw(st.sampled_from([PLAIN, PLAIN + OWN, EVERYTHING]))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        stop = min(len(text), start + draw(st.integers(0, 30)))
        how = draw(st.sampled_from(["put", "cut", "double", "line", "word"]))
        if how == "put":
            text = text[:start] + draw(NASTY | st.text(max_size=3)) + text[start:]
        elif how == "cut":
            text = text[:start] + text[stop:]
        elif how == "double":
            text = text[:stop] + text[start:]
        else:
            lines = text.split("\n")
            number = draw(st.integers(0, len(lines) - 1))
            key, _, _ = lines[number].partition(" = ")
            other = draw(st.sampled_from(lines))
            lines[number] = other if how == "line" else f"{key} = {draw(NASTY)}"
            text = "\n".join(lines)
    return text


@settings(SLOW, max_examples=400)
@given(mangled())
def test_no_accident_raises_anything_but_one_sentence(text):
    try:
        scenario = files.loads(text, "evening.toml")
    except InputError as error:
        said(error)
        return
    assert files.loads(files.dumps(scenario)) == scenario
    try:
        _ = scenario.timeline
    except InputError as error:
        said(error, "step ")
