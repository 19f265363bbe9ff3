"""Numbers of a scenario as param Parameters: what a notebook binds its pictures to.

Meaning, unit and kind of each come from the house's field declarations.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import param

from washsim import files
from washsim.errors import InputError
from washsim.fields import Quantity
from washsim.scenario import Scenario, value_at

Span = tuple[float, float, float]
"""Lowest, highest and step of a slider, in the unit of its key."""


class Twin(param.Parameterized):
    """A scenario some of whose numbers can be moved; `scenario` is the one they now say."""

    base: ClassVar[Scenario]
    keys: ClassVar[Mapping[str, str]]
    """Name of the parameter -> key, as `files.changed` takes it."""

    @property
    def scenario(self) -> Scenario:
        """The base with the numbers as they stand. InputError where they do not go together."""
        return files.changed(self.base, {k: getattr(self, n) for n, k in self.keys.items()}, "twin")


def twin(base: Scenario, spans: Mapping[str, Span]) -> Twin:
    """A twin of a scenario. spans: key of a file with its unit, `vessels.tray.volume_l` -> span.

    A parameter is called as its key with the points left out. A value outside its span begins at
    the nearer end. InputError: no such key, or not a number.
    """
    keys = {key.replace(".", "_"): key for key in spans}
    made = {name: _parameter(base, key, *spans[key]) for name, key in keys.items()}
    return type("Twin", (Twin,), {**made, "base": base, "keys": keys})(name=base.title)


def _parameter(base: Scenario, key: str, low: float, high: float, step: float) -> param.Number:
    place, spec = files.declared_at(base, key, "twin")
    if not isinstance(spec, Quantity):
        raise InputError(f"twin, {key}: expected a number")
    found = value_at(base, place)
    start = low if found is None else min(max(spec.unit.from_si(found), low), high)
    # a slider shows what it is given: without the last bits that units cost
    start = float(f"{start:.10g}")
    kind, start = (param.Integer, round(start)) if spec.whole else (param.Number, start)
    return kind(
        default=start, bounds=(low, high), step=step, label=key, doc=f"{spec.meaning}; {spec.range}"
    )
