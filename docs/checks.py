"""The page on what was checked and how it came out, for docs/generate.py and docs/build.py."""

from __future__ import annotations

import contextlib
import csv
import io
import platform
import re
import sys
import tempfile
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from recorder import Check, Comparison, Recorder
from tabular import NOTE, table

from washsim import files
from washsim.engine.space import Array
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import _DRIFT, _FINER, ladder, march_through, solve

ROOT = Path(__file__).parents[1]
FOLDERS = ("tests/verification", "tests/validation")

FINEST_DRIFT = _DRIFT * _FINER**3
"""Part by which waters in a row may change in one of the program's pieces of an interval."""

ORDER = {
    "The references themselves": ("test_references", "test_finite_volume_reference"),
    "Properties of water, ions and currents": ("test_properties_of_water", "test_currents"),
    "Nodes, and the order at which errors fall": ("test_convergence",),
    "One sheet": ("test_solver", "test_solver_layers"),
    "Baths and evenings": ("test_solver_ideal", "test_solver_evening", "test_solver_staggered"),
}
"""Modules of tests/verification in the order an engineer would ask; others follow."""


def verification_page(ran: Recorder | None = None) -> str:
    """The list of checks; with a run of them, also expected, got, allowed and how much was used."""
    seen = ran or collected()
    modules: dict[str, list[Check]] = {}
    for check in seen.checks.values():
        modules.setdefault(check.item.path.stem, []).append(check)
    record, customs = (modules.pop(one) for one in ("test_literature", "test_trade"))
    page = NOTE + HEAD + (_ran(ran) if ran else NOT_RUN) + CODE_HEAD
    rest = [name for name in modules if not any(name in names for names in ORDER.values())]
    for title, names in {**ORDER, "Further parts": tuple(rest)}.items():
        page += f"### {title}\n\n"
        for name in names:
            page += _module(modules[name], ran is not None)
    page += SOLUTION_HEAD + (_solutions() if ran else "")
    page += VALIDATION_HEAD + _findings(_tests_of(record))
    page += TRADE_HEAD
    page += "".join(_module(checks, ran is not None) for checks in (record, customs))
    return page + NOT_VERIFIED


def collected() -> Recorder:
    """The checks, not run."""
    return _pytest("--collect-only")


def run_checks(*folders: str) -> Recorder:
    """Run the checks of some folders or files, all unless said; SystemExit if one fails."""
    with tempfile.TemporaryDirectory() as fresh:
        # asserts are compiled anew so that those that hold are told of too
        sys.pycache_prefix, before = fresh, sys.pycache_prefix
        try:
            return _pytest("-o", "enable_assertion_pass_hook=true", folders=folders or FOLDERS)
        finally:
            sys.pycache_prefix = before


def _pytest(*options: str, folders: Iterable[str] = FOLDERS) -> Recorder:
    recorder, said = Recorder(), io.StringIO()
    given = ["-p", "no:cacheprovider", "--rootdir", str(ROOT), *options]
    with contextlib.redirect_stdout(said), contextlib.chdir(ROOT):
        status = pytest.main([*given, *folders], plugins=[recorder])
    if status != pytest.ExitCode.OK:
        raise SystemExit(said.getvalue())
    return recorder


def _ran(ran: Recorder) -> str:
    compared = sum(len(c.comparisons) + len(c.bounds) for c in ran.checks.values())
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "mpmath"))
    return (
        f"This page was written by a run of all {len(ran.checks)} cases, in {ran.seconds:.0f} s, "
        f"on Python {platform.python_version()} with {libraries}. They compared "
        f"{compared} values or sets of values with expected ones, and all passed. A row shows the "
        "comparison that used most of what is allowed; *used* is its difference over the allowed "
        "one, so that 1 would be the edge of failing. Where a limit is asserted, the assertion "
        "stands in the place of the expected value. [Every comparison](checks.csv), as a table.\n\n"
    )


