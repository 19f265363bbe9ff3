"""Films that follow what they carry, at the faces of a tank's slabs.

What a film lets through beyond a constant one is a flux from a face to the water there. Only these
few numbers bend, so at the points of a step the fluxes that go with the differences they make are
found by Newton's method on a small matrix, however stiff they are.

M members, F = 2 C faces of C crowds, p points of a step, k times: these and some that check,
U unknowns of a tank.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from washsim.engine.interval import Modes
from washsim.engine.pushed import Pushed
from washsim.engine.space import Array

TRIALS = 8
"""Steps of Newton's method; a flux that has not settled then is one that its law jumps at."""
NUDGE = 1e-6
"""Part by which a difference is changed to see how its law rises."""


@dataclass(frozen=True, slots=True)
class Faces:
    """Front and back of each crowd.

    currents: as of `Conditions`; reference (M, 2) m/s, the constant films; open (F,), 1.0 or 0.0;
    still (M,) s, since a hand moved the water; seen (M, F, U) shows the differences among the
    unknowns, given (M, F, U) 1/m is what a flux does to these.
    """

    currents: Callable[[Array, Array], Array]
    reference: Array
    open: Array
    still: Array
    seen: Array
    given: Array

    def films(self, difference: Array, seconds: Array) -> Array:
        """(M, k, F) m/s beyond the constant ones, at differences (M, k, F), seconds (M, k) on."""
        pairs = difference.reshape(len(difference), -1, 2)
        still = np.repeat(self.still[:, None] + seconds, len(self.open) // 2, axis=1)
        more = self.currents(pairs, still[..., None]) - self.reference[:, None]
        return more.reshape(difference.shape) * self.open

    def through(self, alone: Array, reach: Array, film: Array) -> Array:
        """Fluxes (M, p, F) through films (M, F) that stay: a start for `settle`.

        They have the right sign, however long the step.
        """
        members, points = len(alone), reach.shape[2]
        count = points // alone.shape[2]
        slope = np.repeat(film[:, None], count, axis=1).reshape(members, points, 1)
        met = slope * alone[:, :count].reshape(slope.shape)
        flux = np.linalg.solve(np.eye(points) - slope * reach[:, :points], met)
        return flux.reshape(members, count, -1).astype(np.float64, copy=False)

    def settle(
        self, alone: Array, reach: Array, flux: Array, seconds: Array, enough: Array
    ) -> tuple[Array, Array, Array, Array]:
        """Fluxes (M, p, F), those that the law has at the k times, films at the last point, error.

        alone (M, k, F): differences without these fluxes; reach (M, k F, p F): those that each
        makes; flux: one to begin with; enough (M, F) kg/(m2 s): a flux may be so wrong. The error
        (M,) is what is left over that, nothing where they settle.
        """
        (members, k, _), points = alone.shape, reach.shape[2]
        count = flux.shape[1]
        within, eye, twice = (
            reach[:, :points],
            np.eye(points),
            np.concatenate([seconds, seconds], axis=1),
        )
        difference = alone + (reach @ flux.reshape(members, points, 1)).reshape(alone.shape)
        for _ in range(TRIALS):
            nudge = NUDGE * np.abs(difference) + 1e-30
            both = np.concatenate([difference, difference + nudge], axis=1)
            film = self.films(both, twice)
            both *= film
            law = both[:, :k]
            left = law[:, :count] - flux
            error = (np.abs(left) / enough[:, None]).max(axis=(1, 2))
            slope = (both[:, k:] - law) / nudge
            felt = slope[:, :count].reshape(members, points, 1)
            change = np.linalg.solve(eye - felt * within, left.reshape(felt.shape))
            flux = flux + change.reshape(flux.shape)
            turned = (reach @ change).reshape(difference.shape)
            if (error <= 1).all():
                # which this last step of Newton's method squares
                return flux, law + slope * turned, film[:, count - 1], np.zeros(members)
            difference = difference + turned
        return flux, law, film[:, count - 1], error


@dataclass(frozen=True, slots=True)
class Following:
    """Films of an interval that follow what they carry: `course` of all the tank in `modes`."""

    faces: Faces
    modes: Modes
    course: Pushed

    def rates(self, seconds: Array) -> Array:
        """(M, U) 1/s at seconds (M,) into the interval, in no order: were films to stay so."""
        difference = self.course.at(seconds[:, None], self.faces.seen)
        film = self.faces.films(difference, seconds[:, None])[:, 0, :, None]
        fading = (self.modes.compose * self.modes.rates[:, None]) @ self.modes.analyse
        more = self.faces.given.swapaxes(1, 2) @ (film * self.faces.seen)
        rates: Array = np.linalg.eigvals(fading - more).real.astype(np.float64, copy=False)
        return rates
