"""Change points against all splits, all orders, and simulated rows."""

from fractions import Fraction
from itertools import permutations, product
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from sensory.models.change_points import LEAST, _gain_of_squares, step_in_mean, step_in_proportion

SETTING = {"level": 0.95, "shuffles": 199, "seed": 5}


def squares(x, weight):
    return float(weight @ (x - weight @ x / weight.sum()) ** 2)


def left(x, sigma):
    """Weighted squares for every split, by the definition."""
    weight = sigma**-2.0
    return [
        squares(x[:k], weight[:k]) + squares(x[k:], weight[k:])
        for k in range(LEAST, len(x) - LEAST + 1)
    ]


def test_place_interval_and_means_by_all_splits():
    rng = np.random.default_rng(3)
    sigma = rng.uniform(0.5, 2, 18)
    x = rng.normal(0, 1, 18) * sigma + np.repeat([0.0, 1.5], [11, 7])
    found = step_in_mean(x, sigma, **SETTING)
    score = -(18 - 2) / 2 * np.log(left(x, sigma))
    assert found.place == score.argmax() + LEAST
    near = np.flatnonzero(score >= score.max() + np.log(1 - np.sqrt(0.95))) + LEAST
    assert (found.low, found.high) == (near[0], near[-1])
    early, weight = slice(None, found.place), sigma**-2.0
    assert found.before == pytest.approx(np.average(x[early], weights=weight[early]))
    own = min(left(x, sigma)) / 16 / weight[early].sum()
    assert found.before_se == pytest.approx(np.sqrt(own))


def test_p_of_a_step_by_all_orders():
    """All 5040 orders of seven values; the random ones within their own error."""
    x = np.array([0.1, 0.9, 0.3, 1.4, 1.9, 1.2, 2.2])
    ones = np.ones(7)
    observed = min(left(x, ones))
    lists = np.array(list(permutations(x)))
    total = np.array([min(left(row, ones)) for row in lists])
    exact = (total <= observed + 1e-9).mean()
    found = step_in_mean(x, ones, level=0.95, shuffles=4999, seed=2)
    assert found.p == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 4999))


def gain(x, n):
    def fit(a, b):
        return binom.logpmf(a, b, a / b) - np.log(float(comb(int(b), int(a))))

    x, n = np.asarray(x, float), np.asarray(n, float)
    return [
        fit(x[:k].sum(), n[:k].sum()) + fit(x[k:].sum(), n[k:].sum()) - fit(x.sum(), n.sum())
        for k in range(LEAST, len(x) - LEAST + 1)
    ]


def test_p_of_a_step_in_proportion_by_all_ways_to_deal():
    x, n = [0, 1, 1, 3, 2], [3, 4, 3, 4, 3]
    observed, right = max(gain(x, n)), sum(x)
    ways = reached = 0
    for dealt in product(*(range(size + 1) for size in n)):
        if sum(dealt) == right:
            own = np.prod([comb(size, k) for size, k in zip(n, dealt, strict=True)])
            ways += own
            reached += own * (max(gain(dealt, n)) >= observed - 1e-9)
    assert ways == comb(sum(n), right)
    exact = reached / ways
    found = step_in_proportion(
        np.array(x, float), np.array(n, float), level=0.95, shuffles=9999, seed=7
    )
    assert found.p == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 9999))
    assert found.place == int(np.argmax(gain(x, n))) + LEAST


@pytest.mark.parametrize(("points", "size"), [(10, 1.5), (24, 1.0), (24, 2.5)])
def test_interval_holds_the_true_place(points, size):
    """At least the level less three standard errors of 400 rows (0.0327)."""
    rng = np.random.default_rng(6)
    place, held = points // 3, 0
    for row in range(400):
        sigma = rng.uniform(0.7, 1.3, points)
        x = rng.normal(0, 1, points) * sigma + size * (np.arange(points) >= place)
        found = step_in_mean(x, sigma, level=0.95, shuffles=1, seed=row)
        held += found.low <= place <= found.high
    assert held / 400 >= 0.95 - 0.033


