"""Tests in stages against every single sequence of answers."""

from fractions import Fraction
from itertools import product
from math import comb

import numpy as np
import pytest

from sensory.models.stages import binomial_masses, walk


@pytest.mark.parametrize("n", [0, 1, 6, 40, 400])
@pytest.mark.parametrize("p", [Fraction(0), Fraction(1, 3), Fraction(1, 2), Fraction(1)])
def test_masses_against_fractions(n, p):
    exact = [float(comb(n, k) * p**k * (1 - p) ** (n - k)) for k in range(n + 1)]
    np.testing.assert_allclose(binomial_masses(n, float(p)), exact, rtol=1e-10, atol=1e-300)


WALKS = [
    ([3, 4], [0, 3], [3, 4]),
    ([2, 2, 3], [-1, 1, 2], [2, 4, 6]),
    ([1] * 8, [-1, -1, 0, 0, 1, 1, 2, 2], [2, 3, 3, 4, 4, 5, 5, 6]),
    ([5, 3], [-1, -1], [6, 9]),
    ([4, 4], [4, 4], [5, 5]),
]


@pytest.mark.parametrize(("sizes", "similar_to", "different_from"), WALKS, ids=str)
@pytest.mark.parametrize("p", [Fraction(1, 10), Fraction(1, 3), Fraction(4, 5)])
def test_walk_against_every_sequence(sizes, similar_to, different_from, p):
    ends, expected = dict.fromkeys(("different", "similar", "undecided"), Fraction(0)), Fraction(0)
    for answers in product((0, 1), repeat=sum(sizes)):
        chance = p ** sum(answers) * (1 - p) ** (len(answers) - sum(answers))
        seen, end = 0, "undecided"
        for size, low, high in zip(sizes, similar_to, different_from, strict=True):
            seen += size
            right = sum(answers[:seen])
            if right <= low or right >= high:
                end = "similar" if right <= low else "different"
                break
        ends[end] += chance
        expected += seen * chance
    found = walk(sizes, similar_to, different_from, float(p))
    for name, exact in ends.items():
        assert getattr(found, name) == pytest.approx(float(exact), rel=1e-10, abs=1e-15)
    assert found.expected == pytest.approx(float(expected), rel=1e-10)


def test_nothing_is_lost_in_long_walks():
    found = walk([1] * 1500, [-1] * 1500, [2000] * 1500, 0.4)
    assert found.undecided == pytest.approx(1, abs=1e-9)
    assert found.expected == pytest.approx(1500, abs=1e-6)
