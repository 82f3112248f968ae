"""Orders and matches by chance, against listing every order."""

from fractions import Fraction
from itertools import permutations
from math import factorial

import numpy as np
import pytest
from scipy import stats

from sensory.models.arrangements import difference_counts, inversion_counts, match_masses


def wrong_pairs(order):
    return sum(order[i] > order[j] for j in range(len(order)) for i in range(j))


def squared_differences(order):
    return sum((a - b) ** 2 for a, b in enumerate(order))


@pytest.mark.parametrize("things", range(1, 8))
def test_inversions_and_squared_differences_by_listing(things):
    for counts, own in (inversion_counts, wrong_pairs), (difference_counts, squared_differences):
        listed = [own(order) for order in permutations(range(things))]
        assert list(counts(things)) == np.bincount(listed).tolist()


def test_squared_differences_of_twelve():
    counts = difference_counts(12)
    assert sum(counts) == factorial(12)
    assert counts == counts[::-1]  # an order and its reverse add up to the largest sum
    mean = sum(far * count for far, count in enumerate(counts)) / factorial(12)
    assert mean == pytest.approx(12 * (144 - 1) / 6)


@pytest.mark.parametrize("things", [4, 7, 9])
def test_inversions_against_scipy(things):
    rng = np.random.default_rng(things)
    for _ in range(10):
        order = rng.permutation(things)
        expected = stats.kendalltau(
            np.arange(things), order, method="exact", alternative="greater"
        ).pvalue
        wrong = wrong_pairs(order)
        ours = sum(inversion_counts(things)[: wrong + 1]) / factorial(things)
        assert ours == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(("labels", "offered"), [(1, 1), (3, 3), (5, 5), (2, 5), (4, 6), (3, 7)])
def test_matches_by_listing(labels, offered):
    ways = list(permutations(range(offered), labels))
    right = [sum(a == b for a, b in enumerate(way)) for way in ways]
    expected = [Fraction(right.count(x), len(ways)) for x in range(labels + 1)]
    assert list(match_masses(labels, offered)) == expected


def test_matches_of_thirty_tend_to_a_poisson_count():
    # The number of matches of a random order tends to Poisson with mean 1: Feller, IV.4.
    masses = match_masses(30, 30)
    assert sum(masses) == 1
    for right in range(6):
        assert float(masses[right]) == pytest.approx(stats.poisson.pmf(right, 1), rel=1e-12)
