"""Critical and similar counts: exact comparisons, missing cells, one number and arrays alike."""

from fractions import Fraction

import numpy as np
import pytest

from sensory.choices.counts import critical_counts, similar_counts
from sensory.choices.protocols import DUO_TRIO, PAIRED, TRIANGLE, TWO_OUT_OF_FIVE

from .shared import chance, every_protocol

SIZES = (1, 2, 3, 5, 8, 12, 24, 40, 66)
RISKS = (0.2, 0.1, 0.05, 0.01, 0.001)


@every_protocol
def test_critical_counts_by_enumeration(protocol):
    for n in SIZES:
        tails = [chance(n, protocol.guess, range(x, n + 1)) for x in range(n + 1)]
        for alpha in RISKS:
            first = next((x for x in range(n + 1) if tails[x] <= Fraction(str(alpha))), None)
            assert critical_counts(protocol, n, alpha) == first


@every_protocol
@pytest.mark.parametrize("limit", ["0.1", "0.3", "0.5"])
def test_similar_counts_by_enumeration(protocol, limit):
    at_limit = protocol.guess + (1 - protocol.guess) * Fraction(limit)
    for n in SIZES:
        tails = [chance(n, at_limit, range(x + 1)) for x in range(n + 1)]
        for beta in RISKS:
            fitting = [x for x in range(n + 1) if tails[x] <= Fraction(str(beta))]
            expected = max(fitting, default=None)
            assert similar_counts(protocol, n, beta, float(limit)) == expected


def test_two_sided_counts_by_enumeration():
    for n in SIZES:
        for alpha in RISKS:
            fitting = [
                x
                for x in range(n + 1)
                if 2 * x > n
                and 2 * chance(n, Fraction(1, 2), range(x, n + 1)) <= Fraction(str(alpha))
            ]
            expected = min(fitting, default=None)
            assert critical_counts(PAIRED, n, alpha, two_sided=True) == expected


def test_alpha_that_ties_with_a_tail_is_reached():
    sizes, alphas = [1, 2, 3], [0.1, 0.01, 0.001]
    assert critical_counts(TWO_OUT_OF_FIVE, sizes, alphas).tolist() == sizes
    pairs = zip(sizes, alphas, strict=True)
    assert [critical_counts(TWO_OUT_OF_FIVE, n, alpha) for n, alpha in pairs] == sizes


def test_similar_tie_is_reached():
    # At pd 1/4 a duo-trio answer is wrong with probability (1/2)(3/4) = 3/8.
    assert similar_counts(DUO_TRIO, 1, 0.375, 0.25) == 0
    assert similar_counts(DUO_TRIO, 1, 0.3749, 0.25) is None


def test_no_count_is_none_and_masked_in_arrays():
    assert critical_counts(TRIANGLE, 2, 0.05) is None
    assert similar_counts(TRIANGLE, 3, 0.05, 0.30) is None
    critical = critical_counts(TRIANGLE, [2, 3], 0.05)
    similar = similar_counts(TRIANGLE, [3, 4], 0.05, 0.30)
    assert critical.tolist() == [None, 3]
    assert similar.tolist() == [None, 0]
    assert critical.dtype == similar.dtype == np.int64


@every_protocol
def test_arrays_agree_with_single_numbers(protocol):
    sizes, risks = np.arange(1, 41), np.array([0.2, 0.05, 0.001])
    critical = critical_counts(protocol, sizes[:, None], risks)
    similar = similar_counts(protocol, sizes[:, None], risks, 0.3)
    assert critical.shape == similar.shape == (40, 3)
    for i, n in enumerate(sizes):
        for j, risk in enumerate(risks):
            one = critical_counts(protocol, int(n), float(risk))
            assert critical.tolist()[i][j] == one
            assert similar.tolist()[i][j] == similar_counts(protocol, int(n), float(risk), 0.3)


def test_single_numbers_come_back_as_plain_integers():
    assert similar_counts(TRIANGLE, 12, 0.05, 0.30) < 12 / 3  # below the expected count
    assert type(critical_counts(TRIANGLE, 24, 0.05)) is int
    assert type(similar_counts(TRIANGLE, np.int64(60), 0.05, 0.30)) is int


@every_protocol
def test_counts_never_fall_by_more_than_they_may(protocol):
    # One more answer raises either count by 0 or 1.
    critical = critical_counts(protocol, np.arange(20, 200), 0.05)
    similar = similar_counts(protocol, np.arange(20, 200), 0.05, 0.3)
    assert set(np.diff(critical).tolist()) == {0, 1}
    assert set(np.diff(similar).tolist()) == {0, 1}


def test_smaller_risks_ask_for_more():
    critical = critical_counts(TRIANGLE, 60, [0.2, 0.1, 0.05, 0.01, 0.001])
    similar = similar_counts(TRIANGLE, 60, [0.2, 0.1, 0.05, 0.01, 0.001], 0.3)
    assert (np.diff(critical) > 0).all()
    assert (np.diff(similar) < 0).all()
