"""A second, independent solver: cell-centred finite volumes in time by LSODA; nothing here imports washsim.

One kind of sheet (total paper area A) meets one stirred water at a time. Cells carry averages, neighbours are
joined by the series conductance of their halves, the surface film is one more resistance in that series. Time
is left to ODEPACK's LSODA (Hindmarsh and Petzold, through scipy.integrate.odeint) with the exact banded
Jacobian. The error in space is second order, so richardson() of N and 2N cells gains two orders.
Concentrations may be in any unit X per m3 (mol or g); amounts are then in X, everything else SI.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, sparse

from tests.references.layered import Layer

Array = NDArray[np.float64]
DRAIN, DEAD, WATER, CELLS = 0, 1, 2, 3  # places in the state vector


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """Stirred water of one phase. volume m3 poured on the puddle (m3) that stayed from the phase before.

    flow m3/s and efficiency: clean or `inflow` (X/m3) water exchanged. dead: share of the water that is only
    reached with time constant dead_time (s). A puddle is clean unless the phase before used the same tray.
    """

    volume: float
    puddle: float = 0.0
    flow: float = 0.0
    efficiency: float = 1.0
    inflow: float = 0.0
    dead: float = 0.0
    dead_time: float = math.inf
    tray: str = "tray"


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A time of constant conditions: duration s, films m/s (inf = face at the water, 0 = covered), D m2/s.

    bath: a concentration (reservoir that never changes, X/m3) or a Vessel. carry: surface film that the sheet
    brings from the water before, m3 per m2. layers: other hindrance, held, release in this phase (the rest the same).
    """

    duration: float
    bath: float | Vessel
    diffusivity: float
    film_front: float = math.inf
    film_back: float = math.inf
    carry: float = 0.0
    layers: tuple[Layer, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What happened: arrays over time. residual X/m2 in the paper; water X/m3; drained X (net, gone for good).

    profile and held: cell values at the end, X/m3; starts: index of the first output of each phase;
    imbalance: paper + film + water + drained - all that came in, X.
    """

    time: Array
    residual: Array
    water: Array
    drained: Array
    profile: Array
    held: Array
    starts: tuple[int, ...]
    imbalance: float

    def time_below(self, target: float, since: int = 0) -> float:
        """Seconds after output `since` until the residual stays below target (nan if never); log-linear."""
        value, time = self.residual[since:], self.time[since:]
        above = np.flatnonzero(value > target)
        if above.size == 0:
            return 0.0
        last = int(above[-1])
        if last + 1 == value.size:
            return math.nan
        share = math.log(value[last] / target) / math.log(value[last] / value[last + 1])
        return float(time[last] + share * (time[last + 1] - time[last]) - time[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class FiniteVolumeSheet:
    """Layers front to back and the number of equal cells in each."""

    layers: tuple[Layer, ...]
    cells: tuple[int, ...]

    def spread(
        self, value: Callable[[Layer], float], layers: Sequence[Layer] | None = None
    ) -> Array:
        """A layer property repeated over the cells, shape (sum of cells,)."""
        return np.repeat([value(layer) for layer in (layers or self.layers)], self.cells).astype(
            float
        )

    @property
    def widths(self) -> Array:
        """Cell widths, m."""
        return np.asarray(
            self.spread(lambda layer: layer.thickness) / np.repeat(self.cells, self.cells)
        )

    def refined(self) -> FiniteVolumeSheet:
        """The same sheet with every cell halved."""
        return FiniteVolumeSheet(layers=self.layers, cells=tuple(2 * n for n in self.cells))

    def amount(self, profile: Array, held: Array) -> Array:
        """Amount per area (X/m2) for cell values of shape (..., cells)."""
        return np.asarray(
            (self.spread(lambda layer: layer.capacity) * profile + held) @ self.widths
        )


def rate_matrix(
    sheet: FiniteVolumeSheet, phase: Phase, area: float, volume: float
) -> tuple[sparse.csr_matrix, Array]:
    """Matrix M (1/s) and source s of y' = M y + s; y = drain, dead water, water, then cell pairs.

    Cells are ordered from both faces inwards, each followed by its held part, so that M is narrow-banded
    although the water touches both faces. The drain is counted per (area x 1 mm) to keep the state of one size.
    """
    layers = phase.layers or sheet.layers
    width = sheet.widths
    conduct = (
        sheet.spread(lambda layer: layer.porosity * layer.hindrance, layers) * phase.diffusivity
    )
    capacity = sheet.spread(lambda layer: layer.capacity, layers) * width
    held, release = (
        sheet.spread(lambda x: x.held, layers),
        sheet.spread(lambda x: x.release, layers),
    )
    half = width / (2.0 * conduct)
    joint = 1.0 / (half[:-1] + half[1:])
    place = [int(p) for p in cell_places(width.size)]
    entries: list[tuple[int, int, float]] = []

    def exchange(i: int, j: int, rate: float, size_i: float, size_j: float) -> None:
        entries.extend(
            [
                (i, j, rate / size_i),
                (i, i, -rate / size_i),
                (j, i, rate / size_j),
                (j, j, -rate / size_j),
            ]
        )

    for k, value in enumerate(joint):
        exchange(place[k], place[k + 1], value, capacity[k], capacity[k + 1])
    for k in map(int, np.flatnonzero(release)):
        c, b, per_liquid = place[k], place[k] + 1, width[k] / capacity[k]
        catch, free = release[k] * held[k], release[k]
        entries.extend(
            [(b, c, catch), (b, b, -free), (c, c, -catch * per_liquid), (c, b, free * per_liquid)]
        )
    source = np.zeros(CELLS + 2 * width.size)
    active, unit = math.inf, area * 1e-3
    if isinstance(phase.bath, Vessel):
        bath = phase.bath
        active = (1.0 - bath.dead) * volume
        swap = bath.efficiency * bath.flow
        entries.extend([(WATER, WATER, -swap / active), (DRAIN, WATER, swap / unit)])
        source[WATER] = swap * bath.inflow / active
        if bath.dead > 0.0:
            exchange(WATER, DEAD, bath.dead * volume / bath.dead_time, active, bath.dead * volume)
    for film, k in ((phase.film_front, 0), (phase.film_back, width.size - 1)):
        if film > 0.0:
            face = 1.0 / (half[k] + 1.0 / film)
            exchange(place[k], WATER, face, capacity[k], active / area)
            if math.isinf(active):
                entries.extend([(DRAIN, place[k], face * 1e3), (DRAIN, WATER, -face * 1e3)])
    rows, columns, values = zip(*entries, strict=True)
    size = source.size
    return sparse.csr_matrix((values, (rows, columns)), shape=(size, size)), source


def cell_places(count: int) -> NDArray[np.int64]:
    """Place of each cell's concentration in the state; its held part follows."""
    order = np.empty(count, dtype=np.int64)
    front = (count + 1) // 2
    order[:front] = np.arange(0, 2 * front, 2)
    order[front:] = np.arange(1, 2 * (count - front), 2)[::-1]
    return CELLS + 2 * order


def integrate_phase(
    matrix: sparse.csr_matrix, source: Array, start: Array, times: Array, scale: float, rtol: float
) -> Array:
    """States at `times` (the first is the start), shape (times, unknowns), by LSODA with the banded Jacobian."""
    entries = matrix.tocoo()
    lower = int(max(0, (entries.row - entries.col).max()))
    upper = int(max(0, (entries.col - entries.row).max()))
    bands = np.zeros((lower + upper + 1, start.size))
    np.add.at(bands, (entries.row - entries.col + upper, entries.col), entries.data)
    states, info = integrate.odeint(
        lambda _, y: matrix @ y + source,
        start,
        times,
        Dfun=lambda _, y: bands,
        ml=lower,
        mu=upper,
        tfirst=True,
        rtol=rtol,
        atol=1e-5 * rtol * scale,
        mxstep=200_000,
        full_output=True,
    )
    if info["message"] != "Integration successful.":
        raise RuntimeError(info["message"])
    return np.asarray(states)


def run(
    sheet: FiniteVolumeSheet,
    phases: Sequence[Phase],
    *,
    area: float = 1.0,
    every: float = 5.0,
    rtol: float = 1e-9,
) -> History:
    """Take fixer-free sheets of `area` m2 in all through the phases; outputs about `every` s and at phase ends.

    The ledger counts a reservoir as outside: what the paper takes from it is a negative drain.
    """
    place = cell_places(sheet.widths.size)
    state = np.zeros(CELLS + 2 * place.size)
    water, volume, drained, came_in, clock = 0.0, math.inf, 0.0, 0.0, 0.0
    scale = max(p.bath if not isinstance(p.bath, Vessel) else p.bath.inflow for p in phases)
    tray, parts, starts, outputs = "", [], [], 0
    for phase in phases:
        film = phase.carry * area
        if math.isinf(volume):
            drained -= film * water
        else:
            drained += (volume - film) * water
        if isinstance(phase.bath, Vessel):
            kept = water if phase.bath.tray == tray else 0.0
            drained -= phase.bath.puddle * kept
            volume = phase.bath.volume + phase.bath.puddle + film
            poured = phase.bath.volume * phase.bath.inflow
            came_in += (
                poured
                + phase.bath.efficiency * phase.bath.flow * phase.bath.inflow * phase.duration
            )
            water = (phase.bath.puddle * kept + film * water + poured) / volume
            tray = phase.bath.tray
        else:
            drained += film * water
            water, volume, tray = phase.bath, math.inf, ""
        state[DRAIN], state[DEAD], state[WATER] = 0.0, water, water
        matrix, source = rate_matrix(sheet, phase, area, volume)
        times = np.linspace(0.0, phase.duration, max(2, math.ceil(phase.duration / every) + 1))
        states = integrate_phase(matrix, source, state, times, scale, rtol)
        state = states[-1].copy()
        gone = drained + states[:, DRAIN] * area * 1e-3
        parts.append(
            (
                clock + times,
                sheet.amount(states[:, place], states[:, place + 1]),
                states[:, WATER],
                gone,
            )
        )
        starts.append(outputs)
        outputs += times.size
        drained, clock = float(gone[-1]), clock + phase.duration
        dead = phase.bath.dead if isinstance(phase.bath, Vessel) else 0.0
        water = float((1.0 - dead) * state[WATER] + dead * state[DEAD])
    time, residual, waters, gone = (np.concatenate(column) for column in zip(*parts, strict=True))
    in_water = 0.0 if math.isinf(volume) else volume * water
    return History(
        time=time,
        residual=residual,
        water=waters,
        drained=gone,
        profile=state[place],
        held=state[place + 1],
        starts=tuple(starts),
        imbalance=float(residual[-1] * area + in_water + drained - came_in),
    )


def richardson(coarse: float, fine: float) -> float:
    """Second-order extrapolation from N and 2N cells."""
    return fine + (fine - coarse) / 3.0
