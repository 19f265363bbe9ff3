"""Evenings of all sorts for the wall sheet: examples, catalogue methods, and batches drawn for them.

Most are quick to expand; none is solved.
"""

from __future__ import annotations

from hypothesis import assume
from hypothesis import strategies as st

from washsim import files
from washsim.errors import InputError
from washsim.recipes import Late, Transfer
from washsim.scenario import Scenario

EXAMPLES = {name: files.example(name) for name in files.examples()}
METHODS = {
    f"method {name}": files.with_method(files.example("demo"), name) for name in files.methods()
}
ALL = EXAMPLES | METHODS


@st.composite
def evenings(draw: st.DrawFn) -> Scenario:
    """An example or method under another batch, sheets coming together or one by one."""
    base = draw(st.sampled_from(sorted(ALL)).map(ALL.__getitem__))
    minutes = draw(st.sampled_from([0, 0.5, 2, 8]))
    changes = {
        "sheet.count": draw(st.integers(1, 40)),
        "sheet.interval": 60.0 * minutes,
        "fixing.duration": draw(st.sampled_from([30.0, 60.0, 300.0])),
        "fixing.baths": draw(st.integers(1, 2)),
        "handling.drain": draw(st.sampled_from([0.0, 10.0, 30.0])),
        "stuck": (),
    }
    if isinstance(base.steps[0], Transfer) and minutes:
        changes["steps.1.duration"] = 60.0 * minutes
    if draw(st.booleans()) and not base.late:
        changes["late"] = (Late(step=1, after=60.0 * draw(st.sampled_from([8, 40]))),)
    scenario = base.but(changes)
    try:
        assume(scenario.timeline.events)
    except InputError:
        # not every batch fits every method
        assume(False)
    return scenario
