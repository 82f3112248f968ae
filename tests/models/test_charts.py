"""Charts against worked examples, rules against plain loops, scatter against simulation."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import integrate, stats

from sensory.models.charts import (
    D2,
    RUN_RULES,
    THREE_SIGMA,
    batch_scatter,
    ewma,
    moving_range_sigma,
    weighted_mean,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, from memory: 6.3.2.2 (flow rates) and
# 6.3.2.4 (EWMA with weight 0.3, target 50, s = 2.0539).
FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
BEFORE = np.array([52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5])
MEANS = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
MEANS += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]


def test_individuals_chart_of_the_handbook():
    """6.3.2.2: mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041.

    Printed with d2 = 1.128, so that is put back before comparing the last digits.
    """
    assert FLOW.mean() == pytest.approx(50.81, abs=1e-9)
    mean_range = moving_range_sigma(FLOW) * D2
    assert mean_range == pytest.approx(1.8778, abs=5e-5)
    reach = 3 * moving_range_sigma(FLOW) * D2 / 1.128
    assert FLOW.mean() + reach == pytest.approx(55.8041, abs=1e-4)
    assert FLOW.mean() - reach == pytest.approx(45.8159, abs=1e-4)


def test_weighted_mean_of_the_handbook():
    """6.3.2.4: the means to two decimals, limits 47.4115 and 52.5884 in the long run."""
    mean, sd = ewma(np.append(BEFORE, FLOW), np.full(20, 2.0539), centre=50.0, weight=0.3)
    # the handbook rounds each mean before the next
    assert np.abs(mean - MEANS).max() < 0.011
    end = 3 * np.sqrt(0.3 / 1.7) * 2.0539
    assert 50 + end == pytest.approx(52.5884, abs=2e-4)
    assert 3 * sd[-1] == pytest.approx(end, rel=1e-5)
    assert 3 * sd[0] == pytest.approx(3 * 0.3 * 2.0539, rel=1e-12)


def test_mean_range_of_two_by_integral():
    """E|X - Y| for standard normal X, Y."""
    value, _ = integrate.quad(lambda x: 2 * x * stats.norm.pdf(x, scale=np.sqrt(2)), 0, 20)
    assert pytest.approx(value, rel=1e-10) == D2
    assert pytest.approx(0.0027, abs=5e-7) == THREE_SIGMA


def test_variance_of_the_weighted_mean_from_its_weights():
    rng = np.random.default_rng(2)
    sigma, weight = rng.uniform(0.5, 2, 12), 0.27
    _, sd = ewma(rng.normal(size=12), sigma, centre=0.0, weight=weight)
    for i in range(12):
        own = weight * (1 - weight) ** np.arange(i, -1, -1.0)
        assert sd[i] ** 2 == pytest.approx(np.sum(own**2 * sigma[: i + 1] ** 2), rel=1e-12)


def test_weight_one_gives_the_points():
    x, sigma = np.array([1.0, 4.0, 2.0]), np.array([1.0, 2.0, 0.5])
    mean, sd = ewma(x, sigma, centre=9.0, weight=1.0)
    assert mean.tolist() == x.tolist()
    assert sd.tolist() == sigma.tolist()


# Rules.


def plain(rule, z, width):
    """The rule read out of its words, point by point."""
    zone = width if rule.zone is None else rule.zone
    found = []
    for i in range(len(z)):
        last = z[max(0, i - rule.window + 1) : i + 1]
        full = len(last) == rule.window
        steps = [b - a for a, b in pairwise(last)]
        if rule.kind == "same side":
            up = z[i] > zone and sum(v > zone for v in last) >= rule.count
            down = z[i] < -zone and sum(v < -zone for v in last) >= rule.count
            found.append(up or down)
        elif rule.kind == "inside":
            found.append(full and all(-zone < v < zone for v in last))
        elif rule.kind == "outside":
            found.append(full and all(v < -zone or v > zone for v in last))
        elif rule.kind == "rising or falling":
            found.append(full and (all(s > 0 for s in steps) or all(s < 0 for s in steps)))
        else:
            turns = [a * b < 0 for a, b in pairwise(steps)]
            found.append(full and all(turns))
    return found


halves = st.integers(-7, 7).map(lambda k: k / 2)  # many points on a line, many ties
few = st.integers(-2, 2).map(float)


@pytest.mark.parametrize("key", RUN_RULES)
@given(z=st.lists(halves | few, min_size=1, max_size=40))
@settings(max_examples=60, deadline=None)
def test_rule_against_its_words(key, z):
    rule = RUN_RULES[key]
    assert rule.hits(np.array(z), 3.0).tolist() == plain(rule, z, 3.0)


# One row for each rule that it must see, at the last point and not before.
SEEN = {
    "limit": [0, 1, -3.2],
    "seven on one side": [-1, 0.1, 1, 2, 0.2, 0.3, 1, 0.1],
    "seven rising": [0, 2, 1.5, 1, 0.5, 0.2, 0, -1],
    "nine on one side": [0, 1, 1, 1, 2, 1, 1, 1, 0.1, 1],
    "six rising": [3, -2, -1, 0, 1, 1.5, 1.6],
    "alternating": [0.1 * (-1) ** i + 0.01 * i for i in range(14)],
    "two of three": [1, 2.1, -1, 2.2],
    "four of five": [0, -1.1, -1.2, 0, -1.3, -1.4],
    "too even": [1.5] + [0.1, -0.5, 0.9] * 5,
    "two heaps": [0, 1.1, -1.2, 2, -1.3, 1.4, 1.1, -2, 1.3],
}


@pytest.mark.parametrize("key", RUN_RULES)
def test_each_rule_sees_its_pattern_and_signals_at_its_last_point(key):
    hits = RUN_RULES[key].hits(np.array(SEEN[key], float))
    assert hits[-1]
    assert not hits[:-1].any()


@pytest.mark.parametrize("key", RUN_RULES)
def test_rules_take_many_rows_at_once_and_do_not_mind_the_sign(key):
    z = np.random.default_rng(8).normal(0, 1.3, (50, 30))
    hits = RUN_RULES[key].hits(z)
    assert hits.shape == z.shape
    assert (hits == RUN_RULES[key].hits(-z)).all()
    assert all((hits[i] == RUN_RULES[key].hits(z[i])).all() for i in range(50))


# Scatter.


def test_scatter_with_equal_errors_is_the_moving_range():
    x = np.random.default_rng(5).normal(0, 2, 15)
    se = np.full(15, 0.7)
    assert batch_scatter(x, se) ** 2 + 0.49 == pytest.approx(moving_range_sigma(x) ** 2, rel=1e-10)
    assert batch_scatter(x, np.zeros(15)) == pytest.approx(moving_range_sigma(x), rel=1e-10)
    assert batch_scatter(x / 20, np.full(15, 1.0)) == 0.0  # the noise explains all


def test_scatter_of_simulated_batches():
    """Long row, unequal errors: the true 0.6 to within three times its own uncertainty."""
    rng = np.random.default_rng(11)
    se = rng.uniform(0.2, 1.0, 40_000)
    x = rng.normal(0, 0.6, se.size) + rng.normal(0, 1, se.size) * se
    assert batch_scatter(x, se) == pytest.approx(0.6, abs=0.03)


@given(
    x=arrays(float, 8, elements=st.integers(-50, 50).map(float)),
    scale=st.sampled_from([0.01, 0.5, 3.0, 1000.0]),
    shift=st.sampled_from([-20.0, 0.0, 7.0]),
)
@settings(max_examples=60, deadline=None)
def test_scatter_follows_the_unit_and_not_the_place(x, scale, shift):
    se = np.linspace(1, 4, 8)
    first = batch_scatter(x, se)
    assert batch_scatter(scale * x + shift, scale * se) == pytest.approx(scale * first, abs=1e-4)


def test_weighted_mean_by_least_squares():
    rng = np.random.default_rng(1)
    x, sigma = rng.normal(size=9), rng.uniform(0.5, 2, 9)
    mean, se = weighted_mean(x, sigma)
    slope, cov = np.polyfit(np.zeros(9) + 1, x, 0, w=1 / sigma, cov="unscaled")
    assert mean == pytest.approx(slope[0], rel=1e-10)
    assert se == pytest.approx(np.sqrt(cov[0, 0]), rel=1e-10)
