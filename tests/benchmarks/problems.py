"""The benchmark's problems, solved by the engine and by general integrators (see engine.py)."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import lru_cache
from itertools import pairwise

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy import integrate, sparse

from washsim.engine import acts, interval, march, space

Array = np.ndarray
FREE, FIXER = 0.989e-9, 108.0  # m2/s; kg/m3
FILM, FIX_FILM = 2.5e-6, 2.5e-6  # m/s
FIX, END = 300.0, 5400.0  # s
AREA, VOLUME, PUDDLE = 14 * 0.0516, 4e-3, 0.3e-3  # m2, m3, m3
CHANGES = np.linspace(FIX, END, 9)  # eight baths of 10.6 min
OUTPUTS = np.linspace(0.0, END, 300)
LAYERS = np.array([[25e-6, 0.85, 0.5], [20e-6, 0.35, 0.10], [330e-6, 0.58, 0.05]])
COARSE, FINE = (4, 4, 12), (14, 14, 36)
EVEN = (10, 10, 100)
"""120 intervals, with which the even grid is good to 5e-4, the first seconds being the worst."""
OWN = "odeint on the engine's own nodes"
SHEETS, APART, FLOW, TRAY = 12, 240.0, 2e-3 / 60, 10e-3  # of one batch that comes one by one


def slab(family: str, counts: tuple[int, ...], layers: Array) -> space.Slab:
    """layers (M, L, 3): thickness, porosity, hindrance."""
    one = np.ones(layers.shape[:2])
    return space.slab(
        space.space(family, counts),
        thickness=layers[..., 0],
        porosity=layers[..., 1],
        hindrance=layers[..., 2],
        retardation=one,
        retention=0 * one,
        release_rate=0 * one,
    )


def conditions(members: int, film: float, *, bath: float = 0.0, flow: float = 0.0):
    one = np.ones(members)
    return interval.Conditions(
        free_diffusivity=FREE * one,
        quickening=one,
        film=np.full((members, 2), film),
        inflow=flow * one,
        supply=bath * one,
        dead_share=0 * one,
        dead_rate=one,
        boundless=bath > 0,
    )


# the engine


def ours(layers: Array, family: str = "lobatto", counts: tuple[int, ...] = COARSE) -> Array:
    """(M, 300) g/m2: fixed 300 s, then eight changes on a puddle; layers (M, L, 3)."""
    members = len(layers)
    one = np.ones(members)
    kind = slab(family, counts, layers)
    state = march.March([kind], [(0, AREA * one, 0 * one)], 2, members)
    events: list[acts.Event] = [
        acts.Set(0 * one, 0, conditions(members, FIX_FILM, bath=FIXER)),
        acts.Place(0 * one, 0, 0),
        acts.Lift(FIX * one, 0, 0 * one),
        acts.Set(FIX * one, 1, conditions(members, FILM)),
        acts.Fill(FIX * one, 1, PUDDLE * one, 0 * one),
        acts.Place(FIX * one, 0, 1),
    ]
    for at in CHANGES[:-1]:
        fill = acts.Fill(at * one, 1, VOLUME * one, 0 * one)
        events += [acts.Dump(at * one, 1, PUDDLE * one), fill]
    events.append(acts.Lift(END * one, 0, 0 * one))
    return seen(state.run(events), [0], kind)[0]


def seen(segments, lots: list[int], kind: space.Slab) -> Array:
    """(lots, M, 300) g/m2 at OUTPUTS; times are alike in all members."""
    members = len(kind.mobile)
    found = np.zeros((len(lots), members, len(OUTPUTS)))
    observe = 1e3 * kind.capacity[:, None, :]
    for segment in segments:
        first, last = np.searchsorted(OUTPUTS, [segment.start[0], segment.stop[0]], "left")
        last += last < len(OUTPUTS) and OUTPUTS[last] == segment.stop[0]
        if last > first:
            seconds = np.broadcast_to(
                OUTPUTS[first:last] - segment.start[0], (members, last - first)
            )
            for lot in segment.parts:
                found[lot, :, first:last] = segment.slab_at(lot, seconds, observe)[..., 0]
    return found


def ours_batch(layers: Array) -> Array:
    """Members in chunks of 64."""
    return np.concatenate([ours(layers[i : i + 64]) for i in range(0, len(layers), 64)])


def ours_tray(counts: tuple[int, ...] = COARSE) -> Array:
    """(12, 300) g/m2: sheets that come one by one into one running tray."""
    one = np.ones(1)
    kind = slab("lobatto", counts, LAYERS[None])
    lots = [(0, 0.0516 * one, 0 * one)] * SHEETS
    state = march.March([kind], lots, 2, 1)
    deeds: list[tuple[float, acts.Event]] = []
    for i in range(SHEETS):
        start = i * APART
        deeds += [
            (start, acts.Place(start * one, i, 0)),
            (start + FIX, acts.Lift((start + FIX) * one, i, 0 * one)),
            (start + FIX, acts.Place((start + FIX) * one, i, 1)),
            (END, acts.Lift(END * one, i, 0 * one)),
        ]
    events: list[acts.Event] = [
        acts.Set(0 * one, 0, conditions(1, FIX_FILM, bath=FIXER)),
        acts.Set(0 * one, 1, conditions(1, FILM, flow=FLOW)),
        acts.Fill(0 * one, 1, TRAY * one, 0 * one),
    ]
    events += [event for _, event in sorted(deeds, key=lambda deed: deed[0])]
    return seen(state.run(events), list(range(SHEETS)), kind)[:, 0]


# the peers


@lru_cache
def grid_of(family: str, sheets: int, area: float, layers: bytes = LAYERS.tobytes()) -> Grid:
    """Putting the peers' matrices together is not what is measured."""
    return Grid(np.frombuffer(layers).reshape(LAYERS.shape), family, sheets, area)


