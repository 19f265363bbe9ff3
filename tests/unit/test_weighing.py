"""Weighed draws against posteriors known in closed form, and where they must give up."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from tests.unit import known
from tests.unit.known import prior
from washsim.weighing import MOST, weighed


def test_a_normal_reading_of_a_sum():
    told = []
    cloud = weighed(
        prior(4096, 4),
        known.likelihood,
        np.array([known.ERROR]),
        np.random.default_rng(1),
        told.append,
    )
    # standard errors of 4096 independent draws: 0.016 of a mean, 0.022 of a variance; four of them
    assert cloud.draws.mean(axis=0) == pytest.approx(known.MEAN, abs=0.065)
    assert np.cov(cloud.draws.T) == pytest.approx(known.COVARIANCE, abs=0.09)
    assert cloud.seen[:, 0] == pytest.approx(cloud.draws @ known.ROW)
    # weights worth 6000 draws tell their mean to a seventieth; four of that
    assert cloud.log_evidence == pytest.approx(known.EVIDENCE, abs=0.055)
    assert cloud.calls < 5 * 4096
    assert told[-1] == 1.0


def test_a_bound_cuts_the_prior():
    """u below -1: the mean of the normal's tail, -phi(1)/Phi(-1), and its share as evidence."""

    def likelihood(u):
        return np.where(u[:, 0] < -1.0, 0.0, -1e3), u[:, :1]

    cloud = weighed(prior(4096, 1), likelihood, np.array([0.3]), np.random.default_rng(3))
    assert cloud.draws.max() < -1.0
    assert cloud.draws.mean() == pytest.approx(-norm.pdf(1) / norm.cdf(-1), abs=0.03)
    assert cloud.log_evidence == pytest.approx(norm.logcdf(-1), abs=0.055)


def test_nothing_seen_takes_no_more_than_its_worth():
    """Flat likelihood: draws of the prior are worth their number, half as many more are asked."""
    start = prior(256, 3)
    cloud = weighed(
        start, lambda u: (np.zeros(len(u)), u), np.full(3, np.inf), np.random.default_rng(4)
    )
    assert cloud.log_evidence == pytest.approx(0.0, abs=1e-12)
    assert cloud.calls == 384


def test_what_no_normal_hits_is_given_up():
    """A thin ring in six unknowns: told to a hundredth, found by no normal, and said to be."""
    asked = []

    def likelihood(u):
        asked.append(len(u))
        radius = np.sqrt(np.sum(u**2, axis=1))
        return norm.logpdf(radius, 4.0, 0.01), radius[:, None]

    found = weighed(prior(256, 6), likelihood, np.array([0.01]), np.random.default_rng(5))
    assert found is None
    assert sum(asked) == MOST * 256
