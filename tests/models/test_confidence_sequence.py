"""Limits for all looks: their promise by exact recursion, their edges by inversion."""

import numpy as np
import pytest
from scipy import integrate
from scipy.stats import beta, binom

from sensory.models.binomial import clopper_pearson
from sensory.models.confidence_sequence import always_limits, log_evidence

LOOKS = np.arange(1.0, 121)


def ever_missed(limits, pc):
    """All paths of 120 answers, looked at after each of them; exact, no simulation."""
    inside, missed = np.ones(1), 0.0
    for n in LOOKS:
        inside = np.convolve(inside, [1 - pc, pc])
        x = np.arange(n + 1)
        low, high = limits(x, np.full_like(x, n), 0.95)
        out = (low > pc) | (high < pc)
        missed += inside[out].sum()
        inside[out] = 0.0
    assert missed + inside.sum() == pytest.approx(1.0)
    return missed


@pytest.mark.parametrize("pc", [1 / 3, 0.5, 0.72, 0.95])
def test_chance_of_ever_missing_is_below_the_promise(pc):
    assert 0.001 < ever_missed(always_limits, pc) <= 0.05


def test_limits_for_one_look_miss_far_more_often_when_looked_at_again_and_again():
    """The reason for the warning: 95 % limits, 120 looks at guessing."""
    assert ever_missed(clopper_pearson, 1 / 3) > 0.15


@pytest.mark.parametrize(("x", "n", "pc"), [(14, 24, 0.4), (0, 9, 0.2), (30, 30, 0.9)])
def test_evidence_is_a_mixture_of_likelihood_ratios(x, n, pc):
    value, _ = integrate.quad(
        lambda q: binom.pmf(x, n, q) * beta.pdf(q, 0.5, 0.5), 0, 1, points=[0.001, 0.999], limit=200
    )
    found = log_evidence(np.array([x]), np.array([n]), np.array([pc]))[0]
    assert np.exp(found) == pytest.approx(value / binom.pmf(x, n, pc), rel=1e-6)


def test_edges_have_the_evidence_of_the_level():
    x, n = np.array([3.0, 14.0, 29.0]), np.array([24.0, 24.0, 31.0])
    for edge in always_limits(x, n, 0.9):
        assert log_evidence(x, n, edge) == pytest.approx(-np.log(0.1), abs=1e-9)


def test_edges_at_none_and_all():
    low, high = always_limits(np.array([0.0, 20.0]), np.array([20.0, 20.0]), 0.95)
    assert low[0] == 0
    assert high[1] == 1
    assert low[1] == pytest.approx(1 - high[0])
    one = clopper_pearson(np.array([0.0]), np.array([20.0]), 0.95)
    assert high[0] > one[1][0]
