"""The wall sheet: clock times by hand, nothing lost in folding, pages as promised."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given

from tests.unit.evenings import ALL, evenings
from tests.unit.schedules import some
from washsim import __main__ as cli
from washsim import files, moves, wall_page
from washsim.errors import InputError
from washsim.recipes import Drain
from washsim.wall_sheet import MARK, Grid, Line, Table, wall_sheet
from washsim.wording import Style, duration, names, start_of

SEVEN = Style(start=19 * 3600.0)


def clock_of(minutes: int) -> str:
    """Minutes after 19:00 as a clock shows them."""
    hour, minute = divmod(19 * 60 + minutes, 60)
    return f"{hour:02d}:{minute:02d}"


@pytest.mark.parametrize(
    ("start", "seconds", "hours", "shown"),
    [
        (19 * 3600, 0, 24, "19:00"),
        (19 * 3600, 6240, 24, "20:44"),
        (19 * 3600, 29, 24, "19:00"),
        (19 * 3600, 31, 24, "19:01"),
        (19 * 3600, 5 * 3600, 24, "00:00 +1"),
        (0, 0, 12, "12:00 am"),
        (12 * 3600, 60, 12, "12:01 pm"),
        (19 * 3600, 6240, 12, "8:44 pm"),
        (23 * 3600, 26 * 3600, 12, "1:00 am +2"),
    ],
)
def test_clock_times(start, seconds, hours, shown):
    assert Style(start=start, hours=hours).at(seconds) == shown


def test_seconds_are_shown_on_request_where_there_are_any():
    assert SEVEN.at(70, exact=True) == "19:01:10"
    assert SEVEN.at(60, exact=True) == "19:01"


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("19:30", 19, 30),
        ("7:30 pm", 19, 30),
        ("7pm", 19, 0),
        ("12 a.m.", 0, 0),
        ("12:05am", 0, 5),
        ("12:05 p.m.", 12, 5),
    ],
)
def test_starting_times(text, hour, minute):
    assert start_of(text) == 3600 * hour + 60 * minute


@pytest.mark.parametrize(
    "text", ["", "24:00", "7", "7:60", "13:00 pm", "0:30 am", "a:b", "²:10", "13 pm"]
)
def test_what_is_no_time_is_refused(text):
    with pytest.raises(InputError, match="start: expected a time such as"):
        start_of(text)


def test_names_and_durations():
    assert names((3,)) == "sheet 3"
    assert names((1, 2, 3, 5)) == "sheets 1–3, 5"
    assert names((8,), frozenset({8})) == "late sheet 8"
    assert names((7, 8), frozenset({8})) == "sheets 7–8"
    assert [duration(s) for s in (10, 90, 120, 450)] == ["10 s", "90 s", "2 min", "7.5 min"]


def test_s30_hold_and_batch():
    """Fourteen prints every 8 min from 19:00, one renewal of the holding bath, five baths."""
    sheet = wall_sheet(files.example("hold_and_changes"), SEVEN)
    grid, *lines = sheet.blocks
    assert isinstance(grid, Grid)
    # the eighth finds the holding bath renewed: half the prints are in
    cells = [(f"{k}{f' {MARK}' if k == 8 else ''}", clock_of(8 * (k - 1))) for k in range(1, 14)]
    assert list(grid.cells) == cells
    assert "one every 8 min" in grid.head
    assert grid.head.endswith("in F 60 s, drain 10 s, into A")
    assert grid.legend == (f"{MARK} first: Dump A, refill 10 L, sheets stay in, then this sheet",)
    told = [(line.clock, line.text) for line in lines]
    # the last leaves the fixer at 20:45 with everybody, then ten minutes in each of five baths
    assert told[:3] == [
        ("20:44", "Sheet 14 into fixer F"),
        ("20:45", "Lift sheets 1–13 from A, drain 10 s, into B"),
        ("20:45", "Lift sheet 14 from F, drain 10 s, into B"),
    ]
    dumps = [line.clock for line in lines if line.dump]
    assert dumps == ["20:55", "21:05", "21:15", "21:25"]
    assert told[-1] == ("21:35", "Lift sheets 1–14 from B: done, to dry")
    assert sheet.span == "19:00 to 21:35 · 70 L of water"
    assert sheet.ready[1:] == ("A = holding: 10 L", "B = tray: 10 L")
    assert len(sheet.ready) + 1 + len(lines) <= 20


def test_a_row_of_trays_becomes_a_table():
    """Each sheet goes through seven trays, eight minutes in each; 22 L in all."""
    sheet = wall_sheet(files.example("transfer"), SEVEN)
    (table,) = sheet.blocks
    assert isinstance(table, Table)
    assert table.columns == ("A", "B", "C", "D", "E", "G", "H", "dry")
    assert len(table.rows) == 14 + 7
    where = {}
    for at, cells in table.rows:
        for column, cell in zip(table.columns, cells, strict=True):
            number = cell.removeprefix(MARK).strip()
            if number:
                where.setdefault(int(number), []).append((at, column))
    assert sorted(where) == list(range(1, 15))
    for number, stops in where.items():
        # a minute in the fixer, then on every eight minutes, and out after 7 x 8
        assert [at for at, _ in stops] == [clock_of(8 * (number - 1 + k) + 1) for k in range(8)]
        assert stops[-1][1] == "dry"
    marks = [(at, cells.index(cell)) for at, cells in table.rows for cell in cells if MARK in cell]
    # after every third sheet the dirtiest tray, and then the next
    assert marks == [(clock_of(8 * k + 1), n) for n, k in enumerate((3, 6, 9, 12))]


def test_a_late_sheet_is_named():
    texts = [line.text for line in wall_sheet(files.example("late_sheet"), SEVEN).blocks]
    assert "Late sheet 8 into fixer F" in texts
    assert "Lift sheets 1–8 from A: done, to dry" in texts
    assert [t for t in texts if "tap" in t] == ["Open the tap on A: 2 L/min", "Close the tap on A"]


def test_two_things_at_once_are_told():
    hurried = files.example("hold_and_changes").but({"sheet.interval": 20.0})
    notes = wall_sheet(hurried, SEVEN).notes
    assert len(notes) == 3
    assert all("Hands do one thing at a time" in note for note in notes[:2])
    assert "later moves" in notes[2]
    assert wall_sheet(files.example("hold_and_changes"), SEVEN).notes == ()


def test_many_changes_fold_into_one_block():
    many = files.example("demo").but({"steps.1.baths": 31})
    grid = next(b for b in wall_sheet(many, SEVEN).blocks if isinstance(b, Grid))
    assert grid.dump
    assert "every 10 min" in grid.head
    # the first bath begins 70 s after the first sheet entered the fixer
    assert [clock for _, clock in grid.cells[:3]] == ["19:11", "19:21", "19:31"]
    assert len(grid.cells) == 30


@given(scenario=evenings())
@some(150)
def test_folding_loses_no_move(scenario):
    """Boxes, marks and steps of a program together are as many as the moves."""
    sheet = wall_sheet(scenario, SEVEN)
    told = 0
    for block in sheet.blocks:
        match block:
            case Line():
                told += 1
            case Grid(dump=True):
                told += len(block.cells)
            case Grid():
                # 'in F 60 s, drain 10 s, into A': two moves; 'done' is one as well
                course = block.head.rpartition(": ")[2].replace("done, to dry", "done")
                steps = sum(not piece.startswith("drain") for piece in course.split(", "))
                told += steps * len(block.cells)
                told += sum(MARK in what for what, _ in block.cells)
            case Table():
                cells = [cell for _, row in block.rows for cell in row]
                told += sum(bool(cell.removeprefix(MARK).strip()) for cell in cells)
                told += sum(MARK in cell for cell in cells)
                told += scenario.sheet.count * scenario.fixing.baths  # before each row
    assert told == len(moves.moves(scenario))


@given(scenario=evenings())
@some(60)
def test_pages_hold_every_row_once(scenario):
    sheet = wall_sheet(scenario, Style(start=0.0, hours=12))
    for paper in wall_page.PAPERS:
        cut = wall_page.layout(sheet, paper).pages
        rows = [row for page in cut for block in page for row in rows_of(block)]
        assert rows == [row for block in sheet.blocks for row in rows_of(block)]


def rows_of(block) -> list:
    match block:
        case Line():
            return [(block.clock, block.text)]
        case Grid():
            return list(block.cells)
    return list(block.rows)


@pytest.mark.parametrize("name", ALL)
def test_the_text_holds_every_clock_time(name):
    sheet = wall_sheet(ALL[name], SEVEN)
    told = wall_page.text(sheet)
    assert max(map(len, told.splitlines())) <= 80
    for block in sheet.blocks:
        for row in rows_of(block):
            clock = row[1] if isinstance(block, Grid) else row[0]
            assert clock in told


def test_sheets_that_hang_are_out_of_the_tray_before_it_is_dumped():
    demo = files.example("demo")
    bath = replace(demo.steps[0], baths=2)
    warm = replace(bath, temperature=298.15)
    hung = replace(demo, steps=(warm, Drain(duration=120.0), bath))
    told = wall_page.text(wall_sheet(hung, SEVEN))
    lift = "Lift sheets 1–14 from A, drain 2 min, back into A"
    # where one filling is warm, the others say how warm they are
    assert told.index(lift) < told.index("DUMP A, refill 4 L at 20 °C, while they hang")
    assert "refill 4 L at 25 °C, sheets stay in" in told
    assert "refill 4 L at 20 °C, sheets stay in" in told


def test_us_units_and_warm_water():
    """1 US gallon is 3.785 L; 25 °C is 77 °F."""
    warm = files.example("demo").but({"steps.1.temperature": 298.15})
    told = wall_page.text(wall_sheet(warm, Style(start=0.0, units="us")))
    assert "DUMP A, refill 1.06 gal at 77 °F, sheets stay in" in told
    assert "6.34 gal of water" in told
    assert "refill 4 L at 25 °C" in wall_page.text(wall_sheet(warm, SEVEN))
    tap = files.example("late_sheet")
    assert "0.528 gal/min" in wall_page.text(wall_sheet(tap, Style(start=0.0, units="us")))


def test_hostile_titles_are_text():
    odd = files.example("demo").but(title="<script>alert(1)</script> %s & \"'")
    found = wall_page.html(wall_sheet(odd, SEVEN))
    assert "<script" not in found
    assert "&lt;script&gt;" in found


def test_an_unknown_paper_is_refused():
    with pytest.raises(InputError, match="paper: expected a4 or letter, got 'a5'"):
        wall_page.html(wall_sheet(ALL["demo"], SEVEN), "a5")


# the command line


def test_the_command_writes_and_tells(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["sheet"]) == 0
    assert "one page" in capsys.readouterr().out
    assert "19:30" in (tmp_path / "demo.html").read_text(encoding="utf-8")
    assert cli.main(["sheet"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert cli.main(["sheet", "--text", "--start", "7"]) == 2
    assert "start: expected a time" in capsys.readouterr().err
    assert cli.main(["sheet", "--text", "--start", "7:00 pm", "--clock", "12"]) == 0
    assert "7:11 pm  DUMP A, refill 4 L, sheets stay in" in capsys.readouterr().out


def test_text_goes_to_a_file_that_is_named_and_to_no_file_without_a_name(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo.html").write_text("mine", encoding="utf-8")
    assert cli.main(["sheet", "--to", ""]) == 2
    assert "--to: expected a file name" in capsys.readouterr().err
    assert (tmp_path / "demo.html").read_text(encoding="utf-8") == "mine"
    assert cli.main(["sheet", "--text", "--to", "wall.txt"]) == 0
    assert capsys.readouterr().out == "wrote wall.txt\n"
    assert "DUMP A" in (tmp_path / "wall.txt").read_text(encoding="utf-8")
