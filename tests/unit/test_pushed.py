"""The functions by which modes answer to a polynomial push."""

from __future__ import annotations

import mpmath as mp
import numpy as np
import pytest
from scipy.integrate import quad

from washsim.engine import pushed

RATES, LENGTH = np.array([[0.0, 0.02, 5.0]]), 30.0
VALUES = np.array([1.0, -0.3, 2.0, 0.7, 0.1])
"""Of a push at the points of a step."""


def test_pushes_that_are_powers_are_phi_functions_to_rounding():
    """The answer at the end of a step to its share to the m: m! L phi_m+1 (-x), with
    phi_m(-x) = 1F1(1, m + 1, -x) / m!; next to where the series ends rounding is divided by x."""
    x = np.array([0.0, 1e-30, 1e-12, 1e-3, 0.3, 0.499, 0.5, 0.501, 3.0, 40.0, 1e6])
    fade, weight = pushed.answers(x[None] / LENGTH, np.array([LENGTH]), np.array([1.0]))
    assert fade[0, 0] == pytest.approx(np.exp(-x), rel=1e-13, abs=1e-300)
    with mp.workdps(60):
        for m in range(5):
            found = pushed.POINTS**m @ weight[0, 0]
            exact = [float(LENGTH * mp.hyp1f1(1, m + 2, -mp.mpf(v)) / (m + 1)) for v in x]
            assert found == pytest.approx(exact, rel=1e-11, abs=0.0)


def convolved(rate: float, end: float) -> float:
    """The answer to VALUES alone at `end` s, by quadrature of the fading push."""
    powers = np.polynomial.polynomial.polyfit(pushed.POINTS, VALUES, 4)

    def faded(s: float) -> float:
        return np.exp(-rate * (end - s)) * np.polynomial.polynomial.polyval(s / LENGTH, powers)

    return quad(faded, 0.0, end, epsabs=1e-13, epsrel=1e-12, limit=200)[0]


def test_weights_answer_a_push_by_its_values():
    asked = np.array([0.07, 0.5, 1.0])
    fade, weight = pushed.answers(RATES, np.array([LENGTH]), asked)
    for k, share in enumerate(asked):
        for q, rate in enumerate(RATES[0]):
            assert fade[0, k, q] == pytest.approx(np.exp(-rate * share * LENGTH), rel=1e-12)
            exact = convolved(rate, share * LENGTH)
            assert weight[0, k, :, q] @ VALUES == pytest.approx(exact, rel=1e-9, abs=1e-11)


def test_a_pushed_decay_answers_for_any_time_and_for_integrals():
    start = np.array([[[2.0, -1.0, 0.5]]])
    push = VALUES[None, None, :, None] * np.ones(3)
    one = pushed.pushed(
        np.eye(3)[None], RATES, np.zeros((1, 1)), np.full((1, 1), LENGTH), start, push
    )
    for end in (0.0, 3.0, 17.0, 30.0):
        expected = [
            s * np.exp(-r * end) + convolved(r, end)
            for s, r in zip(start[0, 0], RATES[0], strict=True)
        ]
        assert one.at(np.array([[end]]))[0, 0] == pytest.approx(expected, rel=1e-9, abs=1e-11)
        for row in range(3):
            area = quad(lambda t, row=row: one.at(np.array([[t]]))[0, 0, row], 0, end, limit=200)[0]
            found = one.integral(np.array([[end]]), row)[0, 0]
            assert found == pytest.approx(area, rel=1e-8, abs=1e-9)
