"""Binomial tails against rational arithmetic, counts against a scan, limits two ways."""

from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
from math import comb

import mpmath
import numpy as np
import pytest
from scipy.stats import binomtest

from sensory.models.binomial import (
    clopper_pearson,
    least_count,
    log_upper_tail,
    lower_limit,
    lower_tail,
    most_count,
    most_trials,
    upper_limit,
    upper_tail,
)

RATES = (Fraction(1, 10), Fraction(1, 3), Fraction(1, 2), Fraction(8, 15), Fraction(13, 20))
SIZES = (1, 2, 3, 7, 24, 50, 131, 400, 1000)
# Tails are compared down to here. The incomplete beta function of scipy 1.17 drops to zero
# from 1e-260 on for some p; the logarithm covers what lies below, see its test.
SMALLEST = 1e-250


@lru_cache
def ways(n, p):
    """Numerators of P(X = k) over a common denominator, whole numbers."""
    a, b = p.numerator, p.denominator - p.numerator
    return [comb(n, k) * a**k * b ** (n - k) for k in range(n + 1)]


@lru_cache
def rational_upper_tails(n, p):
    """P(X >= k) for k = 0 ... n, as whole numbers over a common denominator."""
    return list(accumulate(reversed(ways(n, p))))[::-1], p.denominator**n


@lru_cache
def rational_lower_tails(n, p):
    return list(accumulate(ways(n, p))), p.denominator**n


def rational_floats(numerators, denominator):
    # Division of Python integers rounds once, so the only error is half a unit in the last place.
    return np.array([numerator / denominator for numerator in numerators])


@pytest.mark.parametrize("p", RATES, ids=str)
@pytest.mark.parametrize("n", SIZES)
def test_tails_against_rational_arithmetic(n, p):
    for tail, rational in (upper_tail, rational_upper_tails), (lower_tail, rational_lower_tails):
        exact = rational_floats(*rational(n, p))
        told = exact > SMALLEST
        ours = tail(np.arange(n + 1), n, float(p))
        np.testing.assert_allclose(ours[told], exact[told], rtol=1e-12, atol=0)


def test_grid_reaches_tails_of_1e_200():
    exact = rational_floats(*rational_upper_tails(1000, Fraction(1, 3)))
    count = int(np.argmin(np.abs(np.log10(np.maximum(exact, 1e-320)) + 200)))
    assert 1e-202 < exact[count] < 1e-198
    assert upper_tail(count, 1000, 1 / 3) == pytest.approx(exact[count], rel=1e-12, abs=0)


def test_tails_outside_the_possible_counts():
    assert upper_tail([-1, 0, 6], 5, 0.3).tolist() == [1, 1, 0]
    assert lower_tail([-1, 5, 6], 5, 0.3).tolist() == [0, 1, 1]


def test_tails_broadcast():
    ours = upper_tail(np.arange(4)[:, None], [3, 5], 0.5)
    assert ours.shape == (4, 2)
    assert ours[3].tolist() == [1 / 8, 1 / 2]


def mpmath_log_tail(count, n, p):
    with mpmath.workdps(40):
        q = mpmath.mpf(p.numerator) / p.denominator
        terms = (mpmath.binomial(n, k) * q**k * (1 - q) ** (n - k) for k in range(count, n + 1))
        return float(mpmath.log(mpmath.fsum(terms)))


@pytest.mark.parametrize(
    ("count", "n", "p"),
    [
        (25, 50, Fraction(1, 3)),
        (700, 1000, Fraction(1, 3)),
        (650, 700, Fraction(1, 3)),
        (1400, 2000, Fraction(1, 3)),
        (2000, 2000, Fraction(1, 3)),
        (1999, 2000, Fraction(1, 2)),
        (900, 2000, Fraction(1, 10)),
        (5000, 6000, Fraction(1, 10)),
        (980, 1000, Fraction(7, 15)),
        (986, 1000, Fraction(7, 15)),
    ],
)
def test_log_tail_against_mpmath(count, n, p):
    ours = log_upper_tail([count], n, float(p))
    assert ours[0] == pytest.approx(mpmath_log_tail(count, n, p), rel=1e-12, abs=0)


def test_log_tail_on_both_sides_of_underflow_in_one_call():
    counts = [10, 500, 1000, 1600, 2000, 2001]
    ours = log_upper_tail(counts, 2000, 1 / 3)
    assert np.isfinite(ours[:-1]).all()
    assert ours[-1] == -np.inf
    assert (np.diff(ours[:-1]) < 0).all()
    assert upper_tail(2000, 2000, 1 / 3) == 0
    alone = float(log_upper_tail(2000, 2000, 1 / 3))
    assert alone == pytest.approx(-2000 * np.log(3), rel=1e-12)


