"""What a fit found, for machines: one JSON object with stable keys."""

from __future__ import annotations

from typing import Any

import numpy as np

from washsim.agreement import Score, scores, scores_after
from washsim.band import BAND, Band
from washsim.export import doubt
from washsim.fitting import Fit, effective_diffusivity
from washsim.observing import said
from washsim.unknowns import draw

FORMAT = "washsim-fit-1"
KEYS = {
    "format": f"always {FORMAT!r}; changes when a key changes its meaning",
    "title": "the scenario's title",
    "readings": "list, one object per reading: seen in words, at_min since the first sheet entered "
    "the fixer, foretold_g_m2 by the scenario as it stands (water: foretold_mg_l), score z of the "
    "disagreement and its word; after: the same two with the draws as fitted",
    "unknowns": "object: for each unknown, factor on the scenario's number at 5, 50 and 95 % of "
    "the draws, and narrowed: its spread over that before any reading",
    "effective_diffusivity_m2_s": "5, 50 and 95 % of the draws: of one even layer as thick as the "
    "sheet that would wash as fast, without held fixer and films",
    "effective_diffusivity_before_m2_s": "the same before any reading",
    "before": "band of the wash before any reading, as the band of `washsim simulate`",
    "after": "band of the wash with the draws as fitted",
    "explanations": "list, best first: name, share of the evidence; null if not asked for",
    "log_evidence": "ln of how likely the readings were before they were made (values: density "
    "in their logarithm)",
    "draws": "number of draws",
    "solves": "runs that the fit took",
    "numerical_error": "largest change of a prediction on refining once, over the draws farthest "
    "out, relative to it + 1 mg/m²",
}
"""Meaning of every key of `summary`, for the reference page."""


def summary(found: Fit, before: Band, after: Band) -> dict[str, Any]:
    """Plain numbers, lists and words, ready for json.dumps; the keys are those of KEYS."""
    first, then = scores(found.scenario, found.seen), scores_after(found)
    wide = draw(found.scenario)
    return {
        "format": FORMAT,
        "title": found.scenario.title,
        "readings": [_reading(a, b) for a, b in zip(first, then, strict=True)],
        "unknowns": {
            one.name: {
                "factor": [float(x) for x in found.factor(one.name, BAND)],
                "narrowed": float(found.narrowed[one.name]),
            }
            for one in found.unknowns
        },
        "effective_diffusivity_m2_s": _quantiles(
            effective_diffusivity(found.scenario, found.sample)
        ),
        "effective_diffusivity_before_m2_s": _quantiles(
            effective_diffusivity(found.scenario, wide)
        ),
        "before": doubt(before),
        "after": doubt(after),
        "explanations": None,
        "log_evidence": found.log_evidence,
        "draws": len(found.z),
        "solves": found.solves,
        "numerical_error": found.numerical_error,
    }


def _quantiles(values: np.ndarray) -> list[float]:
    return [float(x) for x in np.quantile(values, BAND)]


def _reading(before: Score, after: Score) -> dict[str, Any]:
    factor, key = (1e3, "foretold_mg_l" if before.seen.what == "water" else "foretold_g_m2")
    return {
        "seen": said(before.seen),
        "at_min": before.seen.at / 60,
        key: factor * before.predicted,
        "score": before.z,
        "word": before.word,
        "after": {key: factor * after.predicted, "word": after.word},
    }
