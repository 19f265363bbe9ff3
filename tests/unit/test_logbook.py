"""The log: whole or not at all, whatever is killed, full, or done at once."""

from __future__ import annotations

import os
import random
import resource
import signal
import time

import pytest

from washsim import files, logbook
from washsim.errors import InputError
from washsim.logbook import Entry, Prediction
from washsim.readings import Drop, Tests

SCENARIO = files.example("demo")


def entry(**given):
    given = {"date": "2026-11-25", "title": "Invented evening", "scenario": SCENARIO} | given
    return Entry(**given)


FULL = entry(
    paper="invented paper, glossy",
    batch="A1",
    fixer="rapid, second week",
    silver_strip="about 0.5 g/L",
    aid="2 % sulfite, 0.7 m² so far",
    meter=31e-3,
    light="dim daylight",
    photo="stains.jpg",
    residual_silver="none",
    verdict="accepted",
    action="none",
    note='two lines are one here; "quotes" and Umlaute ü stay',
    prediction=Prediction(
        model="0.1.0", low=1e-6, middle=2e-6, high=9e-6, chance=0.93, prior="the tables"
    ),
    tests=Tests(readings=(Drop(below=12e-6, blank="clear", waited=120.0, reagent_age=8e6),)),
)


def test_all_fields_return_unchanged(tmp_path):
    name = logbook.add(tmp_path, FULL)
    assert logbook.load(tmp_path, name) == FULL
    found, faults = logbook.entries(tmp_path)
    assert (found, faults) == ({name: FULL}, [])


def test_entries_come_in_order_of_date_and_corrections_replace(tmp_path):
    late = logbook.add(tmp_path, entry(date="2026-12-01"))
    early = logbook.add(tmp_path, entry(date="2026-01-01"))
    assert list(logbook.entries(tmp_path)[0]) == [early, late]
    better = logbook.add(tmp_path, entry(date="2026-12-01", replaces=late, note="colder"))
    assert list(logbook.entries(tmp_path)[0]) == [early, better]
    with pytest.raises(InputError, match="cannot be read"):
        logbook.add(tmp_path, entry(replaces="no-such-entry"))
    # nothing is lost: the replaced document lies where it lay
    assert logbook.load(tmp_path, late).note == ""


def test_no_folder_yet_is_an_empty_log(tmp_path):
    assert logbook.entries(tmp_path / "none") == ({}, [])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('date = "2026-11-25"', 'date = "yesterday"', "date: expected a day such as 2026-11-25"),
        ('verdict = "accepted"', 'verdict = "acepted"', "did you mean 'accepted'"),
        ("count = 14", "count = -1", "count: expected a whole number from 1"),
        ("[scenario.sheet]", "[scenario.sheet", "not valid TOML"),
        ("washsim-log-1", "washsim-log-2", "format: expected"),
        ("low_g_m2 = 0.001", "low_g_m2 = 0.5", "low, middle and high in rising order"),
    ],
)
def test_a_wrong_edit_is_told_and_left_alone(tmp_path, old, new, words):
    good = logbook.add(tmp_path, entry())
    name = logbook.add(tmp_path, FULL)
    path = tmp_path / f"{name}.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    before = path.read_bytes()
    found, faults = logbook.entries(tmp_path)
    assert list(found) == [good]
    assert len(faults) == 1
    assert words in faults[0]
    assert name in faults[0]
    assert "\n" not in faults[0]
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["../x", "", "a" * 90, "x.toml", "a/b"])
def test_names_stay_inside_the_folder(tmp_path, name):
    with pytest.raises(InputError, match="entry: expected a name"):
        logbook.load(tmp_path, name)


