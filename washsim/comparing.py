"""Schedules to put side by side: questions that come along, and one batch in several ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import one_of
from washsim.scenario import Scenario

FEWEST, MOST = 2, 4
"""Schedules that can still be told apart on one screen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A question, what the runs are said to show, and the schedules that put it."""

    name: str
    label: str
    asks: str
    claim: str
    scenarios: tuple[Scenario, ...]
    ways: tuple[str, ...] = ()
    """Names of the methods it compares, where it compares methods."""


def questions() -> tuple[str, ...]:
    """Names of the comparisons that come along; their words stand in data/comparisons.toml."""
    return tuple(tables.entry("comparisons.question"))


def question(name: str) -> Comparison:
    """A comparison that comes along; InputError names the nearest one."""
    known = questions()
    if name not in known:
        raise InputError(f"comparison: expected {one_of(name, known)}")
    found = tables.entry(f"comparisons.question.{name}")
    common = _laid(tables.entry("comparisons.batch"), found.get("over", {}))
    return Comparison(
        name=name,
        label=found["label"],
        asks=found["asks"],
        claim=found["claim"],
        scenarios=tuple(
            files.from_tree(_laid(common, arm), f"comparison {name}") for arm in found["arms"]
        ),
    )


AS_IT_STANDS = "as_it_stands"
"""The way in which a batch is washed by its own scenario."""


def all_ways() -> dict[str, str]:
    """Name and label of every way a batch can be washed."""
    methods = {name: tables.entry(f"methods.{name}.label") for name in files.methods()}
    return {AS_IT_STANDS: "As it stands"} | methods


def ways(batch: Scenario, names: Sequence[str]) -> Comparison:
    """One batch washed in two to four ways: its own, or methods that come along."""
    if not FEWEST <= len(names) <= MOST:
        raise InputError(f"ways: expected {FEWEST} to {MOST} of them, got {len(names)}")
    labels = all_ways()
    for name in names:
        if name not in tuple(labels):
            raise InputError(f"way: expected {one_of(name, tuple(labels))}")
    return Comparison(
        name="own",
        label="Ways you choose",
        asks="One batch, washed in different ways: which is under the target first?",
        claim="",
        scenarios=tuple(
            (batch if name == AS_IT_STANDS else files.with_method(batch, name)).but(
                title=labels[name]
            )
            for name in names
        ),
        ways=tuple(names),
    )


def _laid(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    """One tree over another: tables are merged key by key, vessels and lists replaced."""
    merged = dict(below)
    for key, value in above.items():
        whole = key == "vessels" or not isinstance(value, dict)
        merged[key] = value if whole else _laid(below.get(key, {}), value)
    return merged
