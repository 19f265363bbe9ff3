"""The command line, called as a function and as a program."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from washsim import __main__ as cli
from washsim import export, files, simulate_command
from washsim.solve import solve

DEMO_FAST = files.dumps(files.example("demo").but({"settings.outputs": 20}))
TITLE = "[bold]Not bold[/] :smile: \\[red]x \\"


@pytest.fixture
def scenario(tmp_path) -> Path:
    path = tmp_path / "evening.toml"
    path.write_text(DEMO_FAST, encoding="utf-8")
    return path


@pytest.fixture
def odd(tmp_path) -> Path:
    """A title that a terminal library could take for its own."""
    path = tmp_path / "odd.toml"
    path.write_text(files.dumps(files.loads(DEMO_FAST).but(title=TITLE)), encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def terminal(monkeypatch, tmp_path):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)


def run(capsys, *arguments) -> tuple[int, str, str]:
    status = cli.main([str(one) for one in arguments])
    out, err = capsys.readouterr()
    return status, out, err


def strict(text: str):
    """JSON as the standard has it: NaN and Infinity are no numbers, no key stands twice."""

    def no_constant(name):
        raise AssertionError(f"{name} is no JSON")

    def once(pairs):
        assert len({key for key, _ in pairs}) == len(pairs)
        return dict(pairs)

    return json.loads(text, parse_constant=no_constant, object_pairs_hook=once)


# simulate


def test_the_demo_needs_no_file(capsys):
    status, out, err = run(capsys, "simulate")
    assert (status, err) == (0, "")
    assert files.example("demo").title in out
    assert "g/m²" in out


def test_json_has_the_documented_keys_and_nothing_else(capsys, scenario):
    status, out, err = run(capsys, "simulate", scenario, "--json")
    assert (status, err) == (0, "")
    found = strict(out)
    assert list(found) == list(export.KEYS)
    assert found["format"] == export.FORMAT
    for name in ("steps", "sheets"):
        for one in found[name]:
            for key in one:
                assert key in export.KEYS[name], f"{key} of {name} is not documented"


def test_json_says_the_same_thing_in_all_its_places(capsys, scenario):
    found = strict(run(capsys, "simulate", scenario, "--json")[1])
    given = files.load(scenario)
    sheets, steps = found["sheets"], found["steps"]
    assert [one["sheet"] for one in sheets] == list(range(1, found["sheet_count"] + 1))
    assert found["sheet_count"] == given.sheet.count
    assert found["paper_m2"] == pytest.approx(given.paper_area)
    residuals = [one["residual_g_m2"] for one in sheets]
    assert found["worst_residual_g_m2"] == max(residuals)
    assert residuals[found["worst_sheet"] - 1] == max(residuals)
    assert found["meets_target"] is (max(residuals) <= found["target_g_m2"])
    assert found["minutes_to_target"] == max(one["minutes_to_target"] for one in sheets)
    for one in sheets:
        halves = one["front_g_m2"] + one["back_g_m2"]
        assert halves == pytest.approx(one["residual_g_m2"], rel=1e-9)
    assert found["litres_total"] == pytest.approx(sum(one["litres"] for one in steps))
    assert found["litres_total"] == pytest.approx(6 * 4)
    assert found["litres_per_sheet"] == pytest.approx(24 / 14)
    # a minute in the fixer, ten seconds of draining, six baths of ten minutes, draining again
    assert found["wet_longest_min"] == pytest.approx(1 + 10 / 60 + 60, abs=0.2)
    assert found["cost_total"] == pytest.approx(0.024 * 4)
    assert sum(found["limits_now"].values()) == pytest.approx(1)
    assert steps[-1]["worst_residual_g_m2"] == pytest.approx(max(residuals), rel=1e-9)
    assert found["numerical_error"] <= given.settings.accuracy


def test_a_target_not_met_is_null_and_still_done(capsys, scenario):
    scenario.write_text(files.dumps(files.load(scenario).but({"steps.1.baths": 1})))
    status, out, _ = run(capsys, "simulate", scenario, "--json")
    found = strict(out)
    assert status == 0
    assert found["meets_target"] is False
    assert found["minutes_to_target"] is None


def test_csv_to_a_file(capsys, scenario, tmp_path):
    path = tmp_path / "curves.csv"
    status, out, err = run(capsys, "simulate", scenario, "--csv", path, "--json")
    assert (status, err) == (0, "")
    summary = strict(out)
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert len(rows) == 20
    assert list(rows[0]) == [
        "minutes",
        "sheets 1-14 residual_g_m2",
        "floor_g_m2",
        "tray water_mg_l",
    ]
    minutes = [float(row["minutes"]) for row in rows]
    assert minutes == sorted(minutes)
    # six digits are written
    end = float(rows[-1]["sheets 1-14 residual_g_m2"])
    assert end == pytest.approx(summary["worst_residual_g_m2"], rel=1e-5)
    for row in rows:
        for value in row.values():
            assert value == "" or (math.isfinite(float(value)) and float(value) >= 0)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["curves.csv", "evening.toml"]


def test_csv_to_stdout_is_csv_only(capsys, scenario):
    status, out, err = run(capsys, "simulate", scenario, "--csv", "-")
    assert (status, err) == (0, "")
    assert {len(row) for row in csv.reader(io.StringIO(out))} == {4}


def test_csv_and_json_do_not_share_stdout(capsys, scenario):
    status, out, err = run(capsys, "simulate", scenario, "--csv", "-", "--json")
    assert (status, out) == (2, "")
    assert err.startswith("washsim: --csv: expected a file name beside --json")


# writing


def test_an_old_file_is_replaced_whole(capsys, scenario, tmp_path):
    path = tmp_path / "curves.csv"
    path.write_text("old")
    assert run(capsys, "simulate", scenario, "--csv", path)[0] == 0
    assert path.read_text().startswith("minutes,")


@pytest.mark.parametrize("before", [None, "old"])
def test_a_failing_write_leaves_what_was_there(capsys, scenario, tmp_path, monkeypatch, before):
    path = tmp_path / "curves.csv"
    if before is not None:
        path.write_text(before)

    def full(result, stream):
        stream.write("minutes,\n" * 10_000)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(export, "write_csv", full)
    status, out, err = run(capsys, "simulate", scenario, "--csv", path)
    assert (status, out) == (2, "")
    assert err == f"washsim: {path}: cannot be written (No space left on device)\n"
    assert (path.read_text() if path.exists() else None) == before
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize("target", ["folder", "missing/curves.csv", "evening.toml/curves.csv"])
def test_a_target_that_cannot_be_written(capsys, scenario, tmp_path, target):
    (tmp_path / "folder").mkdir()
    before = sorted(tmp_path.rglob("*"))
    status, out, err = run(capsys, "simulate", scenario, "--csv", tmp_path / target)
    assert (status, out) == (2, "")
    assert err.startswith(f"washsim: {tmp_path / target}: cannot be written (")
    assert err.count("\n") == 1
    assert sorted(tmp_path.rglob("*")) == before


def test_a_pipe_is_written_to_and_stays_a_pipe(capsys, scenario, tmp_path):
    pipe, read = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()))
    reader.start()
    assert run(capsys, "simulate", scenario, "--csv", pipe)[0] == 0
    reader.join(timeout=10)
    assert pipe.is_fifo()
    assert read[0].startswith("minutes,")


def test_a_link_is_written_through(capsys, scenario, tmp_path):
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("old")
    link.symlink_to(real)
    assert run(capsys, "simulate", scenario, "--csv", link)[0] == 0
    assert link.is_symlink()
    assert real.read_text().startswith("minutes,")


# example


def test_examples_are_listed(capsys):
    status, out, err = run(capsys, "example")
    assert (status, err) == (0, "")
    assert [line.split()[0] for line in out.splitlines()] == list(files.examples())
    assert "two batches of 10 that share a water" in out
    assert max(map(len, out.splitlines())) <= 80


def test_an_example_is_written_and_never_over_another_file(capsys, tmp_path):
    status, out, err = run(capsys, "example", "demo")
    assert (status, err) == (0, "")
    assert "washsim simulate demo.toml" in out
    assert files.load(tmp_path / "demo.toml") == files.example("demo")
    (tmp_path / "demo.toml").write_text("mine")
    status, out, err = run(capsys, "example", "demo")
    assert (status, out) == (2, "")
    assert err.startswith("washsim: demo.toml: is there already")
    assert (tmp_path / "demo.toml").read_text() == "mine"
    assert run(capsys, "example", "demo", "--to", "other.toml")[0] == 0
    assert files.load("other.toml") == files.example("demo")


def test_an_example_to_stdout(capsys):
    status, out, err = run(capsys, "example", "demo", "--to", "-")
    assert (status, err) == (0, "")
    assert out == files.example_text("demo")


# compare


def test_compare_side_by_side(capsys, scenario, odd):
    status, out, err = run(capsys, "compare", scenario, odd)
    assert (status, err) == (0, "")
    assert "Invented" in out
    assert f"{TITLE}: Every sheet is under" in " ".join(out.split())
    status, out, err = run(capsys, "compare", scenario, odd, "--json")
    assert (status, err) == (0, "")
    found = strict(out)
    assert [one["title"] for one in found] == [files.example("demo").title, TITLE]
    assert all(list(one) == list(export.KEYS) for one in found)


def test_compare_heads_its_columns_with_titles_as_text(capsys, scenario, tmp_path):
    path = tmp_path / "marked.toml"
    path.write_text(files.dumps(files.load(scenario).but(title="[red]x[/]")))
    table = run(capsys, "compare", path, path)[1]
    assert sum(line.count("[red]x[/]") for line in table.splitlines()) == 2 + 2


# people's words and narrow terminals


def test_a_title_comes_out_as_text(capsys, odd):
    assert run(capsys, "simulate", odd)[1].split("\n")[0].strip() == TITLE


@pytest.mark.parametrize("name", ["demo", "transfer", "two_baths", "running"])
def test_eighty_columns_cut_no_word(capsys, monkeypatch, name):
    run(capsys, "example", name)
    narrow = run(capsys, "simulate", f"{name}.toml")[1]
    monkeypatch.setenv("COLUMNS", "300")
    wide = run(capsys, "simulate", f"{name}.toml")[1]
    assert max(map(len, narrow.splitlines())) <= 80
    assert "…" not in narrow
    letters = {word for word in narrow.split() if any(c.isalpha() for c in word)}
    assert letters <= set(wide.split())


def test_numbers_are_written_out(capsys, scenario):
    scenario.write_text(
        files.dumps(files.load(scenario).but({"vessels.tray.volume": 2.0, "steps.1.baths": 60}))
    )
    out = run(capsys, "simulate", scenario)[1]
    assert "120000" in out
    assert "e+" not in out.split("In all")[1]


# mistakes

BAD = {
    "missing.toml": None,
    "binary.toml": bytes(range(256)),
    "negative.toml": DEMO_FAST.replace("volume_l = 4", "volume_l = -4").encode(),
    "vessel.toml": DEMO_FAST.replace('vessel = "tray"', 'vessel = "trai"').encode(),
    "toml.toml": b"= = =",
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("command", ["simulate", "compare"])
def test_bad_input_is_one_line_on_stderr_and_status_two(capsys, tmp_path, command, name):
    if BAD[name] is not None:
        (tmp_path / name).write_bytes(BAD[name])
    status, out, err = run(capsys, command, name)
    assert (status, out) == (2, "")
    assert err.startswith(f"washsim: {name}")
    assert err.count("\n") == 1
    assert len(err) < 300


def test_an_unknown_example(capsys):
    status, out, err = run(capsys, "example", "dmeo")
    assert (status, out) == (2, "")
    assert err.endswith("did you mean 'demo'?\n")


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["wash"],
        ["simulate", "--nothing"],
        ["compare"],
        *(["serve", "--port", port] for port in ("-1", "65536", "http", "²", "", "9" * 5000)),
    ],
)
def test_bad_arguments_are_status_two(capsys, arguments):
    with pytest.raises(SystemExit) as stopped:
        cli.main(arguments)
    out, err = capsys.readouterr()
    assert (stopped.value.code, out) == (2, "")
    assert err.startswith("usage: washsim")
    if "--port" in arguments:
        assert "a port" in err


def test_ctrl_c_is_no_traceback(capsys, monkeypatch, scenario):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(simulate_command, "solve_band", stop)
    assert run(capsys, "simulate", scenario) == (130, "", "")


# as a program

PROGRAM = [sys.executable, "-m", "washsim"]


def program(*arguments, stdout=subprocess.PIPE, **environment) -> subprocess.CompletedProcess:
    inherited = {k: v for k, v in os.environ.items() if k != "PYTHONUNBUFFERED"}
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)],
        stdout=stdout,
        stderr=subprocess.PIPE,
        env=inherited | {"COLUMNS": "80"} | environment,
        timeout=60,
    )


def test_the_program_runs(scenario):
    done = program("simulate", scenario, "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert strict(done.stdout.decode())["sheet_count"] == 14


def test_the_program_refuses():
    done = program("simulate", "missing.toml")
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr == b"washsim: missing.toml: cannot be read (No such file or directory)\n"


@pytest.mark.parametrize("arguments", [["example"], ["simulate"], ["simulate", "--json"]])
def test_a_reader_that_has_gone_is_no_failure(arguments):
    read, write = os.pipe()
    os.close(read)
    try:
        done = program(*arguments, stdout=write)
    finally:
        os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("arguments", [["example"], ["simulate"]])
def test_a_full_disk_behind_stdout_is_one_line(arguments):
    with open("/dev/full", "wb") as full:
        done = program(*arguments, stdout=full)
    assert done.returncode == 2
    assert done.stderr == b"washsim: cannot write the output (No space left on device)\n"


def test_a_terminal_without_superscripts_gets_question_marks():
    done = program("simulate", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"g/m?" in done.stdout


def test_a_wash_that_meets_no_water_is_told(capsys, tmp_path):
    path = tmp_path / "air.toml"
    path.write_text(
        f'format = "{files.FORMAT}"\n[vessels]\n[[steps]]\nkind = "drain"\nduration_s = 3\n'
    )
    status, out, err = run(capsys, "simulate", path, "--json")
    assert (status, err) == (0, "")
    found = strict(out)
    assert found["litres_total"] == 0
    assert found["meets_target"] is False


@pytest.mark.parametrize("arguments", [["sheet", "--text"], ["example"]])
def test_a_stdout_that_is_closed_is_one_sentence(arguments) -> None:
    command = [sys.executable, "-m", "washsim", *arguments]
    found = subprocess.run(
        ["sh", "-c", 'exec "$@" >&-', "sh", *command], capture_output=True, text=True, check=False
    )
    assert found.returncode == 2
    assert found.stderr == "washsim: cannot write the output (there is no stdout)\n"


def test_when_all_are_under_the_target_counts_from_the_first_print() -> None:
    """Fourteen come 8 min apart; those that wait are clean once the last is: the first has then
    lain longest, but the evening is ready 13 x 8 min after its fixing and the last one's own time."""
    scenario = files.example("hold_and_changes")
    found = export.summary(solve(scenario))
    last = found["sheets"][-1]["minutes_to_target"]
    assert found["minutes_until_all"] == pytest.approx(13 * 8 + last)
    assert found["minutes_until_all"] > found["minutes_to_target"] + 5
    at_once = export.summary(solve(files.example("demo")))
    assert at_once["minutes_until_all"] == at_once["minutes_to_target"]


def test_people_of_another_system_read_their_own_units(capsys) -> None:
    """24 L on 0.722 m2 in fillings of 4 L; 1 gal is 3.785411784 L, 1 ft2 0.3048 m squared."""
    gallon, square_foot = 3.785411784, 0.3048**2
    area = 14 * 0.203 * 0.254
    status, out, err = run(capsys, "simulate", "--no-band", "--units", "us")
    assert (status, err) == (0, "")
    assert f"{4 / gallon / (area / square_foot):.3g}" in out
    for litres in (24, 24 / 14, 24 / area, 260, 236):
        assert f"{litres / gallon:.3g}" in out
    assert not re.search(r"\d L\b|, L\b|L/m", out)
    metric = run(capsys, "simulate", "--no-band")[1]
    assert "gal" not in metric
    machines = [
        run(capsys, "simulate", "--no-band", "--json", *more)[1] for more in ((), ("--units", "us"))
    ]
    assert machines[0] == machines[1]
