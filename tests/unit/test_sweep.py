"""A sweep: the same table here, on workers, and after being killed half-way."""

from __future__ import annotations

import signal
import subprocess
import sys
import textwrap

import numpy as np
import pytest

from washsim import files, unknowns
from washsim.band import solve_band
from washsim.errors import InputError
from washsim.recipes import Bath
from washsim.sweep import Sweep, run, table

pytest.importorskip("pyarrow")

AXES = {
    "sheet.paper": ("fibre_double", "fibre_single"),
    "water.kind": ("soft_tap", "hard_tap"),
    "steps.1.baths": (3, 6),
}
SMALL = Sweep(base=files.example("demo"), axes=AXES, draws=4, per_part=2)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return table(run(SMALL, tmp_path_factory.mktemp("whole")))


def test_every_combination_and_draw_once(whole) -> None:
    pairs = list(
        zip(*(whole.column(name).to_pylist() for name in ("combination", "draw")), strict=True)
    )
    assert pairs == [(i, j) for i in range(8) for j in range(4)]
    assert whole.column("steps.1.baths").to_pylist()[:8] == [3] * 4 + [6] * 4
    assert set(whole.column("litres").to_pylist()) == {12.0, 24.0}


def test_a_combination_is_the_band_of_its_scenario(whole) -> None:
    scenario = SMALL.base.but({"sheet.paper": "fibre_single", "steps.1.baths": 6})
    band = solve_band(scenario, unknowns.draw(scenario, 4))
    rows = whole.filter([number == 5 for number in whole.column("combination").to_pylist()])
    # the coarsest nodes that agree to a hundredth
    np.testing.assert_allclose(rows.column("worst_g_m2"), 1e3 * band.worst, rtol=0.01, atol=1e-6)


def test_killed_half_way_and_resumed_nothing_is_lost_or_twice(whole, tmp_path) -> None:
    folder = tmp_path / "killed"
    script = f"""
        import os, signal
        from tests.unit.test_sweep import SMALL
        from washsim.sweep import run
        def stop(share):
            if share >= 0.5:
                os.kill(os.getpid(), signal.SIGKILL)
        run(SMALL, {str(folder)!r}, progress=stop)
    """
    died = subprocess.run([sys.executable, "-c", textwrap.dedent(script)], check=False)
    assert died.returncode == -signal.SIGKILL
    kept = {path.name: path.stat().st_mtime_ns for path in folder.glob("part-*.parquet")}
    assert len(kept) == 2
    (folder / "part-000002.part").write_bytes(b"half a file")
    shares: list[float] = []
    run(SMALL, folder, progress=shares.append)
    assert shares == [0.75, 1.0]
    assert table(folder).equals(whole)
    assert all((folder / name).stat().st_mtime_ns == at for name, at in kept.items())
    run(SMALL, folder, progress=shares.append)
    assert shares == [0.75, 1.0]


def test_two_workers_give_the_same_table(whole, tmp_path) -> None:
    pytest.importorskip("distributed")
    assert table(run(SMALL, tmp_path, cluster=2)).equals(whole)


def test_a_sweep_begun_here_goes_on_at_the_address_of_a_scheduler(whole, tmp_path) -> None:
    distributed = pytest.importorskip("distributed")

    class Enough(Exception):
        pass

    def stop(share: float) -> None:
        raise Enough

    with pytest.raises(Enough):
        run(SMALL, tmp_path, progress=stop)
    elsewhere = {"n_workers": 1, "processes": False, "protocol": "tcp", "dashboard_address": None}
    shares: list[float] = []
    with distributed.LocalCluster(**elsewhere) as cluster:
        assert cluster.scheduler_address.startswith("tcp://")
        run(SMALL, tmp_path, cluster=cluster.scheduler_address, progress=shares.append)
    assert shares == [0.5, 0.75, 1.0]
    assert table(tmp_path).equals(whole)


def test_a_folder_holds_one_sweep(tmp_path) -> None:
    tiny = Sweep(base=SMALL.base, axes={"steps.1.baths": (1,)}, draws=1)
    run(tiny, tmp_path)
    with pytest.raises(InputError, match="holds another sweep"):
        run(Sweep(base=SMALL.base, axes={"steps.1.baths": (2,)}, draws=1), tmp_path)


