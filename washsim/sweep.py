"""Large sweeps: every combination of some values, each washed by many draws, kept as Parquet.

The work is cut into parts; each is a file written whole under its own name, so that a sweep that
was stopped goes on with the parts that are missing. Parts are computed here, or by the workers of
a cluster through dask.distributed; the table is the same.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from washsim import files, unknowns
from washsim.band import ends, nodes_for, observe
from washsim.errors import InputError
from washsim.scenario import Scenario
from washsim.solve import ladder
from washsim.units import gram, litre

MANIFEST = "sweep.json"
SEED = 1
"""Of the draws, the same for every combination."""


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """A base scenario and, by path as `Scenario.but` takes it, the values (SI) to combine.

    draws of what is unmeasured for each combination, a power of two; per_part combinations go
    into one file.
    """

    base: Scenario
    axes: Mapping[str, Sequence[Any]]
    draws: int = 256
    per_part: int = 16

    @property
    def combinations(self) -> list[dict[str, Any]]:
        """Every combination, the last axis changing fastest."""
        return [
            dict(zip(self.axes, values, strict=True)) for values in product(*self.axes.values())
        ]

    @property
    def parts(self) -> list[range]:
        """Numbers of the combinations of each part."""
        count = len(self.combinations)
        return [range(i, min(i + self.per_part, count)) for i in range(0, count, self.per_part)]

    def described(self) -> dict[str, Any]:
        """What decides the table, as JSON."""
        return {
            "base": files.dumps(self.base),
            "axes": {path: list(values) for path, values in self.axes.items()},
            "draws": self.draws,
            "per_part": self.per_part,
        }


def run(
    sweep: Sweep,
    folder: str | Path,
    cluster: str | int | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> Path:
    """Compute the parts that are missing in a folder; the folder.

    cluster: address of a dask scheduler, or a number of local workers; None computes here.
    progress is called with the share of parts done, which are safe by then; what it raises ends
    the work. InputError where a combination cannot be carried out, or where the folder holds
    another sweep.
    """
    parquet = _needed("pyarrow.parquet")
    for combination in sweep.combinations:
        # what cannot be carried out is told before anything is computed
        _ = sweep.base.but(combination).timeline
    folder = Path(folder)
    _claim(sweep, folder)
    missing = [i for i in range(len(sweep.parts)) if not _file(folder, i).exists()]
    done = len(sweep.parts) - len(missing)
    with _computed(sweep, missing, cluster) as parts:
        for number, table in parts:
            draft = _file(folder, number).with_suffix(".part")
            parquet.write_table(table, draft)
            draft.replace(_file(folder, number))
            done += 1
            progress(done / len(sweep.parts))
    return folder


def table(folder: str | Path) -> Any:
    """The finished parts of a sweep as one pyarrow table, in order of combination and draw.

    Columns: combination and draw, numbers from 0; one a path, SI; worst_g_m2, what the worst sheet
    ends with; litres; minutes from the first sheet entering the fixer to the end.
    """
    parquet, arrow = _needed("pyarrow.parquet"), _needed("pyarrow")
    found = sorted(Path(folder).glob("part-*.parquet"))
    if not found:
        raise InputError(f"{folder}: expected parts of a sweep, found none")
    return arrow.concat_tables([parquet.read_table(path) for path in found])


def part(sweep: Sweep, number: int) -> Any:
    """The pyarrow table of one part."""
    arrow = _needed("pyarrow")
    combinations = sweep.combinations
    columns: dict[str, list[Any]] = {}
    for i in sweep.parts[number]:
        for name, values in _rows(sweep, i, combinations[i]).items():
            columns.setdefault(name, []).extend(values)
    return arrow.table(columns)


def _rows(sweep: Sweep, number: int, combination: dict[str, Any]) -> dict[str, list[Any]]:
    """One combination's rows, one a draw."""
    scenario = sweep.base.but(combination)
    sample = unknowns.draw(scenario, sweep.draws, SEED)
    rungs = ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
    nodes, _ = nodes_for(scenario, sample, rungs)
    worst = observe(scenario, sample, ends, nodes).max(axis=1)
    timeline = scenario.timeline
    water = timeline.fresh_water
    count = sample.members
    return {
        "combination": [number] * count,
        "draw": list(range(count)),
        **{path: [value] * count for path, value in combination.items()},
        "worst_g_m2": list(np.maximum(worst, 0.0) / gram),
        "litres": [water / litre] * count,
        "minutes": [timeline.end / 60] * count,
    }


@contextmanager
def _computed(
    sweep: Sweep, missing: list[int], cluster: str | int | None
) -> Iterator[Iterator[tuple[int, Any]]]:
    """(number, table) of the missing parts, as they are done."""
    if cluster is None:
        yield ((number, part(sweep, number)) for number in missing)
        return
    distributed = _needed("distributed")
    if isinstance(cluster, str):
        client = distributed.Client(cluster)
    else:
        client = distributed.Client(n_workers=cluster, threads_per_worker=1, dashboard_address=None)
    with client:
        futures = client.map(lambda number: (number, part(sweep, number)), missing, pure=False)
        yield (done.result() for done in distributed.as_completed(futures))


def _claim(sweep: Sweep, folder: Path) -> None:
    """Write what the folder is for, or see that it is for this sweep."""
    text = json.dumps(sweep.described(), indent=2, sort_keys=True)
    manifest = folder / MANIFEST
    try:
        if manifest.exists():
            if manifest.read_text(encoding="utf-8") != text:
                raise InputError(f"{folder}: holds another sweep; choose another folder")
            return
        folder.mkdir(parents=True, exist_ok=True)
        draft = manifest.with_suffix(".part")
        draft.write_text(text, encoding="utf-8")
        draft.replace(manifest)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror or error})") from None


def _file(folder: Path, number: int) -> Path:
    return folder / f"part-{number:06d}.parquet"


def _needed(module: str) -> Any:
    """A library of the extra 'sweep'; InputError says how to get it."""
    try:
        return import_module(module)
    except ImportError:
        raise InputError(
            f"sweep: needs {module.split('.')[0]}; install it with: pip install 'washsim[sweep]'"
        ) from None