def _module(checks: list[Check], ran: bool) -> str:
    """One table a module: a row a test function."""
    about = _tests_of(checks).__doc__ or ""
    name = checks[0].item.path.relative_to(ROOT).as_posix()
    functions: dict[str, list[Check]] = {}
    for check in checks:
        functions.setdefault(getattr(check.item, "originalname", check.item.name), []).append(check)
    head = ("what is compared, and with what", "cases")
    head += ("expected", "got", "allowed", "used") if ran else ()
    rows = [
        [_what(cases), str(len(cases)), *(_outcome(cases) if ran else ())]
        for cases in functions.values()
    ]
    return f"{about.splitlines()[0]} `{name}`\n\n" + table(head, rows)


def _tests_of(checks: list[Check]) -> ModuleType:
    """The module in which tests stand."""
    found: ModuleType = checks[0].item.getparent(pytest.Module).obj  # type: ignore[union-attr]
    return found


def _what(cases: list[Check]) -> str:
    """Name and docstring of a test function, then its sources."""
    function = cases[0].item.function  # type: ignore[attr-defined]
    name = function.__name__.removeprefix("test_").replace("_", " ")
    docstring = " ".join(re.split(r"\n\s*\n", function.__doc__ or "")[0].split())
    sources = dict.fromkeys(
        str(text)
        for case in cases
        for mark in case.item.iter_markers("source")
        for text in mark.args
    )
    what = f"**{name[:1].upper()}{name[1:]}.** {docstring}".strip()
    return f"{what}<br>*{'; '.join(sources)}*".replace("_", "\\_")


def _outcome(cases: list[Check]) -> list[str]:
    """Expected, got, allowed, used: of the comparison nearest to failing, or of a limit."""
    compared = [one for case in cases for one in case.comparisons]
    limits = [one for case in cases for one in case.bounds]
    if compared:
        worst = max(compared, key=lambda one: one.used)
        digits = _digits(worst)
        used = "none" if worst.used == 0 else f"{worst.used:.1g}"
        return [
            f"{worst.expected:.{digits}g}",
            f"{worst.got:.{digits}g}",
            f"±\u00a0{worst.allowed:.1e}".replace("e-", "e\u2212"),
            used,
        ]
    if limits:
        written, values = limits[-1]
        return [f"`{written}`", f"`{_short(values)}`", "", ""]
    return ["as asserted", "holds", "", ""]


def _digits(one: Comparison) -> int:
    """Enough digits to see the difference that is allowed."""
    if not one.allowed or not one.expected:
        return 6
    return min(12, max(3, 2 + round(np.log10(abs(one.expected) / one.allowed))))


def _short(values: str) -> str:
    """Numbers in a line cut to four digits."""
    return re.sub(r"\d+\.\d+(e[-+]?\d+)?", lambda found: f"{float(found[0]):.4g}", values)


