"""A pytest plug-in that keeps what every check expected, what it got, and what it allows."""

from __future__ import annotations

import ast
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest


@dataclass(frozen=True, slots=True)
class Comparison:
    """One value against its expected one: of an array, the element that used most of its room."""

    expected: float
    got: float
    allowed: float
    """Largest difference that would have passed."""

    @property
    def used(self) -> float:
        """Difference over the allowed one; above 1 the check fails."""
        off = abs(self.got - self.expected)
        return off / self.allowed if self.allowed else (0.0 if off == 0 else np.inf)


@dataclass(slots=True)
class Check:
    """One collected test, one case of its parameters."""

    item: pytest.Item
    passed: bool = False
    comparisons: list[Comparison] = field(default_factory=list)
    bounds: list[tuple[str, str]] = field(default_factory=list)
    """(assertion as written, the same with its values) where a limit was asserted."""


class Recorder:
    """Collects checks; with `watch`, also what their `approx` and their bounds compared."""

    def __init__(self) -> None:
        self.checks: dict[str, Check] = {}
        self.now: Check | None = None
        self.seconds = 0.0

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.checks = {item.nodeid: Check(item) for item in session.items}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        """Have `pytest.approx` tell what it compares while a test runs."""
        self.now, approx, start = self.checks[item.nodeid], pytest.approx, time.monotonic()

        def telling(expected: Any, rel: Any = None, abs: Any = None, **more: Any) -> Any:
            real = approx(expected, rel=rel, abs=abs, **more)
            return _Telling(real, expected, rel, abs, self.now)

        pytest.approx = telling
        try:
            yield
            self.now.passed = True
        finally:
            pytest.approx, self.now = approx, None
            self.seconds += time.monotonic() - start

    def pytest_assertion_pass(self, item: pytest.Item, orig: str, expl: str) -> None:
        """Keep an asserted limit in short: what was written, and the values it had."""
        values = re.sub(r"np\.\w+\(([^()]*)\)", r"\1", expl.split("\n")[0])
        is_limit = re.search(r"[<>]", orig) is not None and "approx" not in orig
        if self.now is not None and is_limit and len(values) < 100:
            # without its line breaks and comments
            self.now.bounds.append((ast.unparse(ast.parse(f"({orig}\n)")), values))


class _Telling:
    """A `pytest.approx` that keeps the comparison it is asked for."""

    # numpy leaves the comparison to the right-hand side, as it does for approx itself
    __array_ufunc__ = None
    __array_priority__ = 100
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, real: Any, expected: Any, rel: Any, abs_: Any, check: Check | None) -> None:
        self.real, self.expected, self.rel, self.abs, self.check = real, expected, rel, abs_, check

    def __eq__(self, got: object) -> bool:
        if self.check is not None:
            found = tightest(self.expected, got, self.rel, self.abs)
            self.check.comparisons += [found] if found else []
        return bool(self.real == got)

    def __repr__(self) -> str:
        return repr(self.real)


def tightest(expected: Any, got: Any, rel: float | None, abs_: float | None) -> Comparison | None:
    """The element nearest to failing, by the rules of `pytest.approx`; None if not of numbers."""
    try:
        pair = np.broadcast_arrays(np.asarray(expected, float), np.asarray(got, float))
    except (TypeError, ValueError):
        return None
    if not pair[0].size or not np.all(np.isfinite(pair)):
        return None
    # its defaults: 1e-6 of the expected value, but at least 1e-12; abs alone switches rel off
    share = rel if rel is not None else (0.0 if abs_ is not None else 1e-6)
    least = abs_ if abs_ is not None else 1e-12
    allowed = np.maximum(share * np.abs(pair[0]), least).ravel()
    wanted, found = pair[0].ravel(), pair[1].ravel()
    off = np.abs(found - wanted)
    near = int(np.argmax(np.divide(off, allowed, out=off.copy(), where=allowed > 0)))
    return Comparison(float(wanted[near]), float(found[near]), float(allowed[near]))
