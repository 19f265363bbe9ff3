"""Draws from a posterior over independent standard normals, by weighing all that was ever drawn.

Adaptive multiple importance sampling (Cornuet, Marin, Mira and Robert, Scand. J. Statist. 39, 2012;
from memory): rounds of draws come from normals fitted to what is known so far, and every draw,
those of the prior too, is weighed against the mixture of all that were drawn from. No likelihood is
thrown away, so a few drops on a few strips take a third of the runs that a cloud which walks does
(see `tempering`). Many exact readings leave too thin a sheet of the unknowns for a normal to hit:
that shows in the weights, and is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from washsim.engine.space import Array
from washsim.tempering import Cloud, effective, excess, largest_power, normal_near, resampled

WORTH = 1.5
"""Rounds end once the weighed draws are worth so many times those asked for."""
MOST = 12
"""Draws that may be made, over those asked for, before it is given up."""
FEW = 3 / 8
"""Worth of the draws that a normal is fitted to, over those asked for: less is mostly noise."""
TOLD = 0.3
"""Standard errors by which the readings change along a direction that is worth fitting."""
WIDER = 1.3
"""Variance of a fitted normal over that of the draws: tails must be reached to be weighed."""


@dataclass
class _Drawn:
    """All draws so far (n, k), ln likelihood (n,), what was seen (n, r); where they came from."""

    draws: Array
    logs: Array
    seen: Array
    counts: list[int]
    normals: list[tuple[Array, Array]] = field(default_factory=list)

    def add(self, draws: Array, logs: Array, seen: Array, normal: tuple[Array, Array]) -> None:
        self.draws = np.concatenate([self.draws, draws])
        self.logs = np.concatenate([self.logs, logs])
        self.seen = np.concatenate([self.seen, seen])
        self.counts.append(len(draws))
        self.normals.append(normal)

    def mixture(self) -> Array:
        """(n,) ln of the density that all came from, over the prior's."""
        parts = [np.zeros(len(self.draws))]
        for center, root in self.normals:
            volume = np.sum(np.log(np.diag(root)))
            parts.append(-excess(self.draws, center, root) - volume)
        shares = np.array(self.counts) / len(self.draws)
        return np.asarray(np.logaddexp.reduce(np.log(shares)[:, None] + parts, axis=0), float)


def weighed(
    start: Array,
    likelihood: Callable[[Array], tuple[Array, Array]],
    errors: Array,
    rng: np.random.Generator,
    progress: Callable[[float], None] | None = None,
) -> Cloud | None:
    """Draws of the prior, start (N, k), standard normal, and more: N of the posterior.

    likelihood(u (n, k)) returns log likelihoods (n,) and the quantities seen (n, r) through which
    alone they depend on the draws, errors (r,) their standard errors. progress is called with the
    share done, 0 to 1. None if normals do not fit well enough within MOST N draws.
    """
    wanted, each = WORTH * len(start), max(1, len(start) // 2)
    drawn = _Drawn(start, *likelihood(start), [len(start)])
    while True:
        mixture = drawn.mixture()
        logs = drawn.logs - mixture
        worth = effective(logs)
        if progress is not None:
            progress(min(1.0, worth / wanted))
        if worth >= wanted:
            break
        if len(drawn.draws) + each > MOST * len(start):
            return None
        power = largest_power(drawn.logs, -mixture, FEW * len(start))
        share = np.exp(power * drawn.logs - mixture - np.max(power * drawn.logs - mixture))
        normal = normal_near(drawn.draws, drawn.seen / errors, share / share.sum(), TOLD, WIDER)
        center, root = normal
        new = center + rng.standard_normal((each, start.shape[1])) @ root.T
        drawn.add(new, *likelihood(new), normal)
    share = np.exp(logs - logs.max())
    evidence = float(np.log(share.mean()) + logs.max())
    keep = resampled(share / share.sum(), len(start), rng)
    calls = len(drawn.draws)
    return Cloud(drawn.draws[keep], drawn.seen[keep], evidence, calls, len(drawn.counts))
