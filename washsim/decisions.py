"""When the patch stains: what to do, in order, from the readings and the state of the wash."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from washsim import tables
from washsim.advice import limits_now
from washsim.band import solve_band
from washsim.errors import InputError
from washsim.fitting import fit
from washsim.observing import Observation, observations
from washsim.readings import Drop, Tests
from washsim.recipes import Aid, Bath, Step
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import litre, minute, rounded
from washsim.unknowns import Sample
from washsim.vessels import Vessel

_AID, _BATH = 5 * minute, 10 * minute
"""A wash aid of some minutes and two changes: the usual mending, common practice, no source."""
SURE = 0.8
"""Share of the draws that must be under the target before a new test is worth its strip."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One line of the list: what to do, and what it rests on. stop: nothing below it counts yet."""

    text: str
    why: str
    stop: bool = False


def when_stained(
    result: Result,
    tests: Tests,
    *,
    residual_silver: str = "not_tested",
    sample: Sample | None = None,
    minutes_left: float | None = None,
) -> tuple[Decision, ...]:
    """The list for an evening as it was washed.

    residual_silver: 'not_tested', 'none' or 'stained', of the silver drop; sample: the unknowns as
    fitted, else a quick fit to the readings; minutes_left: of the evening, None if it does not
    matter.
    """
    found = [*_doubts(tests), *_faces(result, tests), _place(result, tests)]
    silver = _silver(residual_silver)
    found += [silver]
    if silver.stop:
        return tuple(found)
    scenario = result.scenario
    if sample is None:
        own = fit(scenario, observations(scenario, tests), draws=64)
        scenario, sample = own.scenario, own.sample
    mended = mending(scenario)
    if mended is None:
        found.append(
            Decision("Change the water, move the sheets, and test again.", "No step to add to.")
        )
        return tuple(found)
    band = solve_band(mended, sample)
    under = np.quantile(band.crossings.max(axis=1), SURE, method="inverted_cdf")
    limit = 1e3 * result.scenario.target.limit
    what = (
        f"Rinse, {_AID / minute:.0f} min of wash aid, two changes of {_BATH / minute:.0f} min, "
        "every face free"
    )
    if np.isfinite(under):
        wait = max(float(under) - result.run.timeline.end, _AID + _BATH) / minute
        found.append(
            Decision(
                f"{what}; test again {wait:.0f} min from now.",
                f"By then {100 * SURE:.0f} in 100 draws are under {limit:.2g} g/m². Held up now by "
                f"{limits_now(result, result.worst_lot, result.run.timeline.end)}.",
            )
        )
    else:
        share = 100 * band.chance
        wait = (mended.timeline.end - result.run.timeline.end) / minute
        found.append(
            Decision(
                f"{what}; test again at its end, {wait:.0f} min from now, and expect to repeat it.",
                f"Even then only {share:.0f} in 100 draws are under {limit:.2g} g/m².",
            )
        )
    if minutes_left is not None and wait > minutes_left:
        found.append(_hold(result, minutes_left))
    return tuple(found)


def mending(scenario: Scenario) -> Scenario | None:
    """The same evening with a wash aid and two changes after it; None if it cannot be added."""
    used = [
        v for v in scenario.vessels if v.name in {getattr(s, "vessel", "") for s in scenario.steps}
    ]
    if not used:
        return None
    largest = max(used, key=lambda vessel: vessel.volume)
    extra = Vessel(name="wash aid, mending", volume=largest.volume)
    steps: tuple[Step, ...] = (
        Aid(vessel=extra.name, duration=_AID),
        Bath(vessel=largest.name, baths=2, duration=_BATH),
    )
    longer = replace(scenario, vessels=(*scenario.vessels, extra), steps=(*scenario.steps, *steps))
    try:
        _ = longer.timeline
    except InputError:
        return None
    return longer


def _doubts(tests: Tests) -> list[Decision]:
    """Is it a reading at all?"""
    found = []
    for number, one in enumerate(tests.readings, start=1):
        if not isinstance(one, Drop):
            continue
        wrong = []
        if one.late:
            wrong.append(f"looked at after {one.waited / minute:.0f} min")
        if one.blank != "clear":
            wrong.append("the blank is stained" if one.blank == "stained" else "no blank dropped")
        if wrong:
            found.append(
                Decision(
                    f"Repeat drop {number}: fresh reagent, subdued light, a blank beside it, look "
                    f"at {tables.datum('limits.reading.drop_wait').value:.0f} min.",
                    "; ".join(wrong).capitalize() + ".",
                )
            )
    return found


def _faces(result: Result, tests: Tests) -> list[Decision]:
    """Front against back."""
    seen = observations(result.scenario, tests)
    pairs = [
        (one, other)
        for one in seen
        for other in seen
        if one.what == "front" and other.what == "back" and one.lot == other.lot
    ]
    if not pairs:
        return [
            Decision(
                "Drop the other face of the same sheet.",
                "A stain on one face only says where to look: a face that lay covered, or the "
                "emulsion.",
            )
        ]
    front, back = pairs[-1]
    if _apart(back, front):
        return [
            Decision(
                "Free the back: lift the sheet off the bottom or the wall, part prints that stick.",
                "The back stains more than the front.",
            )
        ]
    if _apart(front, back):
        return [
            Decision(
                "Look to the emulsion side: free it, and test for silver below.",
                "The front stains more than the back: it lay covered, or a hardener or spent fixer "
                "holds fixer there.",
            )
        ]
    return []


def _apart(more: Observation, less: Observation) -> bool:
    """Whether the one reading lies wholly above the other."""
    return more.low >= less.high


def _place(result: Result, tests: Tests) -> Decision:
    """The worst-placed sheet against an easy one."""
    read = {one.sheet for one in tests.readings}
    worst = result.worst_sheet
    if result.sheets > 1 and worst not in read:
        return Decision(
            f"Test a strip that lay with sheet {worst}, and one from where water moves least.",
            "By the simulation that sheet is worst off.",
        )
    return Decision(
        "Compare a strip from where water moves least with one from where it moves best.",
        "If they differ, it is exchange or sheets that stick: shuffle, set the flow, shorten the "
        "dwell. No simulation sees that.",
    )


def _silver(found: str) -> Decision:
    text = tables.entry("limits.caution.text.residual_silver")
    if found == "stained":
        return Decision(
            "Stop washing: fix again in fresh fixer, then start the wash again.", text, stop=True
        )
    if found == "none":
        return Decision("Wash on: the drop for silver stayed clear.", "So fixer alone is left.")
    return Decision("Put a drop for residual silver beside the other.", text)


def _hold(result: Result, minutes_left: float) -> Decision:
    """What to do if the evening ends first."""
    ratio = tables.datum("limits.holding.water").si
    volume = ratio * result.scenario.paper_area / litre
    wet = result.run.timeline.end + 60 * minutes_left
    left = max(0.0, tables.datum("limits.caution.wet_hours_notice").si - wet) / 3600
    return Decision(
        f"No time for that tonight: dry them and wash again another day, or leave them apart in "
        f"{rounded(volume)} L of cool fresh water and finish within {left:.1f} h. Log it.",
        f"{ratio / litre:.0f} L for each m² of paper. "
        + tables.entry("limits.caution.text.long_wet"),
    )
