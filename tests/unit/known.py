"""A posterior known in closed form, for the ways of drawing from one: a normal reading of a sum.

Normal prior and likelihood: mean, covariance and evidence by the linear rule.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import norm, qmc

ROW, SEEN, ERROR = np.array([1.0, 2.0, 0.0, -0.5]), 4.0, 0.3
GAIN = ROW / (ROW @ ROW + ERROR**2)
MEAN, COVARIANCE = GAIN * SEEN, np.eye(4) - np.outer(GAIN, ROW)
EVIDENCE = norm(0, np.sqrt(ROW @ ROW + ERROR**2)).logpdf(SEEN)


def prior(count, size, seed=0):
    """(count, size) standard normals, evenly spread."""
    points = qmc.Sobol(size, rng=np.random.default_rng(seed)).random(count)
    return norm.ppf(points)


def likelihood(u):
    """Logarithms (M,), and what is seen (M, 1)."""
    off = (SEEN - u @ ROW) / ERROR
    return norm.logpdf(off) - np.log(ERROR), (u @ ROW)[:, None]
