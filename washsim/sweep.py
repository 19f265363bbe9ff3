"""Large sweeps: every combination of some values, each washed by many draws, kept as Parquet.

The work is cut into parts; each is a file written whole under its own name, so that a sweep that
was stopped goes on with the parts that are missing. Parts are computed here, or by the workers of
a cluster through dask.distributed; the table is the same.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from importlib import import_module
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

    Values are numbers, words or None; anything larger, such as whole `steps`, comes as a mapping
    from a name to the value, and the name stands in the table. draws of what is unmeasured for
    each combination, a power of two; per_part combinations go into one file. InputError where
    these are not so.
    """

    base: Scenario
    axes: Mapping[str, Sequence[Any] | Mapping[str, Any]]
    draws: int = 256
    per_part: int = 16

    def __post_init__(self) -> None:
        if not isinstance(self.draws, int) or self.draws < 1 or self.draws.bit_count() != 1:
            raise InputError(f"draws: expected a power of two such as 256, got {self.draws!r}")
        if not isinstance(self.per_part, int) or self.per_part < 1:
            raise InputError(f"per_part: expected a whole number from 1, got {self.per_part!r}")
        for path, values in self.axes.items():
            if isinstance(values, str) or not len(values):
                raise InputError(f"{path}: expected a list of values, got {values!r}")
            _named(path, values)

    @cached_property
    def named(self) -> dict[str, dict[Any, Any]]:
        """Of each axis, what stands in the table -> the value."""
        return {path: _named(path, values) for path, values in self.axes.items()}

    @property
    def count(self) -> int:
        """How many combinations there are."""
        return math.prod(len(values) for values in self.named.values())

    def combination(self, number: int) -> tuple[dict[str, Any], dict[str, Any]]:
        """Of one combination, from 0, what stands in the table and what `but` takes, by path.

        The last axis changes fastest.
        """
        names, values = {}, {}
        for path, axis in reversed(self.named.items()):
            number, place = divmod(number, len(axis))
            names[path], values[path] = list(axis.items())[place]
        order = list(self.axes)
        return {path: names[path] for path in order}, {path: values[path] for path in order}

    @property
    def parts(self) -> int:
        """How many parts there are."""
        return -(-self.count // self.per_part)

    def within(self, part: int) -> range:
        """Numbers of the combinations of a part."""
        start = part * self.per_part
        return range(start, min(start + self.per_part, self.count))

    def described(self) -> dict[str, Any]:
        """What decides the table, as JSON."""
        return {
            "base": files.dumps(self.base),
            "axes": {
                path: [name if name is value else [name, repr(value)] for name, value in x.items()]
                for path, x in self.named.items()
            },
            "draws": self.draws,
            "per_part": self.per_part,
        }


def _named(path: str, values: Sequence[Any] | Mapping[str, Any]) -> dict[Any, Any]:
    """What stands in the table -> the value; numpy's numbers as Python's own, whole ones as
    floats where others of the axis are."""
    if isinstance(values, Mapping):
        return dict(values)
    plain = [one.item() if isinstance(one, np.generic) else one for one in values]
    for one in plain:
        if not isinstance(one, str | int | float | None):
            raise InputError(
                f"{path}: expected numbers or words, or a mapping from a name to each value, "
                f"got {type(one).__name__}"
            )
    if any(isinstance(one, float) for one in plain):
        plain = [float(one) if isinstance(one, int) else one for one in plain]
    if len(set(plain)) < len(plain):
        raise InputError(f"{path}: expected each value once")
    return {one: one for one in plain}


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
    if not isinstance(cluster, str | None) and (not isinstance(cluster, int) or cluster < 1):
        raise InputError(f"cluster: expected an address or a number from 1, got {cluster!r}")
    for number in range(sweep.count):
        # what cannot be carried out is told before anything is computed
        _ = sweep.base.but(sweep.combination(number)[1]).timeline
    folder = Path(folder)
    _claim(sweep, folder)
    missing = [i for i in range(sweep.parts) if not _file(folder, i).exists()]
    done = sweep.parts - len(missing)
    with _computed(sweep, missing, cluster) as parts:
        for number, table in parts:
            draft = _file(folder, number).with_suffix(".part")
            parquet.write_table(table, draft)
            draft.replace(_file(folder, number))
            done += 1
            progress(done / sweep.parts)
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
    tables = []
    for path in found:
        try:
            tables.append(parquet.read_table(path))
        except (OSError, arrow.ArrowInvalid):
            raise InputError(
                f"{path}: expected a part of a sweep; delete it and run the sweep again"
            ) from None
    # an axis may have no value at all in one part
    return arrow.concat_tables(tables, promote_options="default")


def part(sweep: Sweep, number: int) -> Any:
    """The pyarrow table of one part."""
    arrow = _needed("pyarrow")
    columns: dict[str, list[Any]] = {}
    for i in sweep.within(number):
        for name, values in _rows(sweep, i).items():
            columns.setdefault(name, []).extend(values)
    return arrow.table(columns)


def _rows(sweep: Sweep, number: int) -> dict[str, list[Any]]:
    """One combination's rows, one a draw."""
    names, values = sweep.combination(number)
    scenario = sweep.base.but(values)
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
        **{path: [name] * count for path, name in names.items()},
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
        try:
            client = distributed.Client(cluster)
        except (OSError, ValueError) as error:
            raise InputError(f"cluster: no scheduler at {cluster!r} ({error})") from None
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
            if manifest.read_text(encoding="utf-8", errors="replace") != text:
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