def write_csv(ran: Recorder, path: Path) -> None:
    """Every comparison of a run, one row each."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream)
        rows.writerow(["check", "expected", "got", "allowed_difference", "used_share"])
        for name, check in ran.checks.items():
            for one in check.comparisons:
                rows.writerow([name, one.expected, one.got, one.allowed, f"{one.used:.3g}"])
            for written, values in check.bounds:
                rows.writerow([name, written, values, "", ""])


# --- solution verification ---


def _solutions() -> str:
    """Every example and method: the error it states, and the one found on far finer nodes."""
    washes = [(f"example `{name}`", files.example(name)) for name in files.examples()]
    batch = files.example("demo")
    washes += [(f"method `{name}`", files.with_method(batch, name)) for name in files.methods()]
    rows, understated = [], []
    for label, scenario in washes:
        result = solve(scenario)
        space = result.run.slab.space
        found = _off(result.run, _finer(scenario))
        if found > 2 * result.numerical_error:
            understated.append(f"{label}, {found / result.numerical_error:.2g} times")
        nodes = f"{space.family} {'+'.join(map(str, space.intervals))}"
        errors = [f"{x:.0e}" for x in (result.numerical_error, found, result.balance)]
        rows.append([label, nodes, *errors])
    says = "In no wash is the error found more than twice the one stated.\n\n"
    if understated:
        says = f"**More than twice the error stated: {'; '.join(understated)}.**\n\n"
    return says + table(("wash", "nodes", "error stated", "error found", "balance"), rows)


def _finer(scenario: Scenario) -> Run:
    """The same wash on half as many nodes again as the program's finest.

    Rows of slots also in pieces a quarter as large as the program's finest.
    """
    family, intervals = ladder("lobatto", scenario.sheet.material)[-1]
    finer = tuple(round(1.5 * n) for n in intervals)
    return march_through(scenario, scenario.timeline, family, finer, drift=FINEST_DRIFT / 4)


def _off(run: Run, finer: Run) -> float:
    """Largest difference of a residual in the wash, relative to it plus 1 mg/m2."""
    washing: Array = run.times >= np.array(run.left_fixer)[:, None]
    off = np.abs(run.residual - finer.residual) / (finer.residual + 1e-6)
    return float(np.max(off[washing]))


# --- validation ---


def _findings(literature: ModuleType) -> str:
    """Which explanation reproduces which published result; misses stay misses."""
    rows = []
    for finding in literature.FINDINGS:
        good = [f"`{name}`" for name in literature.EXPLANATIONS if finding.inside(name)]
        missed = [f"`{name}`" for name in literature.EXPLANATIONS if f"`{name}`" not in good]
        band = f"{finding.low:g} to {finding.high:g} {finding.unit}"
        rows.append([finding.what, band, ", ".join(good) or "none", ", ".join(missed) or "none"])
    return table(("finding", "published", "reproduced by", "missed by"), rows)


HEAD = """# What was checked, and against what

*Verification* asks whether the equations are solved rightly; *validation*, whether they are the
right equations for prints. First the code: does it solve its equations, against closed forms,
tables, other methods and other libraries, never against an earlier output of this program? Then a
solution: how far off is a given result? Then the world: which published findings are reproduced,
and which are missed? Each check names its source or says that it has none. Last, what has not
been verified at all.

"""
NOT_RUN = """All of them run with the test command of the README. The built site (`python
docs/build.py`) adds to every check what was expected, what came out, and what is allowed.

"""
CODE_HEAD = "## Code verification: are the equations solved rightly?\n\n"
SOLUTION_HEAD = """## Solution verification: how far off is a given result?

Every result is computed on two sets of nodes and carries the largest change of a residual as its
numerical error, relative to the residual plus 1 mg/m². Whether that statement is honest is a
question of its own: the built site lists, for every example and every wash method that comes along,
the error stated, the error found by computing the same wash on half as many nodes again as the
program's finest (and, where slots stand in a row, in finer pieces of time), and the fixer
unaccounted for over the fixer taken in (*balance*).

"""
VALIDATION_HEAD = """## Validation: are they the right equations?

No wash curve of a modern fibre print by a quantitative method was found, so this part is thin,
and nothing here is proof. Published findings to which no default was tuned, and which explanation
of the slow wash reproduces them; figures, sources and distances stand with the [published
results](literature.md). A miss is kept as a miss.

"""
TRADE_HEAD = """### Checks of the record, and of customary figures

The trade's own figures are wide, and some defaults rest on them: the base's openness was inferred
from customary wash times, so that agreement on the hour is no evidence.

"""
NOT_VERIFIED = """## What has not been verified

- **Any real print.** No residual in a print was measured for this program. The figures of the
  fibre base, the held fixer and its release are estimates with wide bands.
- **Slow or held.** No published data that were found tell the two explanations apart.
- **Transfer coefficients of real trays and washers.** They come from text-book plates and still
  water; nobody's tray was measured.
- **Diffusion along the sheet** and out of its cut edges is left out; how much that matters at the
  rim of a print has not been estimated, but for a guess of the creep into resin-coated paper.
- **The wet sheet's thickness** is taken as constant; swelling and shrinking in the wash are not.
- **The wash aid and the kinds of water**: their order is from film, and their size on paper is an
  estimate. The equations they enter are verified, the numbers are not.
- **Clearing and spent fixer**: the moving front is verified against its closed form; its constant
  is not measured.
- **The stain scale** of a spot test is uncalibrated until you make a ladder of your own.
"""
