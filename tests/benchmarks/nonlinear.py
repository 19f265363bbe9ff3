"""Washes with laws that bend, against general integrators at the same measured error.

    python -m tests.benchmarks.nonlinear [--members 256] [--rounds 7]

One layer full of fixer, 90 minutes in a closed bath, 300 outputs: with places that fill up, with
films that currents make, with both; the last two also in six changes of water, at which a peer has
to begin anew. Peers integrate 120 even intervals with differenced banded Jacobians, nodes taken in
turn from both faces so that the band is narrow; ours takes 16 Lobatto intervals through the march.
This sheet happens to be alike on both sides: a peer that is told so, "folded", has half the
unknowns, a favour that no layered paper does it and that ours is not done. Error: largest over the outputs of |r - ref| / (ref + 0.001
g/m2), r the content, against a tight run on the same nodes, so that of time alone. A peer gets the
loosest tolerance, in half decades, with which it errs no more than twice what ours does. Times are
the least of rounds that are interleaved. Members are papers that fill up at 0.2 to 5 g/L, or face
water that quickens by 0.5 to 2 times; one of a peer's runs, times their number, stands for its
time. CVODE runs where scikit-sundae is installed (the extra `bench`).
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from itertools import pairwise

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in

import numpy as np
from scipy import integrate

from washsim.engine import acts, interval, march, space

Array = np.ndarray
THICKNESS, POROSITY, INSIDE, HELD, RELEASE = 375e-6, 0.6, 3e-11, 0.09, 3.85e-4
FULL, FREE = 1.0, 3e-6  # kg/m3; m/s at 1 kg/m3
FILM, LEAST, AREA, VOLUME, FIXER, NODES = 3e-6, 5e-7, 0.05, 4e-3, 100.0, 120
TIMES = np.linspace(0.0, 5400.0, 300)
TIGHT = {"tolerance": 1e-9}


class Case:
    """Whether places fill up, whether currents make the films, how many baths of equal length.

    Factors (M,) make members. folded: whether peers take one half of the sheet for both.
    """

    def __init__(self, filling: bool, currents: bool, baths: int = 1, folded: bool = False) -> None:
        self.filling, self.currents = filling, currents
        self.changes = np.linspace(0.0, TIMES[-1], baths + 1)[1:-1]
        count = NODES // 2 + 1 if folded else NODES + 1
        self.halves, self.step = 2 if folded else 1, 2 if filling else 1
        self.faces = [0] if folded else [0, NODES]
        self.size = np.full(count, THICKNESS / NODES)
        self.size[[0, -1]] /= 2
        # of two neighbours in a sheet taken from both faces in turn two others stand between
        away = np.minimum(np.arange(count), count - 1 - np.arange(count))
        self.order = np.arange(count) if folded else np.argsort(away, kind="stable")
        self.place = np.argsort(self.order)
        self.band = self.step * len(self.faces)

    def ours(self, factors: Array, **settings: float) -> Array:
        """(M, T) kg/m2 by the march."""
        members, one = len(factors), np.ones(len(factors))

        def row(value: float) -> Array:
            return np.full((members, 1), value)

        full = FULL * factors[:, None]
        kind = space.slab(
            space.space("lobatto", (16,)),
            thickness=row(THICKNESS),
            porosity=row(POROSITY),
            hindrance=row(INSIDE / 1e-9),
            retardation=row(1.0),
            retention=row(HELD if self.filling else 0.0),
            release_rate=row(RELEASE),
            bend=1 / full,
        )
        quick = FREE * factors[:, None, None]

        def law(difference: Array, still: Array) -> Array:
            return np.maximum(LEAST, quick * np.abs(difference) ** (1 / 3))

        film, nothing = np.full((members, 2), FILM), 0.0 * one
        at = interval.Conditions(
            1e-9 * one, one, film, nothing, nothing, nothing, nothing,
            currents=law if self.currents else None,
        )  # fmt: skip
        state = march.March([kind], [(0, AREA * one, FIXER * one)], 1, members, **settings)
        state.lots[0].state[:, kind.space.size :] = FIXER / (1 + FIXER / full)
        deeds = [
            acts.Set(nothing, 0, at),
            acts.Fill(nothing, 0, VOLUME * one, nothing),
            acts.Place(nothing, 0, 0),
        ]
        for at in self.changes:
            deeds.append(acts.Dump(at * one, 0, nothing))
            deeds.append(acts.Fill(at * one, 0, VOLUME * one, nothing))
        deeds.append(acts.Lift(TIMES[-1] * one, 0, nothing))
        found = np.empty((members, len(TIMES)))
        rows = kind.capacity[:, None]
        for segment in state.run(deeds):
            start, stop = (x[:, None] for x in (segment.start, segment.stop))
            inside = (start <= TIMES) & (stop >= TIMES)
            # each member's own outputs, as many columns as the most of them
            columns = np.argsort(~inside, axis=1, kind="stable")[:, : inside.sum(axis=1).max()]
            if columns.size:
                seconds = np.clip(TIMES[columns] - start, 0.0, stop - start)
                shown = segment.slab_at(0, seconds, rows)[..., 0]
                which = np.take_along_axis(inside, columns, axis=1)
                m, _ = np.nonzero(which)
                found[m, columns[which]] = shown[which]
        return found

    # the peers

    def start(self) -> Array:
        """Water, then node by node as in `order` the mobile and, if any, the held part."""
        y = np.full(1 + self.step * len(self.size), FIXER)
        y[0] = 0.0
        if self.filling:
            y[2::2] = FIXER / (1 + FIXER / FULL)
        return y

    def parts(self, states: Array) -> tuple[Array, Array]:
        """Mobile and held, from front to back."""
        c = states[..., 1 :: self.step][..., self.place]
        return c, states[..., 2::2][..., self.place] if self.filling else 0 * c

    def rate(self, t: float, y: Array) -> Array:
        out = np.empty_like(y)
        c, g = self.parts(y)
        moved = np.zeros_like(c)
        if self.filling:
            caught = RELEASE * (c / (1 + c / FULL) - g)
            moved -= self.size * HELD * caught
            out[2::2] = caught[self.order]
        flow = BETWEEN * np.diff(c)
        moved[:-1] += flow
        moved[1:] -= flow
        out[0] = 0.0
        for face in self.faces:
            d = c[face] - y[0]
            flux = (max(LEAST, FREE * abs(d) ** (1 / 3)) if self.currents else FILM) * d
            moved[face] -= flux
            out[0] += self.halves * AREA * flux / VOLUME
        out[1 :: self.step] = (moved / (self.size * POROSITY))[self.order]
        return out

    def content(self, states: Array) -> Array:
        c, g = self.parts(states)
        return self.halves * (POROSITY * c + HELD * g) @ self.size

    def bath_by_bath(self, solve: Callable[[Array, Array], Array]) -> Array:
        """(T, unknowns) by solve(start, times), whose water is changed between baths."""
        edges = np.concatenate([TIMES[:1], self.changes, TIMES[-1:]])
        y, found = self.start(), [self.start()[None]]
        for begin, end in pairwise(edges):
            y[0] = 0.0
            first, last = np.searchsorted(TIMES, [begin, end], "right")
            inside = TIMES[first:last]
            times = np.concatenate([[begin], inside, [end] if inside[-1] < end else []])
            states = solve(y, times)
            found.append(states[1 : 1 + len(inside)])
            y = states[-1].copy()
        return np.concatenate(found)

    def odeint(self, rtol: float) -> Array:
        given = {"ml": self.band, "mu": self.band, "rtol": rtol, "atol": 1e-4 * rtol * FIXER}
        return self.bath_by_bath(
            lambda y, times: integrate.odeint(
                self.rate, y, times, tfirst=True, mxstep=100_000, **given
            )
        )

    def lsoda(self, rtol: float) -> Array:
        return self.bath_by_bath(
            lambda y, times: integrate.solve_ivp(
                self.rate, times[[0, -1]], y, "LSODA", times, rtol=rtol,
                atol=1e-4 * rtol * FIXER, lband=self.band, uband=self.band,
            ).y.T
        )  # fmt: skip

    def cvode(self, rtol: float) -> Array:
        from sksundae.cvode import CVODE

        def fill(t: float, y: Array, out: Array) -> None:
            out[:] = self.rate(t, y)

        given = {"linsolver": "band", "lband": self.band, "uband": self.band}
        solver = CVODE(fill, rtol=rtol, atol=1e-4 * rtol * FIXER, max_num_steps=100_000, **given)
        return self.bath_by_bath(lambda y, times: solver.solve(times, y).y)


BETWEEN = POROSITY * INSIDE * NODES / THICKNESS


def error(found: Array, exact: Array) -> float:
    return float(np.max(np.abs(found - exact) / (exact + 1e-6)))


def timed(runs: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Least processor seconds of each, in turn."""
    spent: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            begun = time.process_time()
            run()
            spent[name].append(time.process_time() - begun)
    return {name: min(values) for name, values in spent.items()}