class Grid:
    """Even nodes of `sheets` alike sheets and their water in an order of narrow band."""

    def __init__(self, layers: Array, family: str, sheets: int, area: float) -> None:
        counts = EVEN if family == "even" else COARSE
        kind = slab(family, counts, layers[None])
        n, self.sheets, self.area = kind.space.size, sheets, area
        order = np.empty(n, dtype=int)
        order[: (n + 1) // 2] = np.arange(0, n + n % 2, 2)
        order[(n + 1) // 2 :] = np.arange(1, n, 2)[: n // 2][::-1]
        self.place = 1 + order * sheets + np.arange(sheets)[:, None]  # (sheets, n)
        self.size = 1 + n * sheets
        self.capacity = kind.mobile[0]
        self.joints = FREE * (kind.flux[0].T @ kind.flux[0])
        self.rows = 1e3 * self.capacity

    @lru_cache  # noqa: B019 - grids live as long as the benchmark
    def matrix(self, film: float, volume: float, flow: float, inside: int) -> sparse.csr_matrix:
        """Rates (1/s); the water stays as it is where volume is infinite; `inside` sheets in it."""
        full = sparse.lil_matrix((self.size, self.size))
        for sheet in range(inside):
            p = self.place[sheet]
            full[np.ix_(p, p)] = -self.joints / self.capacity[:, None]
            for node in (0, -1):
                full[p[node], p[node]] -= film / self.capacity[node]
                full[p[node], 0] += film / self.capacity[node]
                full[0, p[node]] += self.area * film / volume
                full[0, 0] -= self.area * film / volume
        full[0, 0] -= flow / volume
        return sparse.csr_matrix(full)


Solver = Callable[[sparse.csr_matrix, Array, Array, float], Array]


def banded(matrix: sparse.csr_matrix) -> tuple[Array, int]:
    """LAPACK's band storage and the band's half width."""
    entries = matrix.tocoo()
    width = int(np.abs(entries.row - entries.col).max())
    bands = np.zeros((2 * width + 1, matrix.shape[0]))
    bands[entries.row - entries.col + width, entries.col] = entries.data
    return bands, width


def odeint(matrix: sparse.csr_matrix, start: Array, times: Array, rtol: float) -> Array:
    bands, width = banded(matrix)
    # a small matrix is quicker as an array than as a sparse one
    rates = matrix.toarray() if matrix.shape[0] < 300 else matrix
    return integrate.odeint(
        lambda _, y: rates @ y, start, times, tfirst=True, Dfun=lambda _, y: bands,
        ml=width, mu=width, rtol=rtol, atol=1e-2 * rtol * FIXER, mxstep=100_000,
    )  # fmt: skip


def ivp(method: str) -> Solver:
    def run(matrix: sparse.csr_matrix, start: Array, times: Array, rtol: float) -> Array:
        rates = matrix.toarray() if matrix.shape[0] < 300 else matrix
        if method == "LSODA":
            bands, width = banded(matrix)
            more = {"lband": width, "uband": width, "jac": lambda _, y: bands}
        else:
            more = {"jac": sparse.csc_matrix(matrix)}
        return integrate.solve_ivp(
            lambda _, y: rates @ y, (times[0], times[-1]), start, method=method, t_eval=times,
            rtol=rtol, atol=1e-2 * rtol * FIXER, **more,
        ).y.T  # fmt: skip

    return run


def pieces(edges: Array) -> list[tuple[Array, slice]]:
    """For each interval its times (edges and outputs inside) and its rows of OUTPUTS."""
    found = []
    for a, b in pairwise(edges):
        inside = np.flatnonzero((a <= OUTPUTS) & (b > OUTPUTS))
        times = np.unique(np.concatenate([[a], OUTPUTS[inside], [b]]))
        found.append((times, slice(inside[0], inside[-1] + 1)))
    return found


def theirs(solver: Solver, rtol: float, layers: Array = LAYERS, family: str = "even") -> Array:
    """(300,) g/m2 of the first problem by a general integrator."""
    grid = grid_of(family, 1, AREA, layers.tobytes())
    fixing = grid.matrix(FIX_FILM, np.inf, 0.0, 1)
    washing = grid.matrix(FILM, VOLUME + PUDDLE, 0.0, 1)
    y, found = np.zeros(grid.size), np.zeros(len(OUTPUTS))
    for number, (times, here) in enumerate(pieces(np.concatenate([[0.0], CHANGES]))):
        kept = 0.0 if number == 1 else y[0] * PUDDLE / (PUDDLE + VOLUME)
        y[0] = FIXER if number == 0 else kept
        path = solver(fixing if number == 0 else washing, y, times, rtol)
        rows = np.searchsorted(times, OUTPUTS[here])
        found[here] = path[rows][:, grid.place[0]] @ grid.rows
        y = path[-1].copy()
    found[-1] = y[grid.place[0]] @ grid.rows
    return found


def theirs_tray(solver: Solver, rtol: float, family: str = "even") -> Array:
    """(12, 300) g/m2 of the tray; the fixing, alike for all, is integrated once."""
    grid, single = grid_of(family, SHEETS, 0.0516), grid_of(family, 1, 0.0516)
    found = np.zeros((SHEETS, len(OUTPUTS)))
    y0 = np.zeros(single.size)
    y0[0] = FIXER
    starts = APART * np.arange(SHEETS)
    inside = [OUTPUTS[(at <= OUTPUTS) & (at + FIX > OUTPUTS)] - at for at in starts]
    times = np.unique(np.concatenate([[0.0, FIX], *inside]))
    fixing = solver(single.matrix(FIX_FILM, np.inf, 0.0, 1), y0, times, rtol)[:, single.place[0]]
    for i in range(SHEETS):
        first = np.searchsorted(OUTPUTS, i * APART)
        found[i, first : first + len(inside[i])] = (
            fixing[np.searchsorted(times, inside[i])] @ grid.rows
        )
    y = np.zeros(grid.size)
    edges = np.array([FIX + i * APART for i in range(SHEETS)] + [END])
    for i, (spell, here) in enumerate(pieces(edges)):
        y[grid.place[i]] = fixing[-1]
        size = grid.size if i == SHEETS - 1 else None
        path = solver(grid.matrix(FILM, TRAY, FLOW, i + 1)[:size, :size], y, spell, rtol)
        rows = np.searchsorted(spell, OUTPUTS[here])
        for sheet in range(i + 1):
            found[sheet, here] = path[rows][:, grid.place[sheet]] @ grid.rows
        y = path[-1].copy()
    found[:, -1] = y[grid.place] @ grid.rows
    return found


def error(found: Array, exact: Array) -> float:
    return float(np.max(np.abs(found - exact) / (exact + 1e-3)))


def members(count: int) -> Array:
    """(count, 3, 3) papers that differ in the base."""
    draw = np.random.default_rng(1)
    layers = np.repeat(LAYERS[None], count, 0)
    layers[:, 2, 0] *= draw.uniform(0.85, 1.25, count)
    layers[:, 2, 1] *= draw.uniform(0.8, 1.1, count)
    layers[:, 2, 2] *= draw.uniform(0.6, 3.0, count)
    return layers
