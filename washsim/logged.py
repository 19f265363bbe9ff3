"""Evenings of the log as rows of plain numbers and words, and what their readings taught."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from washsim import __version__, fitting, season
from washsim.band import BAND, Band, solve_band
from washsim.errors import InputError
from washsim.logbook import Entry, Prediction


def foretell(
    tonight: Entry,
    entries: dict[str, Entry],
    progress: Callable[[float], None] | None = None,
) -> Prediction:
    """What is foretold of an evening, from what the log's evenings before it taught."""
    learnt = season.foretold(tonight, entries, progress=progress)
    if learnt is None:
        sheet = tonight.scenario.sheet
        return prediction(solve_band(tonight.scenario, progress=progress), sheet.rests_on)
    scenario, sample, count = learnt
    evenings = f"{count} evening{'s' if count > 1 else ''} of this log"
    return prediction(solve_band(scenario, sample), evenings)


def prediction(band: Band, prior: str) -> Prediction:
    """What a band foretells, and what it rests on, as the log keeps it."""
    low, middle, high = (float(x) for x in np.quantile(band.worst, BAND))
    return Prediction(
        model=__version__, low=low, middle=middle, high=high, chance=band.chance, prior=prior
    )


def row(name: str, entry: Entry) -> dict[str, Any]:
    """An evening in short; foretold: 5, 50 and 95 % of the draws, None if nothing was."""
    told = entry.prediction
    return {
        "name": name,
        "date": entry.date,
        "title": entry.title,
        "paper": entry.paper,
        "batch": entry.batch,
        "sheets": entry.scenario.sheet.count,
        "readings": len(entry.tests.readings),
        "foretold_g_m2": None
        if told is None
        else [1e3 * x for x in (told.low, told.middle, told.high)],
        "model": told and told.model,
        "verdict": entry.verdict,
    }


def compared(
    entries: dict[str, Entry],
    names: tuple[str, ...] = (),
    progress: Callable[[float], None] | None = None,
) -> list[dict[str, Any]]:
    """Rows of the evenings named, or of all, with what was learnt, 5, 50 and 95 % of the draws.

    All evenings are fitted, one after another, as each learns from those before.
    """
    for name in names:
        if name not in entries:
            raise InputError(f"log: expected the name of an entry, got {name!r}")
    fitted = season.fits(entries, progress=progress)
    rows = []
    for name in names or entries:
        found = row(name, entries[name])
        found["effective_diffusivity_m2_s"] = found["held_pool_factor"] = None
        if name in fitted:
            one = fitted[name]
            drawn = fitting.effective_diffusivity(one.scenario, one.sample)
            found["effective_diffusivity_m2_s"] = [float(x) for x in np.quantile(drawn, BAND)]
            if "held_pool" in one.sample.factors:
                found["held_pool_factor"] = [float(x) for x in one.factor("held_pool", BAND)]
        rows.append(found)
    return rows
