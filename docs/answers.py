"""Pages whose numbers are computed as they are written: templates, and what these may ask.

A template is a page in docs/templates/. It runs the scenarios in docs/questions/ through the
program, with changes in the words of the file itself, and says what came of them.
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
import tomli_w
from scipy.optimize import brentq
from tabular import NOTE, table

from washsim import export, files, rivals, tables
from washsim.advice import LIMITS
from washsim.band import Band, solve_band
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import rounded

DOCS = Path(__file__).parent
LINES = 14
"""A reader types a scenario of a question in a minute: no more lines than this."""


@dataclass(frozen=True)
class Answer:
    """One scenario washed, and its figures as numbers in the units of the page."""

    scenario: Scenario

    @cached_property
    def result(self) -> Result:
        return solve(self.scenario)

    @cached_property
    def found(self) -> dict[str, Any]:
        """The keys of `washsim simulate --json`."""
        return export.summary(self.result)

    @cached_property
    def band(self) -> Band:
        return solve_band(self.scenario)

    @property
    def minutes(self) -> float:
        """Of washing until the slowest print is under the target; infinite if it is not."""
        found = self.found["minutes_to_target"]
        return np.inf if found is None else float(found)

    @property
    def worst(self) -> float:
        """g/m2 in the worst print at the end."""
        return float(self.found["worst_residual_g_m2"])

    @property
    def load(self) -> float:
        return float(self.found["load_g_m2"])

    @property
    def litres(self) -> float:
        return float(self.found["litres_total"])

    @property
    def floor(self) -> float:
        return float(self.found["floor_g_m2"])

    @property
    def limit(self) -> str:
        """What holds the worst print up at the end, in words."""
        shares = self.found["limits_now"]
        return LIMITS[max(shares, key=shares.__getitem__)]

    def left(self, minutes: float) -> float:
        """g/m2 in the worst print so many minutes after it left the fixer."""
        lot = self.result.worst_lot
        at = self.result.run.left_fixer[lot] + 60 * minutes
        return float(1e3 * self.result.at(lot, np.array([at]))[0])

    @property
    def rise(self) -> tuple[float, float]:
        """g/m2 of the first prints before and at the top of their largest rise in the wash."""
        washing = self.result.times >= self.result.run.left_fixer[0]
        residual = 1e3 * self.result.residual[0][washing]
        lowest = np.minimum.accumulate(residual)
        top = int(np.argmax(residual - lowest))
        return float(lowest[top]), float(residual[top])


@lru_cache
def _text(name: str) -> str:
    text = (DOCS / "questions" / f"{name}.toml").read_text(encoding="utf-8")
    if len(text.splitlines()) > LINES:
        raise ValueError(f"questions/{name}.toml: more than {LINES} lines")
    return text


@lru_cache
def _answer(text: str) -> Answer:
    return Answer(files.loads(text))


def run(name: str, changes: dict[str, Any] | None = None) -> Answer:
    """Wash a scenario of docs/questions/, with keys changed as one would in the file."""
    tree = tomllib.loads(_text(name))
    for path, value in (changes or {}).items():
        here: Any = tree
        *blocks, key = path.split(".")
        for block in blocks:
            here = here[int(block) - 1] if isinstance(here, list) else here.setdefault(block, {})
        here[key] = value
    return _answer(tomli_w.dumps(tree))


def shown(name: str) -> str:
    """A scenario as the reader may copy it, and the command that washes it."""
    code = f"```toml\n{_text(name)}```"
    return f"{code}\n\n`washsim simulate` [{name}.toml](QUESTIONS/{name}.toml)"


def split(name: str, baths: int, litres: float) -> Answer:
    """A scenario of docs/questions/ with its one kind of bath so often, so many litres in all."""
    return run(name, {"steps.1.baths": baths, "vessels.tray.volume_l": litres / baths})


def litres_to(name: str, baths: int, residual: float) -> float:
    """Litres in all with which so many equal baths leave the residual, g/m2."""

    def over(log: float) -> float:
        return float(np.log(split(name, baths, np.exp(log)).worst / residual))

    return float(np.exp(brentq(over, np.log(0.05 * baths), np.log(100.0), rtol=1e-5)))


def number(value: float, digits: int = 2) -> str:
    """A number to so many digits; 'never' for minutes that do not come."""
    return rounded(value, digits) if np.isfinite(value) else "never"


def outcomes(first: str, answers: dict[str, Answer], *columns: str) -> str:
    """A table, one row an answer, with the columns asked for."""
    every = {
        "clearing": ("to clear, s", lambda a: number(a.found["clearing_s"])),
        "margin": ("fixed over that", lambda a: number(a.found["fixing_over_clearing"])),
        "load": ("load, g/m²", lambda a: number(a.load)),
        "minutes": ("minutes to target", lambda a: number(a.minutes)),
        "worst": ("ends at, g/m²", lambda a: number(a.worst)),
        "floor": ("floor, g/m²", lambda a: number(a.floor)),
        "litres": ("water, L", lambda a: number(a.litres, 3)),
        "limit": ("held up at the end by", lambda a: a.limit),
        "silver": ("silver in the first water, mg/L", lambda a: number(_silver(a))),
        "heat": ("heat, kWh", lambda a: number(a.found["heat_kwh"])),
        "cost": ("price", lambda a: number(a.found["cost_total"])),
    }
    chosen = [every[name] for name in columns]
    rows = ([label, *(show(one) for _, show in chosen)] for label, one in answers.items())
    return table((first, *(head for head, _ in chosen)), rows).strip()


def _silver(answer: Answer) -> float:
    return float(answer.found["silver_first_water_mg_l"])


def telling(first: str, second: str) -> str:
    """The experiments that tell two explanations apart, best first, as a table."""
    head = (
        "strip",
        "read after, min",
        f"`{first}`, g/m²",
        f"`{second}`, g/m²",
        "separation",
        "sides wrongly, %",
    )
    rows = (
        [
            test.what,
            f"{test.minutes:g}",
            number(1e3 * test.first),
            number(1e3 * test.second),
            number(test.separation),
            number(100 * rivals.chance_to_mistake(test.separation)),
        ]
        for test in rivals.telling_tests(first, second)
    )
    return table(head, rows).strip()


def telling_best(first: str, second: str) -> float:
    """Separation of the most telling of them."""
    return rivals.telling_tests(first, second)[0].separation


def claim(holds: bool, what: str) -> str:
    """Nothing, or the end of the build: a sentence of the page no longer holds."""
    if not holds:
        raise ValueError(f"no longer true: {what}")
    return ""


def page(name: str) -> str:
    """A template of docs/templates/ filled in."""
    words = jinja2.Environment(
        loader=jinja2.FileSystemLoader(DOCS / "templates"),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    words.globals.update(
        run=run,
        shown=shown,
        split=split,
        litres_to=litres_to,
        n=number,
        log2=np.log2,
        outcomes=outcomes,
        claim=claim,
        telling=telling,
        telling_best=telling_best,
        datum=lambda path: tables.datum(path).value,
        caution=lambda name: tables.entry(f"limits.caution.text.{name}"),
    )
    text = words.get_template(f"{name}.jinja").render()
    up = "../" * name.count("/")
    return NOTE + tidy(text.replace("QUESTIONS/", f"{up}questions/"))


def tidy(text: str) -> str:
    """Prose filled into lines of a hundred characters, one empty line between blocks."""
    blocks, code = [], False
    for block in re.split(r"\n(?:[ ]*\n)+", text.strip()):
        fences = block.count("```") + block.count("$$")
        if code or fences or block.lstrip()[:1] in ("#", "|", ">"):
            blocks.append(block.strip("\n"))
        else:
            items = re.split(rf"\n(?={_ITEM})", block)
            blocks.append("\n".join(_filled(item) for item in items))
        code ^= bool(fences % 2)
    return "\n\n".join(blocks) + "\n"


_ITEM = r"(?:- |\d+\. )"
"""How an item of a list begins."""


def _filled(text: str) -> str:
    """One paragraph, or one item of a list with its later lines indented."""
    begins = re.match(_ITEM, text)
    indent = " " * len(begins[0]) if begins else ""
    text = " ".join(text.split())
    return textwrap.fill(
        text, 100, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
