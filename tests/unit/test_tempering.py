"""Tempering against posteriors known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tests.unit import known
from tests.unit.known import prior
from washsim.tempering import tempered


def test_a_normal_reading_of_a_sum():
    cloud = tempered(prior(4096, 4), known.likelihood, np.random.default_rng(1))
    # standard errors of 4096 draws that are nearly independent: 0.016; four of them
    assert cloud.draws.mean(axis=0) == pytest.approx(known.MEAN, abs=0.065)
    assert np.cov(cloud.draws.T) == pytest.approx(known.COVARIANCE, abs=0.09)
    assert cloud.seen[:, 0] == pytest.approx(cloud.draws @ known.ROW)
    assert cloud.log_evidence == pytest.approx(known.EVIDENCE, abs=0.1)


def test_two_humps():
    """|u| read as 3 to a tenth: half of the draws on either side, evidence by the normal sum."""

    def likelihood(u):
        return norm.logpdf(np.abs(u[:, 0]), 3.0, 0.1), np.abs(u[:, :1])

    cloud = tempered(prior(4096, 2), likelihood, np.random.default_rng(2))
    # a share of 4096 draws that split once in a few hundred ancestors
    assert np.mean(cloud.draws[:, 0] > 0) == pytest.approx(0.5, abs=0.1)
    evidence = np.log(2) + norm(0, np.hypot(1, 0.1)).logpdf(3.0)
    assert cloud.log_evidence == pytest.approx(evidence, abs=0.15)


def test_a_bound_cuts_the_prior():
    """u below -1: the mean of the normal's tail, -phi(1)/Phi(-1), and its share as evidence."""

    def likelihood(u):
        return np.where(u[:, 0] < -1.0, 0.0, -1e3), u[:, :1]

    cloud = tempered(prior(4096, 1), likelihood, np.random.default_rng(3))
    assert cloud.draws.max() < -1.0
    assert cloud.draws.mean() == pytest.approx(-norm.pdf(1) / norm.cdf(-1), abs=0.04)
    assert cloud.log_evidence == pytest.approx(norm.logcdf(-1), abs=0.1)


def test_nothing_seen_leaves_the_prior_alone():
    start = prior(256, 3)
    cloud = tempered(start, lambda u: (np.zeros(len(u)), u), np.random.default_rng(4))
    assert cloud.log_evidence == pytest.approx(0.0, abs=1e-12)
    assert cloud.draws.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.25)
    both = multivariate_normal(np.zeros(3)).logpdf(cloud.draws)
    assert both.mean() == pytest.approx(-1.5 * (1 + np.log(2 * np.pi)), abs=0.35)
