"""Draws from a posterior over independent standard normals, and its evidence.

Sequential Monte Carlo with likelihood tempering (Del Moral, Doucet and Jasra, Sequential Monte
Carlo samplers, J. R. Statist. Soc. B 68, 2006; from memory): a cloud of draws from the prior is
led to the posterior by raising the likelihood to a power that grows from 0 to 1. Each stage lets
the worst draws go, copies the best and moves all of them by steps that leave the tempered
posterior as it is. A stage asks for the likelihood of all draws at once, which is what a batched
solver does well; several humps, and bounds instead of values, are no trouble; the evidence falls
out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from washsim.engine.space import Array

SURVIVORS = 0.5
"""Share of the draws' worth that a stage may use up: effective over nominal number."""
REACH, LAST_REACH = 0.8, 0.95
"""Moves go on until draws have lost this much of their correlation with where they stood."""
MOST_MOVES = 15
STAGES = 60
"""More mean that the likelihood is zero or broken: ten stages are many."""


@dataclass(frozen=True, slots=True)
class Cloud:
    """N equally weighted draws (N, k) of the posterior.

    seen (N, n): what the likelihood returned beside its value; log_evidence: natural logarithm of
    the mean likelihood over the prior; calls: likelihoods asked for.
    """

    draws: Array
    seen: Array
    log_evidence: float
    calls: int
    stages: int


def tempered(
    start: Array,
    likelihood: Callable[[Array], tuple[Array, Array]],
    rng: np.random.Generator,
    progress: Callable[[float], None] | None = None,
) -> Cloud:
    """Lead draws of the prior, start (N, k), standard normal, to the posterior.

    likelihood(u (N, k)) returns log likelihoods (N,) and the n quantities seen (N, n) through
    which alone they depend on the draws. progress is called with the power reached, 0 to 1.
    Moves are autoregressive steps on a normal fitted to the cloud, accepted by the ratio of the
    posterior to that normal.
    """
    u, count = start, len(start)
    logs, seen = likelihood(u)
    calls, power, evidence, stages = count, 0.0, 0.0, 0
    while power < 1.0:
        step = largest_power(logs, np.zeros(count), SURVIVORS * count, 1.0 - power)
        worth = np.exp(step * (logs - logs.max()))
        evidence += float(np.log(worth.mean()) + step * logs.max())
        power = min(1.0, power + step)
        stages += 1
        worth /= worth.sum()
        center, root = normal_near(u, seen, worth)
        keep = resampled(worth, count, rng)
        u, logs, seen = u[keep], logs[keep], seen[keep]
        begin = u
        keeping = 0.0
        for _ in range(MOST_MOVES):
            new = center + keeping * (u - center)
            new = new + np.sqrt(1 - keeping**2) * rng.standard_normal(u.shape) @ root.T
            new_logs, new_seen = likelihood(new)
            calls += count
            gain = power * (new_logs - logs) + excess(new, center, root) - excess(u, center, root)
            accept = np.log(rng.random(count)) < gain
            u = np.where(accept[:, None], new, u)
            logs = np.where(accept, new_logs, logs)
            seen = np.where(accept[:, None], new_seen, seen)
            # bold steps while they are taken, timid ones when hardly any is
            keeping = 0.0 if accept.mean() > 0.25 else 0.8 if accept.mean() > 0.1 else 0.95
            moved = _forgotten(begin, u, center, root)
            if moved >= (REACH if power < 1.0 else LAST_REACH):
                break
        if progress is not None:
            progress(power)
        if stages > STAGES:
            raise ArithmeticError("the likelihood does not let the draws converge")
    return Cloud(u, seen, evidence, calls, stages)


def effective(logs: Array) -> float:
    """How many equal weights these (N,), as logarithms, are worth."""
    worth = np.exp(logs - logs.max())
    return float(worth.sum() ** 2 / (worth @ worth))


def largest_power(logs: Array, others: Array, least: float, most: float = 1.0) -> float:
    """Largest power p, up to `most`, at which weights of ln p logs + others are worth `least`."""
    if effective(most * logs + others) >= least:
        return most
    low, high = 0.0, most
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle * logs + others) >= least else (low, middle)
    return low if low > 0 else high


def resampled(worth: Array, count: int, rng: np.random.Generator) -> Array:
    """Numbers of `count` draws to go on with, by their shares: systematic resampling."""
    points = (np.arange(count) + rng.random()) / count
    return np.minimum(np.searchsorted(np.cumsum(worth), points), len(worth) - 1)


def normal_near(
    u: Array, seen: Array, worth: Array, told: float = 1e-9, wider: float = 1.1
) -> tuple[Array, Array]:
    """Mean (k,) and root of the covariance (k, k) of a normal near the weighted draws.

    Only in the directions along which the quantities seen change by more than `told`, by linear
    regression, is it fitted to the draws; in all others the readings leave the prior alone, and a
    covariance of a few hundred draws would be mere noise. wider: its variance over theirs.
    """
    pull = np.sqrt(worth)[:, None]
    slope = np.linalg.lstsq(pull * (u - worth @ u), pull * (seen - worth @ seen), rcond=None)[0]
    left, sizes, _ = np.linalg.svd(slope, full_matrices=False)
    along = left[:, sizes > told]
    inside = u @ along
    center = worth @ inside
    apart = inside - center
    # never quite flat: tails must be reached to be weighed
    spread = wider * (apart.T * worth) @ apart + 0.01 * np.eye(along.shape[1])
    whole = np.eye(len(slope)) + along @ (spread - np.eye(len(spread))) @ along.T
    return along @ center, np.linalg.cholesky(whole)


def excess(u: Array, center: Array, root: Array) -> Array:
    """(N,) log of the prior over the fitted normal, but for a constant."""
    scaled = np.linalg.solve(root, (u - center).T)
    return 0.5 * np.sum(scaled**2, axis=0) - 0.5 * np.sum(u**2, axis=1)


def _forgotten(begin: Array, u: Array, center: Array, root: Array) -> float:
    """1 minus the correlation of where draws stand with where they stood, over all directions."""
    old = np.linalg.solve(root, (begin - center).T)
    new = np.linalg.solve(root, (u - center).T)
    norm = np.sqrt(np.sum(old**2) * np.sum(new**2))
    return 1.0 - float(np.sum(old * new) / norm) if norm > 0 else 1.0
