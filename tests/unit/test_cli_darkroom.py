"""`washsim fit` and `washsim log`, as typed."""

from __future__ import annotations

import json

import pytest

from tests.stories import bench
from washsim import __main__, files, findings, logbook, readings
from washsim.readings import Drop, Tests

SLAB = bench.running(20, 400, 90)


@pytest.fixture
def typed(tmp_path, monkeypatch, capsys):
    """Run a command in a folder with a scenario and readings; status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    (tmp_path / "slab.toml").write_text(bench.scenario("slab", SLAB, sheet="count = 1"))
    hour = Tests(readings=(Drop(washed=3600.0, above=12e-6, below=24e-6),))
    (tmp_path / "hour.toml").write_text(readings.dumps(hour))

    def run(*words):
        status = __main__.main(words)
        seen = capsys.readouterr()
        return status, seen.out, seen.err

    return run


def test_fit_for_people_says_causes_first(typed):
    status, out, _ = typed("fit", "slab.toml", "hour.toml", "--minutes-left", "5")
    assert status == 0
    places = [
        out.index(words)
        for words in (
            "Readings against what was foretold",
            "disagrees. Look into this before the fit is believed",
            "What the readings say",
            "Next:",
            "The patch stains",
            "another day",
            "Silver nitrate is poisonous",
        )
    ]
    assert places == sorted(places)


def test_fit_for_machines_and_the_paper_as_fitted(typed, tmp_path):
    status, out, _ = typed("fit", "slab.toml", "hour.toml", "--json", "--write", "own.toml")
    assert status == 0
    found = json.loads(out)
    assert set(found) == set(findings.KEYS)
    low, middle, high = found["effective_diffusivity_m2_s"]
    # S8: 2.1e-11, give or take 0.3e-11
    assert low < middle < high
    assert middle == pytest.approx(2.1e-11, abs=0.3e-11)
    assert found["readings"][0]["word"] == "disagrees"
    assert found["after"]["minutes_to_target"][1] > found["before"]["minutes_to_target"][1]
    own = files.load(tmp_path / "own.toml")
    hindrance = own.sheet.material.layers[0].hindrance * bench.FREE
    assert hindrance == pytest.approx(2.1e-11, abs=0.4e-11)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("fit", "none.toml", "hour.toml"), "none.toml: cannot be read"),
        (("fit", "slab.toml", "slab.toml"), "format: expected 'washsim-readings-1'"),
        (("fit", "slab.toml", "hour.toml", "--explanations"), "explanation: expected slow"),
        (("log", "--folder", "book", "show", "../x"), "entry: expected a name"),
        (("log", "--folder", "book", "show", "none"), "cannot be read"),
        (("log", "--folder", "book", "add", "slab.toml", "--date", "soon"), "date: expected a day"),
        (("log", "--folder", "book", "add", "slab.toml", "--meter-l", "-3"), "meter_l: expected"),
        (("log", "--folder", "book", "compare", "none"), "expected the name of an entry"),
        (("log", "--folder", "book", "import", "slab.toml"), "washsim-logbook-1"),
    ],
)
def test_mistakes_are_one_sentence(typed, words, message):
    status, out, err = typed(*words)
    assert status == 2
    assert out == ""
    assert message in err
    assert err.strip().splitlines()[-1].startswith("washsim: ")


def test_readings_that_lie_past_the_end(typed, tmp_path):
    late = Tests(readings=(Drop(washed=36000.0, below=24e-6),))
    (tmp_path / "late.toml").write_text(readings.dumps(late))
    status, _, err = typed("fit", "slab.toml", "late.toml")
    assert status == 2
    assert err.startswith("washsim: late.toml, reading 1, washed_min: expected at most the 90 min")


def test_an_evening_is_logged_shown_compared_and_carried(typed, tmp_path):
    log = ("log", "--folder", "book")
    status, out, _ = typed(
        *log, "add", "slab.toml", "--readings", "hour.toml", "--paper", "invented, glossy",
        "--date", "2026-01-05", "--verdict", "washed_on", "--meter-l", "31",
    )  # fmt: skip
    assert status == 0
    name = out.strip()
    entry = logbook.load(tmp_path / "book", name)
    assert (entry.date, entry.paper, entry.verdict) == (
        "2026-01-05",
        "invented, glossy",
        "washed_on",
    )
    assert entry.meter == pytest.approx(0.031)
    assert entry.prediction.low <= entry.prediction.middle <= entry.prediction.high
    assert entry.scenario == files.load(tmp_path / "slab.toml")
    assert entry.prediction.prior == "the tables"
    # a month later on the same paper the reading, twelve times what was foretold, is known
    again = typed(*log, "add", "slab.toml", "--paper", "invented, glossy", "--date", "2026-02-05")[
        1
    ].strip()
    foretold = logbook.load(tmp_path / "book", again).prediction
    assert foretold.prior == "1 evening of this log"
    assert foretold.middle > 3 * entry.prediction.middle
    _, out, _ = typed(*log, "list")
    assert name in out
    assert "invented, glossy" in out
    _, out, _ = typed(*log, "list", "--json")
    assert [row["readings"] for row in json.loads(out)] == [1, 0]
    _, out, _ = typed(*log, "show", name)
    assert out == files.write(entry, logbook.FORMAT)
    _, out, _ = typed(*log, "compare", "--json")
    first, second = json.loads(out)
    low, _, high = first["effective_diffusivity_m2_s"]
    assert low < 2.1e-11 < high
    assert second["effective_diffusivity_m2_s"] is None
    status, out, _ = typed(*log, "compare", name)
    assert "effective diffusivity" in out
    assert typed(*log, "export", "book.toml")[0] == 0
    assert typed("log", "--folder", "new", "import", "book.toml")[1] == "2 new, 0 here already\n"
    assert typed("log", "--folder", "new", "import", "book.toml")[1] == "0 new, 2 here already\n"
    assert logbook.load(tmp_path / "new", name) == entry


def test_a_fit_begins_from_the_log(typed):
    """The same drop, after one like it on the same paper: narrower than after none."""
    alone = json.loads(typed("fit", "slab.toml", "hour.toml", "--json")[1])
    typed("log", "--folder", "book", "add", "slab.toml", "--readings", "hour.toml", "--paper", "A")
    told = ("fit", "slab.toml", "hour.toml", "--json", "--log", "book", "--paper", "a")
    after = json.loads(typed(*told)[1])
    name = "paper.hindrance"
    assert after["unknowns"][name]["narrowed"] < 0.95 * alone["unknowns"][name]["narrowed"]
    status, _, err = typed("fit", "slab.toml", "hour.toml", "--log", "none")
    assert (status, err) == (2, "washsim: --log: expected an entry with readings, none has none\n")


def test_a_broken_document_is_told_and_the_rest_is_listed(typed, tmp_path):
    log = ("log", "--folder", "book")
    good = typed(*log, "add", "slab.toml")[1].strip()
    (tmp_path / "book" / "mine.toml").write_text("broken")
    status, out, err = typed(*log, "list")
    assert status == 0
    assert good in out
    assert "mine.toml: not valid TOML" in " ".join(err.split())
    assert (tmp_path / "book" / "mine.toml").read_text() == "broken"


def test_an_empty_log_says_where_it_looked(typed):
    status, _, err = typed("log", "--folder", "nowhere", "list")
    assert status == 0
    assert "no entries in nowhere yet" in err


def test_the_folder_comes_from_the_environment(typed, tmp_path, monkeypatch):
    monkeypatch.setenv("WASHSIM_LOG", str(tmp_path / "from_env"))
    name = typed("log", "add", "slab.toml")[1].strip()
    assert (tmp_path / "from_env" / f"{name}.toml").exists()
