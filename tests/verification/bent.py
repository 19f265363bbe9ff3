"""The engine on the problems of tests.references.nonlinear, on the same even nodes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.references import nonlinear
from tests.verification import rig
from washsim.engine import acts, interval, march, space

Array = np.ndarray
THICKNESS, POROSITY, INSIDE, NODES = 375e-6, 0.6, 3e-11, 16
FIXER = 100.0  # kg/m3


def reference(**more) -> nonlinear.Wash:
    given = {"held": 0.09, "release": 6e-4, "saturation": 1.0, "film": 3e-6} | more
    return nonlinear.Wash(
        intervals=NODES, thickness=THICKNESS, porosity=POROSITY, inside=INSIDE, **given
    )


def wrong(found: Array, wanted: Array) -> float:
    """Relative to the content plus 1 mg/m2, as everywhere."""
    return float(np.max(np.abs(found - wanted) / (wanted + 1e-6)))


def slab(wash: nonlinear.Wash, family: str = "even") -> space.Slab:
    def row(value: float) -> Array:
        return np.array([[value]])

    return space.slab(
        space.space(family, (NODES,)),
        thickness=row(wash.thickness),
        porosity=row(wash.porosity),
        hindrance=row(wash.inside / 1e-9),
        retardation=row(1.0),
        retention=row(wash.held),
        release_rate=row(wash.release),
        bend=row(1 / wash.saturation),
    )


def conditions(wash: nonlinear.Wash) -> interval.Conditions:
    given = rig.conditions(
        1e-9,
        wash.film,
        boundless=not np.isfinite(wash.volume),
        inflow=wash.inflow,
        supply=wash.supply,
        dead_share=wash.dead / (wash.volume + wash.dead),
        dead_rate=wash.dead_rate,
    )
    if not wash.free:
        return given

    def currents(difference: Array, still: Array) -> Array:
        return np.maximum(wash.film, wash.free * np.abs(difference / wash.difference) ** wash.power)

    return replace(given, currents=currents)


def march_of(wash: nonlinear.Wash, starts, end: float, at=None, family="even", **settings):
    """State and segments of lots that begin full, evenly (starts, kg/m3), in water for end s."""
    lots = [(0, rig.row(a), rig.row(c)) for a, c in zip(wash.areas, starts, strict=True)]
    state = march.March([slab(wash, family)], lots, 1, 1, **settings)
    deeds: list[acts.Event] = [acts.Set(rig.row(0.0), 0, at or conditions(wash))]
    if np.isfinite(wash.volume):
        volume = rig.row(wash.volume + wash.dead)
        deeds.append(acts.Fill(rig.row(0.0), 0, volume, rig.row(0.0)))
    deeds += [acts.Place(rig.row(0.0), i, 0) for i in range(len(lots))]
    deeds += [acts.Lift(rig.row(end), i, rig.row(0.0)) for i in range(len(lots))]
    return state, list(state.run(deeds))


def seen(segments, times: Array, look) -> Array:
    """(T, ...) of what look(segment, seconds (1, T)) shows at times (T,)."""
    found = None
    for segment in segments:
        inside = (times >= segment.start[0]) & (times <= segment.stop[0])
        if inside.any():
            shown = look(segment, (times[inside] - segment.start[0])[None])[0]
            if found is None:
                found = np.full((len(times), *shown.shape[1:]), np.nan)
            found[inside] = shown
    return found


def both(wash: nonlinear.Wash, starts=(FIXER,), at=None, method="LSODA", **settings):
    """Content (lots, T) kg/m2 and water (T,) kg/m3, by the engine and by the reference."""
    times = np.concatenate([[0.0], np.geomspace(1.0, 5400.0, 60)])
    n = NODES + 1
    y = np.concatenate([np.repeat(c, 2 * n) for c in starts] + [np.zeros(2)])
    if not np.isfinite(wash.volume):
        y[-2:] = wash.supply
    exact = wash.run(y, times, method=method)
    _, segments = march_of(wash, starts, times[-1], at, **settings)
    rows = slab(wash).capacity[:, None]
    found = [
        seen(segments, times, lambda s, t, i=i: s.slab_at(i, t, rows))[:, 0]
        for i in range(len(starts))
    ]
    trapezium = np.full(n, THICKNESS / NODES)
    trapezium[[0, -1]] /= 2
    per = np.concatenate([POROSITY * trapezium, wash.held * trapezium])
    wanted = [exact[:, 2 * n * i : 2 * n * (i + 1)] @ per for i in range(len(starts))]
    water = seen(segments, times, lambda s, t: s.water_at(t))[:, 0]
    return np.array(found), np.array(wanted), water, exact[:, -2]


def bundle(items, names) -> dict[str, Array]:
    """Members' arrays side by side."""
    return {name: np.concatenate([getattr(item, name) for item in items]) for name in names}


def stacked_slabs(kinds) -> space.Slab:
    arrays = ["thickness", "mobile", "flux", "held", "release"]
    if kinds[0].bend is not None:
        arrays.append("bend")
    return replace(kinds[0], **bundle(kinds, arrays))


def stacked_conditions(each) -> interval.Conditions:
    names = ("free_diffusivity", "quickening", "film", "inflow", "supply")
    return replace(each[0], **bundle(each, (*names, "dead_share", "dead_rate")))
