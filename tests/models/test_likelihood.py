"""Likelihood limits of a proportion: closed forms at the ends, roots elsewhere."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import binom, chi2

from sensory.models import likelihood
from sensory.models.likelihood import log_likelihood, proportion_limits


def limits(x, n, level=0.95, floor=0.0):
    low, high = proportion_limits(np.array([float(x)]), np.array([float(n)]), level, floor)
    return low[0], high[0]


@pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
@pytest.mark.parametrize("n", [1, 10, 300])
def test_closed_forms_at_both_ends(n, level):
    # n log p = -c / 2 with c the quantile of chi-square.
    edge = np.exp(-chi2.ppf(level, 1) / 2 / n)
    assert limits(n, n, level) == pytest.approx((edge, 1))
    assert limits(0, n, level) == pytest.approx((0, 1 - edge))


@pytest.mark.parametrize("floor", [0.0, 0.1, 1 / 3, 0.5])
@pytest.mark.parametrize(("x", "n"), [(3, 10), (7, 12), (20, 60), (59, 60), (400, 1000)])
def test_limits_are_roots_of_the_likelihood(x, n, floor):
    best = max(x / n, floor)
    drop = chi2.ppf(0.95, 1) / 2

    def gap(p):
        return binom.logpmf(x, n, p) - binom.logpmf(x, n, best) + drop

    expected_low = floor if floor and gap(floor) >= 0 else brentq(gap, 1e-12, best)
    expected_high = brentq(gap, best, 1 - 1e-12)
    assert limits(x, n, 0.95, floor) == pytest.approx((max(expected_low, floor), expected_high))


def test_limits_below_the_floor_start_at_the_floor():
    low, high = limits(2, 30, floor=1 / 3)
    assert low == 1 / 3 < high < 0.5


def test_higher_levels_are_wider():
    levels = (0.5, 0.8, 0.95, 0.999)
    pairs = [limits(18, 30, level) for level in levels]
    assert all(a[0] > b[0] and a[1] < b[1] for a, b in pairwise(pairs))


def test_log_likelihood_at_the_ends():
    zero, one, five = np.array([0.0]), np.array([1.0]), np.array([5.0])
    assert log_likelihood(zero, five, zero)[0] == 0
    assert log_likelihood(five, five, one)[0] == 0


def test_limits_of_many_sessions_take_few_passes(monkeypatch):
    """Newton's steps of all sessions together: counted, as no time is asserted."""
    passes = []

    def counted(*given):
        passes.append(given)
        return log_likelihood(*given)

    monkeypatch.setattr(likelihood, "log_likelihood", counted)
    trials = np.random.default_rng(5).integers(12, 121, 2000).astype(float)
    correct = np.random.default_rng(6).binomial(trials.astype(int), 0.45).astype(float)
    likelihood.proportion_limits(correct, trials, 0.95, 1 / 3)
    assert len(passes) <= 17  # 5 of them outside the search, 13 steps before the better start
