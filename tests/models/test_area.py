"""Limits of the area: against a root search, their symmetry, and every session of 8 + 8 answers."""

from itertools import product
from math import factorial, prod, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import norm

from sensory.models.area import area_limits


def sd(area, n, m):
    """By Hanley and McNeil: chances that two answers to one lie beyond one to the other."""
    beyond, below = area / (2 - area), 2 * area**2 / (1 + area)
    sides = [
        a * (beyond - area**2) + b * (below - area**2) for a, b in ((n - 1, m - 1), (m - 1, n - 1))
    ]
    return sqrt((area * (1 - area) + max(sides)) / (n * m))


@pytest.mark.parametrize(("n", "m"), [(12, 12), (8, 30), (30, 8), (1, 1)])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_limits_by_a_root_search(n, m, level):
    areas = np.array([0.05, 0.4, 0.5, 0.8])
    low, high = area_limits(areas, n, m, level)
    z = norm.ppf((1 + level) / 2)
    for at, area in enumerate(areas):
        ends = [
            brentq(lambda t, area=area: abs(area - t) - z * sd(t, n, m), *bracket)
            for bracket in ((1e-12, area), (area, 1 - 1e-12))
        ]
        assert (low[at], high[at]) == pytest.approx(ends, abs=1e-9)


def test_limits_are_alike_from_both_ends():
    areas = np.linspace(0, 1, 21)
    low, high = area_limits(areas, 9, 17, 0.95)
    turned = area_limits(1 - areas, 17, 9, 0.95)
    np.testing.assert_allclose((1 - high, 1 - low), turned, atol=1e-12)
    assert (np.diff(low) > 0).all()
    assert (low[0], high[-1]) == (0, 1)
    assert (low < areas)[1:].all()


@pytest.mark.parametrize("dprime", [-1.0, 0.0, 1.0, 2.0, 3.0])
def test_limits_hold_the_area_in_95_of_100_sessions(dprime):
    """By summing over all answers of 8 and 8 in 3 grades; the logit limits held 0.935."""
    people, edges = 8, np.array([-np.inf, 0.0, 1.0, np.inf])
    rates = [np.diff(ndtr(edges - shift)) for shift in (0.0, dprime)]
    rows = [row for row in product(range(people + 1), repeat=3) if sum(row) == people]
    ways = np.array([factorial(people) / prod(map(factorial, row)) for row in rows])
    answers = np.array(rows, float)
    chances = [ways * (rate**answers).prod(1) for rate in rates]
    below = (np.cumsum(answers, 1) - answers / 2) / people
    low, high = area_limits(below @ answers.T / people, people, people, 0.95)
    truth = sum(rates[1][j] * (rates[0][:j].sum() + rates[0][j] / 2) for j in range(3))
    coverage = chances[0] @ ((low <= truth) & (truth <= high)) @ chances[1]
    assert 0.95 <= coverage <= 0.99
