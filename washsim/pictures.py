"""Result -> plottable data in darkroom units: no drawing here. T, F times; P depths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from washsim import tables
from washsim.advice import limit
from washsim.band import BAND, Band
from washsim.engine.segment import AIR
from washsim.engine.space import Array
from washsim.result import Result


@dataclass(frozen=True, slots=True)
class Frames:
    """The cross-section of one sheet, frame by frame."""

    layers: tuple[tuple[str, float, float], ...]
    """(name, start um, stop um), front to back."""
    depth_um: Array
    """(P,) from the front face."""
    minutes: Array
    """(F,) since the first sheet entered the fixer."""
    mobile_g_l: Array
    """(F, P) thiosulfate in the liquid of the pores."""
    held_g_l: Array
    """(F, P) held thiosulfate per litre of layer."""
    water_g_l: Array
    """(F,) thiosulfate in the liquid around the sheet."""
    place: tuple[str, ...]
    """Where the sheet is: 'fixer', the vessel's name, or 'draining'."""
    residual_g_m2: Array
    """(F,)."""
    where: dict[str, Array]
    """(F,) shares of all the fixer the batch has taken in so far."""
    limits: tuple[str, ...]
    """What holds the washing up, in words; empty while fixing."""


@dataclass(frozen=True, slots=True)
class Curves:
    """Residual and water against time."""

    minutes: Array
    worst_g_m2: Array
    worst_band_g_m2: Array
    """(2, T) lower and upper edge of the draws' band; NaN where there is none."""
    typical_g_m2: Array
    floor_g_m2: Array
    water_g_l: Array
    target_g_m2: float
    visible_g_m2: tuple[float, float]


def depths(result: Result, count: int) -> tuple[Array, Array]:
    """(P,) depth in um and in layer units: each layer gets its share, at least six points."""
    layers = result.run.paper.layers
    whole = result.run.paper.thickness
    units = [
        j + np.linspace(0.0, 1.0, max(6, round(count * layer.thickness / whole)))
        for j, layer in enumerate(layers)
    ]
    # a layer's end is sampled just inside it, so that held fixer is that layer's own
    units = [np.minimum(part, np.nextafter(j + 1.0, j)) for j, part in enumerate(units)]
    starts = np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])
    metres = [
        starts[j] + (part - j) * layer.thickness
        for j, (part, layer) in enumerate(zip(units, layers, strict=True))
    ]
    return np.concatenate(metres) * 1e6, np.concatenate(units)


def frames(result: Result, lot: int | None = None, count: int = 150, points: int = 90) -> Frames:
    """The cross-section of a lot's sheets (the worst unless said), evenly spread over its time.

    A tenth of the frames show the fixing, which is short and would else be missed.
    """
    lot = result.worst_lot if lot is None else lot
    segments = result.run.of_lot[lot]
    start, end = float(segments[0].start[0]), result.run.timeline.end
    out = result.run.left_fixer[lot]
    early = max(2, count // 10)
    times = np.concatenate(
        [np.linspace(start, out, early, endpoint=False), np.linspace(out, end, count - early)]
    )
    depth, units = depths(result, points)
    mobile, held = result.profile(lot, times, units)
    starts = np.concatenate([[0.0], np.cumsum([x.thickness for x in result.run.paper.layers])])
    # before anything is taken in there is only rounding to share out
    whereabouts = {k: np.maximum(v, 0.0) for k, v in result.whereabouts(times).items()}
    total = np.maximum(np.sum(list(whereabouts.values()), axis=0), 1e-12)
    return Frames(
        layers=tuple(
            (layer.name, float(starts[j] * 1e6), float(starts[j + 1] * 1e6))
            for j, layer in enumerate(result.run.paper.layers)
        ),
        depth_um=depth,
        minutes=times / 60,
        mobile_g_l=mobile,
        held_g_l=held,
        water_g_l=result.water_around(lot, times),
        place=tuple(place(result, lot, float(time)) for time in times),
        residual_g_m2=np.maximum(1e3 * result.at(lot, times), 0.0),
        where={name: share / total for name, share in whereabouts.items()},
        limits=tuple(
            "" if time <= out else limit(shares)
            for time, shares in zip(times, result.shares_over(lot, times), strict=True)
        ),
    )


def place(result: Result, lot: int, time: float) -> str:
    """Where a lot is at a time, s."""
    segment = result.run.segment_at(lot, time)
    return "draining" if segment.tank == AIR else result.run.timeline.basins[segment.tank].label


def curves(result: Result, band: Band | None = None) -> Curves:
    """Residual of the worst and the median sheet, floor and water around the worst."""
    lot = result.worst_lot
    # the fixing is short beside the wash: it gets points of its own
    out = result.run.left_fixer[lot]
    fixing = np.linspace(float(result.run.of_lot[lot][0].start[0]), out, 30)
    times = np.union1d(fixing, result.times)
    median = np.argsort([result.final_residual[i] for i in range(result.sheets)])
    typical = result.lot_of_sheet[int(median[len(median) // 2])]
    return Curves(
        minutes=times / 60,
        worst_g_m2=np.maximum(1e3 * result.at(lot, times), 0.0),
        worst_band_g_m2=_edges(times, band),
        typical_g_m2=np.maximum(1e3 * result.at(typical, times), 0.0),
        floor_g_m2=1e3 * np.array([result.floor(lot, float(t)) for t in times]),
        water_g_l=result.water_around(lot, times),
        target_g_m2=1e3 * result.scenario.target.limit,
        visible_g_m2=(
            tables.datum("limits.spot_test.visible_low").value,
            tables.datum("limits.spot_test.visible_high").value,
        ),
    )


def _edges(times: Array, band: Band | None) -> Array:
    """(2, T) g/m2 of the worst sheet's band; between outputs its logarithm counts as straight."""
    if band is None:
        return np.full((2, len(times)), np.nan)
    edges = np.log(np.maximum(1e3 * band.quantile((BAND[0], BAND[-1])), 1e-12))
    return np.exp([np.interp(times, band.times, edge) for edge in edges])