def compare(title: str, members: int, rounds: int, **given: object) -> None:
    case, half, one = Case(**given), Case(**given, folded=True), np.ones(1)
    wrong = error(case.ours(one), case.ours(one, **TIGHT))
    runs: dict[str, Callable[[], object]] = {"engine": lambda: case.ours(one)}
    errors = {"engine": wrong}
    peers = {
        "odeint, banded": (case, case.odeint),
        "LSODA, banded": (case, case.lsoda),
        "CVODE, banded": (case, case.cvode),
        "odeint, folded": (half, half.odeint),
    }
    for name, (problem, method) in peers.items():
        exact = problem.content(problem.odeint(1e-12))
        try:
            for rtol in 10.0 ** -np.arange(2.0, 11.5, 0.5):
                errors[name] = error(problem.content(method(rtol)), exact)
                if errors[name] <= 2 * wrong:
                    break
        except ImportError:
            print(f"{name} is left out: scikit-sundae is not installed")
            continue
        runs[name] = lambda method=method, rtol=rtol: method(rtol)
    factors = np.geomspace(0.2, 5.0, members) if case.filling else np.geomspace(0.5, 2.0, members)
    chunks = [factors[i : i + 64] for i in range(0, members, 64)]
    runs["members"] = lambda: [case.ours(chunk) for chunk in chunks]
    times = timed(runs, rounds)
    each = times.pop("members") / members
    print(f"\n{title}\n{'':22}{'ms':>10}{'x ours':>9}{'error':>10}{'x a member':>12}")
    for name, seconds in times.items():
        ratios = seconds / times["engine"], seconds / each
        print(
            f"{name:22}{1e3 * seconds:10.2f}{ratios[0]:9.1f}{errors[name]:10.1e}{ratios[1]:12.1f}"
        )
    print(f"{members} members: {1e3 * each:.2f} ms each")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--members", type=int, default=256)
    parser.add_argument("--rounds", type=int, default=7)
    asked = parser.parse_args()
    cases = {
        "(a) places that fill up": {"filling": True, "currents": False},
        "(b) films that currents make": {"filling": False, "currents": True},
        "(c) both": {"filling": True, "currents": True},
        "(d) currents, six changes": {"filling": False, "currents": True, "baths": 6},
        "(e) both, six changes": {"filling": True, "currents": True, "baths": 6},
    }
    for title, given in cases.items():
        compare(title, asked.members, asked.rounds, **given)


if __name__ == "__main__":
    main()