ALPHAS = ("0.2", "0.1", "0.05", "0.01", "0.001", "1e-6")
SCANNED = (1, 2, 3, 4, 5, 6, 8, 10, 17, 24, 30, 58, 66, 120)


def scan_least(n, p, alpha):
    tails, whole = rational_upper_tails(n, p)
    return next((k for k, tail in enumerate(tails) if Fraction(tail, whole) <= alpha), n + 1)


def scan_most(n, p, beta):
    tails, whole = rational_lower_tails(n, p)
    return max((k for k, tail in enumerate(tails) if Fraction(tail, whole) <= beta), default=-1)


@pytest.mark.parametrize("risk", ALPHAS)
@pytest.mark.parametrize("p", RATES, ids=str)
def test_counts_against_a_scan(p, risk):
    for count, scan in (least_count, scan_least), (most_count, scan_most):
        expected = [scan(n, p, Fraction(risk)) for n in SCANNED]
        assert count(np.array(SCANNED), p, float(risk)).tolist() == expected


@pytest.mark.parametrize("alpha", [*ALPHAS, "0.9"])
@pytest.mark.parametrize("p", [*RATES, Fraction(9, 10)], ids=str)
def test_most_trials_turn_the_least_count_round(p, alpha):
    sizes = np.arange(1, 400)
    counts = least_count(sizes, p, float(alpha))
    ends = most_trials(np.arange(1, counts.max() + 1), p, float(alpha))
    assert (np.diff(ends) >= 0).all()
    # the least count of a size is the first whose end it does not pass
    assert (np.searchsorted(ends, sizes) + 1).tolist() == counts.tolist()


@pytest.mark.parametrize(("n", "alpha"), [(1, 0.1), (2, 0.01), (3, 0.001)])
def test_exact_tie_counts_as_reached(n, alpha):
    # All n correct by guessing 1 in 10 has probability 10^-n exactly.
    assert least_count(np.array([n]), Fraction(1, 10), alpha).tolist() == [n]
    assert most_count(np.array([n]), Fraction(9, 10), alpha).tolist() == [0]
    just_below = Fraction(str(alpha)) - Fraction(1, 10**30)
    assert least_count(np.array([n]), Fraction(1, 10), just_below).tolist() == [n + 1]


def test_ties_at_one_half():
    # P(X >= 1 | 1, 1/2) = 1/2, P(X >= 2 | 2, 1/2) = 1/4, P(X >= 2 | 3, 1/2) = 1/2.
    assert least_count(np.array([1, 2, 3]), Fraction(1, 2), 0.5).tolist() == [1, 2, 2]
    assert least_count(np.array([1, 2, 3]), Fraction(1, 2), 0.25).tolist() == [2, 2, 3]


def test_count_for_a_large_panel():
    n, p = 5000, Fraction(1, 3)
    count = int(least_count(np.array([n]), p, 1e-9)[0])
    tails, whole = rational_upper_tails(n, p)
    assert Fraction(tails[count], whole) <= Fraction(1, 10**9) < Fraction(tails[count - 1], whole)


@pytest.mark.parametrize("n", [1, 2, 7, 30, 100, 999])
@pytest.mark.parametrize("level", [0.9, 0.95, 0.999])
def test_limits_against_scipy(n, level):
    counts = np.unique(np.linspace(0, n, 12).astype(int))
    low, high = clopper_pearson(counts, n, level)
    exact = [binomtest(int(x), n).proportion_ci(level, method="exact") for x in counts]
    np.testing.assert_allclose(low, [ci.low for ci in exact], rtol=1e-9, atol=0)
    np.testing.assert_allclose(high, [ci.high for ci in exact], rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("x", "n"), [(0, 1), (1, 1), (0, 12), (1, 12), (5, 12), (20, 58), (24, 58), (149, 150)]
)
@pytest.mark.parametrize("tail", [0.025, 0.05, 0.001])
def test_limits_invert_the_rational_tails(x, n, tail):
    for limit, rational in (lower_limit, rational_upper_tails), (upper_limit, rational_lower_tails):
        if x == (0 if limit is lower_limit else n):
            continue  # 0 and 1, see below
        tails, whole = rational(n, Fraction(float(limit(x, n, tail))))
        assert tails[x] / whole == pytest.approx(tail, rel=1e-10)


def test_limits_at_the_ends():
    low, high = clopper_pearson([0, 10], 10, 0.95)
    assert low[0] == 0
    assert high[1] == 1
    assert high[0] == pytest.approx(1 - 0.025 ** (1 / 10))
    assert low[1] == pytest.approx(0.025 ** (1 / 10))