def test_what_cannot_be_carried_out_is_told_before_anything_is_computed(tmp_path) -> None:
    wrong = Sweep(base=SMALL.base, axes={"steps.1.baths": (1, 99)}, draws=1)
    with pytest.raises(InputError, match="baths"):
        run(wrong, tmp_path / "none")
    assert not (tmp_path / "none").exists()
    with pytest.raises(InputError, match="expected parts of a sweep, found none"):
        table(tmp_path)


def test_whole_schedules_are_an_axis_under_names_of_their_own(tmp_path) -> None:
    few, many = (Bath(vessel="tray", baths=n, duration=600.0) for n in (3, 6))
    axes = {"steps": {"three baths": (few,), "six baths": (many,)}, "sheet.count": (7, 14)}
    found = table(run(Sweep(base=SMALL.base, axes=axes, draws=2), tmp_path))
    assert found.column("steps").to_pylist() == ["three baths"] * 4 + ["six baths"] * 4
    assert found.column("sheet.count").to_pylist() == [7, 7, 14, 14] * 2
    # three or six fillings of 4 L, whatever number of sheets
    assert found.column("litres").to_pylist() == [12.0] * 4 + [24.0] * 4
    with pytest.raises(InputError, match="steps: expected numbers or words, or a mapping"):
        Sweep(base=SMALL.base, axes={"steps": ((few,), (many,))})


def test_an_axis_may_mix_nothing_and_numbers_of_any_sort(tmp_path) -> None:
    axes = {
        "water.tap_temperature": (None, 283, np.float64(285.5)),
        "steps.1.baths": np.arange(1, 3),
    }
    found = table(run(Sweep(base=SMALL.base, axes=axes, draws=1, per_part=1), tmp_path))
    assert found.column("water.tap_temperature").to_pylist() == [None, None, 283, 283, 285.5, 285.5]
    assert found.column("steps.1.baths").to_pylist() == [1, 2] * 3


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"draws": 0}, "draws: expected a power of two such as 256, got 0"),
        ({"draws": 3}, "draws: expected a power of two"),
        ({"draws": 2.5}, "draws: expected a power of two"),
        ({"per_part": 0}, "per_part: expected a whole number from 1, got 0"),
        ({"axes": {"steps.1.baths": ()}}, "steps.1.baths: expected a list of values"),
        ({"axes": {"water.kind": "soft_tap"}}, "water.kind: expected a list of values"),
        ({"axes": {"steps.1.baths": (1, 1)}}, "steps.1.baths: expected each value once"),
    ],
)
def test_a_sweep_that_makes_no_sense_is_refused_in_a_sentence(wrong, words) -> None:
    with pytest.raises(InputError, match=words):
        Sweep(**({"base": SMALL.base, "axes": AXES} | wrong))


@pytest.mark.parametrize("workers", [0, -1, 1.5])
def test_workers_are_counted_from_one(tmp_path, workers) -> None:
    with pytest.raises(InputError, match="cluster: expected an address or a number from 1"):
        run(SMALL, tmp_path, cluster=workers)


def test_a_part_that_cannot_be_read_is_named(tmp_path) -> None:
    tiny = Sweep(base=SMALL.base, axes={"steps.1.baths": (1, 2)}, draws=1, per_part=1)
    run(tiny, tmp_path)
    broken = tmp_path / "part-000001.parquet"
    broken.write_bytes(b"")
    with pytest.raises(InputError, match=r"part-000001\.parquet: expected a part of a sweep"):
        table(tmp_path)
    broken.unlink()
    assert table(run(tiny, tmp_path)).num_rows == 2


def test_a_combination_is_found_by_its_number_alone() -> None:
    """As counting goes with digits of the axes' lengths; 1e12 combinations are never listed."""
    wide = Sweep(
        base=SMALL.base,
        axes={
            "water.temperature": np.linspace(280, 290, 10**4),
            "fixing.duration": np.linspace(30, 60, 10**4),
            "handling.drain": np.linspace(0, 30, 10**4),
        },
    )
    assert wide.count == 10**12
    _, values = wide.combination(3 * 10**8 + 5 * 10**4 + 7)
    axes = (np.linspace(280, 290, 10**4)[3], np.linspace(30, 60, 10**4)[5])
    assert tuple(values.values()) == (*axes, np.linspace(0, 30, 10**4)[7])
