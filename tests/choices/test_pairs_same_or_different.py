"""Same-different: the conventions of the differencing rule, signs, ends."""

import numpy as np
import pytest
from scipy.stats import fisher_exact, norm

from sensory.choices.same_different import same_different


def test_rates_come_back_from_tau_and_dprime():
    found = same_different(28, 40, 12, 40)
    tau, d, root = found.tau, found.dprime, np.sqrt(2)
    assert 2 * norm.cdf(tau / root) - 1 == pytest.approx(28 / 40, rel=1e-9)
    different = norm.cdf((tau - d) / root) - norm.cdf((-tau - d) / root)
    assert different == pytest.approx(12 / 40, rel=1e-9)


@pytest.mark.parametrize("counts", [(12, 40, 28, 40), (20, 40, 20, 40), (0, 40, 12, 40)])
def test_dprime_is_zero_where_same_is_no_commoner(counts):
    found = same_different(*counts, method="profile")
    assert found.dprime == found.limits.low == 0
    assert 0 < found.limits.high < 2


@pytest.mark.parametrize("counts", [(12, 40, 28, 40), (5, 20, 30, 60)])
def test_tau_at_dprime_zero_is_the_pooled_one(counts):
    # At d-prime 0 both kinds of pair say 'same' with 2 Phi(tau / sqrt 2) - 1; its maximum
    # likelihood is the pooled share.
    a, n, b, m = counts
    share = 2 * norm.cdf(same_different(*counts).tau / np.sqrt(2)) - 1
    assert share == pytest.approx((a + b) / (n + m), rel=1e-6)


@pytest.mark.parametrize(("counts", "low"), [((40, 40, 12, 40), 2), ((20, 40, 0, 40), 1)])
def test_all_same_or_no_different_pairs_called_same(counts, low):
    found = same_different(*counts)
    assert found.dprime == found.limits.high == np.inf
    assert np.isfinite(found.tau) == (counts[0] < 40)
    assert low < found.limits.low < 6


@pytest.mark.parametrize("said", [0, 40])
def test_one_answer_to_every_pair_says_nothing(said):
    found = same_different(said, 40, said, 40)
    assert (found.limits.low, found.limits.high) == (0, np.inf)
    assert found.p_likelihood_ratio == 1


@pytest.mark.parametrize("counts", [(28, 40, 12, 40), (9, 10, 4, 12), (5, 30, 9, 20)])
def test_fisher_against_scipy(counts):
    a, n, b, m = counts
    exact = fisher_exact([[a, n - a], [b, m - b]], alternative="greater").pvalue
    assert same_different(*counts).p_fisher == pytest.approx(exact, rel=1e-9)


def test_higher_levels_are_wider():
    narrow, wide = (same_different(28, 40, 12, 40, level=level) for level in (0.8, 0.99))
    assert wide.limits.low < narrow.limits.low < narrow.dprime < narrow.limits.high
    assert narrow.limits.high < wide.limits.high


def test_more_differences_found_mean_a_larger_dprime():
    found = [same_different(30, 40, b, 40) for b in range(30, 0, -3)]
    assert (np.diff([one.dprime for one in found]) > 0).all()
    assert (np.diff([one.limits.high for one in found]) > 0).all()
    assert (np.diff([one.limits.low for one in found]) >= 0).all()
