"""What run mode needs of an evening: plain data that the browser keeps; no server after that."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from washsim import moves, wall_sheet, wording
from washsim.scenario import Scenario


def plan(scenario: Scenario, style: wording.Style) -> dict[str, Any]:
    """Title, what to make ready, and the moments in order: s from the start, what to do, hands.

    InputError where the scenario's steps cannot be carried out.
    """
    timeline = scenario.timeline
    letters = moves.letters(timeline)
    guests = frozenset(lot.first for lot in timeline.lots if lot.late)
    found = moves.moves(scenario, timeline)
    moments = []
    for at, same in groupby(found, key=lambda one: round(one.at, 3)):
        todo = list(same)
        moments.append(
            {
                "at": at,
                "hands": sum(one.hands for one in todo),
                "moves": [wording.say(one, letters, guests, style.units) for one in todo],
            }
        )
    return {
        "title": scenario.title,
        "start": style.start,
        "hours": style.hours,
        "ready": list(wall_sheet.wall_sheet(scenario, style).ready),
        "moments": moments,
    }
