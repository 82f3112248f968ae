"""d-prime: roots of its own likelihood, ends, arrays, and what travels between protocols."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, ndtr
from scipy.stats import binom, binomtest, chi2

from sensory.base.errors import ArgumentError
from sensory.choices.dprime import carried_pd, estimate_dprime
from sensory.choices.protocols import DUO_TRIO, PAIRED, PROTOCOLS, TRIANGLE

from .shared import every_protocol


def log_likelihood(protocol, x, n, dprime):
    pc = float(protocol.proportion_correct(dprime))
    return x * np.log(pc) + (n - x) * np.log1p(-pc)


@every_protocol
@pytest.mark.parametrize("level", [0.8, 0.95])
@pytest.mark.parametrize(("x", "n"), [(9, 12), (19, 30), (33, 50), (2, 12), (1, 60)])
def test_limits_lie_the_right_drop_below_the_top(protocol, x, n, level):
    found = estimate_dprime(protocol, x, n, level=level, method="profile")
    top = log_likelihood(protocol, x, n, found.estimate)
    assert top >= max(log_likelihood(protocol, x, n, d) for d in np.linspace(0, 6, 601)) - 1e-9
    drop = chi2.ppf(level, 1) / 2
    for limit in (found.limits.low, found.limits.high):
        lower = top - log_likelihood(protocol, x, n, limit)
        if limit == 0:
            assert lower <= drop + 1e-9
        else:
            assert lower == pytest.approx(drop, rel=1e-6)
    assert found.limits.low <= found.estimate <= found.limits.high


@every_protocol
def test_standard_error_is_the_curvature_of_the_likelihood(protocol):
    # At the maximum the observed information of d-prime is n slope^2 / (pc (1 - pc)).
    x, n, h = 70, 100, 1e-3
    found = estimate_dprime(protocol, x, n)
    at = [log_likelihood(protocol, x, n, found.estimate + k * h) for k in (-1, 0, 1)]
    curvature = -(at[0] - 2 * at[1] + at[2]) / h**2
    assert found.se == pytest.approx(curvature**-0.5, rel=1e-4)


@every_protocol
def test_at_and_below_guessing(protocol):
    n = 30
    at_chance = int(n * protocol.guess)
    for x in (0, 1, at_chance):
        found = estimate_dprime(protocol, x, n, method="profile")
        assert found.estimate == 0
        assert found.se == np.inf
        assert found.limits.low == 0 < found.limits.high < 3


@every_protocol
@pytest.mark.parametrize("n", [1, 5, 80])
def test_all_correct(protocol, n):
    found = estimate_dprime(protocol, n, n, method="profile")
    assert found.estimate == found.se == found.limits.high == np.inf
    # n log pc = -c / 2 at the lower limit, which is d-prime 0 where guessing reaches it.
    edge = np.exp(-chi2.ppf(0.95, 1) / 2 / n)
    if edge > float(protocol.guess):
        assert float(protocol.proportion_correct(found.limits.low)) == pytest.approx(edge)
    else:
        assert found.limits.low == 0


@every_protocol
def test_arrays_agree_with_single_numbers(protocol):
    correct, trials = np.array([[0, 4], [9, 12]]), np.array([12, 24])
    many = estimate_dprime(protocol, correct, trials, level=0.9)
    assert many.estimate.shape == many.se.shape == many.limits.low.shape == (2, 2)
    for i in range(2):
        for j in range(2):
            one = estimate_dprime(protocol, int(correct[i, j]), int(trials[j]), level=0.9)
            assert type(one.estimate) is type(one.se) is type(one.limits.low) is float
            assert (one.estimate, one.se) == (many.estimate[i, j], many.se[i, j])
            assert one.limits.low == many.limits.low[i, j]
            assert one.limits.high == many.limits.high[i, j]


def test_another_level_from_the_result():
    found = estimate_dprime(TRIANGLE, 18, 30, method="profile")
    again = estimate_dprime(TRIANGLE, 18, 30, level=0.5, method="profile").limits
    assert found.limits_at(0.5) == again
    assert found.limits.low < again.low < again.high < found.limits.high


@every_protocol
def test_more_correct_answers_mean_more(protocol):
    found = estimate_dprime(protocol, range(41), 40, method="profile")
    assert (np.diff(found.estimate) >= 0).all()
    assert (np.diff(found.limits.low) >= 0).all()
    assert (np.diff(found.limits.high[:-1]) > 0).all()


def test_carried_by_closed_forms():
    # Both curves have closed forms, derived in models/links.py: paired pd = erf(d / 2),
    # duo-trio pc = 1 - F(d/sqrt2) - F(d/sqrt6) + 2 F(d/sqrt2) F(d/sqrt6).
    d = np.array([0.2, 0.9, 1.7, 3.0])
    one, two = ndtr(d / np.sqrt(2)), ndtr(d / np.sqrt(6))
    duo_trio = 2 * (1 - one - two + 2 * one * two) - 1
    np.testing.assert_allclose(
        carried_pd(erf(d / 2), source=PAIRED, target=DUO_TRIO), duo_trio, rtol=1e-9
    )
    np.testing.assert_allclose(
        carried_pd(duo_trio, source=DUO_TRIO, target=PAIRED), erf(d / 2), rtol=1e-9
    )


@every_protocol
def test_carried_there_and_back(protocol):
    pd = np.array([0.0, 0.05, 0.3, 0.8, 0.99])
    there = carried_pd(pd, source=TRIANGLE, target=protocol)
    back = carried_pd(there, source=protocol, target=TRIANGLE)
    np.testing.assert_allclose(back, pd, rtol=1e-9, atol=1e-9)
    assert carried_pd(0.0, source=protocol, target=TRIANGLE) == pytest.approx(0, abs=1e-15)
    assert carried_pd(0.3, source=protocol, target=protocol) == pytest.approx(0.3, rel=1e-12)
    for target in PROTOCOLS.values():
        assert carried_pd(0.0, source=protocol, target=target) == 0
        assert carried_pd(1.0, source=protocol, target=target) == 1


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
@pytest.mark.parametrize(("x", "n"), [(0, 8), (5, 12), (18, 24), (24, 24), (47, 66)])
def test_exact_limits_are_those_of_the_exact_test(protocol, x, n):
    """scipy's Clopper-Pearson limits of the proportion, carried by the link."""
    limits = estimate_dprime(protocol, x, n).limits
    proportion = binomtest(x, n).proportion_ci(0.95, method="exact")
    expected = [float(protocol.dprime(edge)) for edge in (proportion.low, proportion.high)]
    assert [limits.low, limits.high] == pytest.approx(expected, rel=1e-8, abs=1e-9)


@pytest.mark.parametrize(("x", "n"), [(9, 12), (18, 24), (47, 66)])
def test_mid_p_limits_leave_half_the_chance_of_the_count_seen(x, n):
    found = estimate_dprime(TRIANGLE, x, n, method="mid-p").limits

    def beyond(p):
        return binom.sf(x, n, p) + binom.pmf(x, n, p) / 2

    low = brentq(lambda p: beyond(p) - 0.025, 1e-9, 1 - 1e-9, xtol=1e-13)
    high = brentq(lambda p: beyond(p) - 0.975, 1e-9, 1 - 1e-9, xtol=1e-13)
    expected = [float(TRIANGLE.dprime(low)), float(TRIANGLE.dprime(high))]
    assert [found.low, found.high] == pytest.approx(expected, rel=1e-8)
    exact = estimate_dprime(TRIANGLE, x, n).limits
    assert exact.low < found.low < found.high < exact.high


def test_another_way_to_limits_is_refused():
    with pytest.raises(ArgumentError, match="method must be 'exact', 'mid-p' or 'profile'"):
        estimate_dprime(TRIANGLE, 5, 9, method="wald")