def test_a_book_carries_all_and_twice_is_once(tmp_path):
    here, there = tmp_path / "here", tmp_path / "there"
    one = logbook.add(here, FULL)
    two = logbook.add(here, entry(replaces=one))
    book, faults = logbook.export(here)
    assert faults == []
    assert logbook.take_in(there, book, "book.toml") == (2, 0)
    assert logbook.take_in(there, book, "book.toml") == (0, 2)
    assert logbook.load(there, one) == FULL
    assert list(logbook.entries(there)[0]) == [two]
    # same name, other content: nothing of the book comes in
    other = book.replace("Invented evening", "Another evening")
    with pytest.raises(InputError, match="differs from the one here"):
        logbook.take_in(there, other, "book.toml")
    assert logbook.load(there, one) == FULL
    broken = book.replace("2026-11-25", "soon")
    with pytest.raises(InputError, match=r"^book.toml, .*date: expected"):
        logbook.take_in(tmp_path / "new", broken, "book.toml")
    assert not (tmp_path / "new").exists()


def child(work):
    """Run work(write end of a pipe) in a process of its own; its number and the read end."""
    read, write = os.pipe()
    number = os.fork()
    if number == 0:
        status = 1
        try:
            os.close(read)
            work(write)
            status = 0
        finally:
            os._exit(status)
    os.close(write)
    return number, read


def told(read):
    with os.fdopen(read) as stream:
        return [line.strip() for line in stream if line.endswith("\n")]


def test_killed_two_hundred_times_nothing_is_lost_or_half_written(tmp_path):
    """Whatever was acknowledged before the kill is there and whole; no name holds half a text."""
    luck = random.Random(5)
    begun = time.monotonic()
    first = logbook.add(tmp_path, FULL)
    usual = time.monotonic() - begun

    def keep_adding(write):
        os.write(write, b"\n")
        while True:
            name = logbook.add(tmp_path, FULL)
            os.write(write, f"{name}\n".encode())

    acknowledged = {first}
    for _ in range(200):
        number, read = child(keep_adding)
        os.read(read, 1)  # it is up; a kill before that would hit no write
        time.sleep(luck.uniform(0.0, 4 * usual))
        os.kill(number, signal.SIGKILL)
        os.waitpid(number, 0)
        acknowledged |= set(told(read))
    assert len(acknowledged) > 20
    found = {path.stem for path in tmp_path.glob("*.toml")}
    assert acknowledged <= found
    # at most the one that was being acknowledged when the kill came
    assert len(found) <= len(acknowledged) + 200
    whole = files.write(FULL, logbook.FORMAT).encode()
    assert all((tmp_path / f"{name}.toml").read_bytes() == whole for name in found)


def test_two_processes_at_once_lose_nothing(tmp_path):
    def add_fifty(write):
        for _ in range(50):
            os.write(write, f"{logbook.add(tmp_path, FULL)}\n".encode())

    children = [child(add_fifty) for _ in range(2)]
    names = [name for _, read in children for name in told(read)]
    assert [os.waitpid(number, 0)[1] for number, _ in children] == [0, 0]
    assert len(set(names)) == 100
    assert set(logbook.entries(tmp_path)[0]) == set(names)


def test_a_full_disk_leaves_the_log_as_it_was(tmp_path):
    """The system's own limit on a file's size stands in for the last free block."""
    name = logbook.add(tmp_path, FULL)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def add_one(write):
        resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))
        try:
            logbook.add(tmp_path, FULL)
        except InputError as error:
            os.write(write, f"{error}\n".encode())

    number, read = child(add_one)
    (message,) = told(read)
    assert os.waitpid(number, 0)[1] == 0
    assert "cannot be written" in message
    assert message.endswith("the log is as it was")
    assert [path.name for path in tmp_path.iterdir()] == [f"{name}.toml"]


def test_drafts_left_by_a_kill_are_swept_up_after_a_day(tmp_path):
    old, new = tmp_path / ".a.1.part", tmp_path / ".b.2.part"
    for draft in (old, new):
        draft.write_text("half")
    os.utime(old, (time.time() - 2 * 86400,) * 2)
    logbook.add(tmp_path, entry())
    assert not old.exists()
    assert new.exists()