def test_interval_of_choices_holds_the_true_place():
    rng = np.random.default_rng(6)
    held = 0
    trials = np.full(20, 24.0)
    for row in range(400):
        x = rng.binomial(24, np.repeat([0.4, 0.6], [13, 7])).astype(float)
        found = step_in_proportion(x, trials, level=0.95, shuffles=1, seed=row)
        held += found.low <= 13 <= found.high
    assert held / 400 >= 0.95 - 0.033


def test_p_keeps_its_level_where_nothing_changes():
    """400 rows at 0.05: within three standard errors, or below for choices."""
    rng = np.random.default_rng(1)
    one = two = 0
    for row in range(400):
        sigma = rng.uniform(0.5, 1.5, 14)
        found = step_in_mean(rng.normal(0, 1, 14) * sigma, sigma, level=0.95, shuffles=99, seed=row)
        one += found.p <= 0.05
        x = rng.binomial(12, 0.4, 14).astype(float)
        found = step_in_proportion(x, np.full(14, 12.0), level=0.95, shuffles=99, seed=row)
        two += found.p <= 0.05
    assert 0.05 - 0.033 <= one / 400 <= 0.05 + 0.033
    assert two / 400 <= 0.05 + 0.033


@given(
    scale=st.sampled_from([1e-3, 0.5, 40.0]),
    shift=st.sampled_from([-300.0, 0.0, 5.0]),
    seed=st.integers(0, 50),
)
@settings(max_examples=40, deadline=None)
def test_unit_and_origin_do_not_matter(scale, shift, seed):
    rng = np.random.default_rng(seed)
    x, sigma = rng.normal(size=12), rng.uniform(0.5, 2, 12)
    one = step_in_mean(x, sigma, **SETTING)
    two = step_in_mean(scale * x + shift, 7 * sigma, **SETTING)
    assert (one.place, one.low, one.high, one.p) == (two.place, two.low, two.high, two.p)
    assert two.after - two.before == pytest.approx(scale * (one.after - one.before), abs=1e-9)
    assert two.after_se == pytest.approx(scale * one.after_se, rel=1e-6)


def test_time_turned_round_turns_the_place_round():
    rng = np.random.default_rng(12)
    x, sigma = rng.normal(size=15) + np.repeat([0, 2], [6, 9]), np.ones(15)
    one, two = step_in_mean(x, sigma, **SETTING), step_in_mean(x[::-1], sigma, **SETTING)
    assert (one.place, one.low, one.high) == (15 - two.place, 15 - two.high, 15 - two.low)
    assert one.before == pytest.approx(two.after)


def test_values_all_alike_show_no_step_and_a_clean_one_is_found_without_scatter():
    found = step_in_mean(np.full(8, 2.0), np.ones(8), **SETTING)
    assert found.p == 1.0
    assert (found.low, found.high) == (LEAST, 8 - LEAST)
    found = step_in_proportion(np.full(8, 5.0), np.full(8, 10.0), **SETTING)
    assert found.p == 1.0
    found = step_in_mean(np.repeat([1.0, 2.0], [5, 6]), np.ones(11), **SETTING)
    assert (found.place, found.low, found.high) == (5, 5, 5)
    assert (found.before, found.after) == (pytest.approx(1.0), pytest.approx(2.0))
    assert found.before_se == pytest.approx(0.0, abs=1e-6)


def test_a_side_that_weighs_next_to_nothing_gains_what_its_own_squares_say():
    """By fractions: precise points first, then points of 1e9 times their standard deviation."""
    values = np.array([0.0, 1e-9, 2e-9, 1e-9, 3.0, 5.0, 4.0])
    sigma = np.array([1e-9] * 4 + [1.0] * 3)
    weight = (sigma.min() / sigma) ** 2
    exact = [Fraction(float(v)) for v in values], [Fraction(float(w)) for w in weight]
    mean = sum(v * w for v, w in zip(*exact, strict=True)) / sum(exact[1])
    gains = []
    for place in range(2, 6):
        away = sum((v - mean) * w for v, w in list(zip(*exact, strict=True))[:place])
        early, late = sum(exact[1][:place]), sum(exact[1][place:])
        gains.append(float(away**2 * (early + late) / (early * late)))
    assert _gain_of_squares(values[None], weight)[0] == pytest.approx(gains, rel=1e-6)
