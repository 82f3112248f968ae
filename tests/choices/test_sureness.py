"""Sureness grades: limits and signs, empty and separated grades, many products, R-index."""

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import mannwhitneyu

from sensory.choices.a_not_a import a_not_a
from sensory.choices.sureness import sureness_test
from sensory.models.signal import GradedLikelihood

THREE = [[18, 9, 3], [11, 12, 7], [2, 9, 19]]


def numbers(product):
    limits, r_limits = product.limits, product.r_limits
    own = (product.dprime, limits.low, limits.high, product.p_likelihood_ratio)
    return (*own, product.r_index, r_limits.low, r_limits.high, product.p_r_index)


FULL = [(32, 40, 14, 40), (9, 30, 15, 35), (5, 12, 4, 9)]
WITH_AN_EMPTY_CELL = [(40, 40, 14, 40), (32, 40, 0, 40), (0, 40, 12, 40)]


@pytest.mark.parametrize("counts", FULL + WITH_AN_EMPTY_CELL)
def test_two_grades_are_yes_and_no(counts):
    hits, n, alarms, m = counts
    simple = a_not_a(hits, n, alarms, m)
    (one,) = sureness_test([[m - alarms, alarms], [n - hits, hits]]).products
    close = 1e-5 if counts in FULL else 1e-4
    assert one.dprime == pytest.approx(simple.dprime, abs=close)  # infinite with an empty cell
    assert one.limits.low == pytest.approx(simple.limits.low, abs=close)
    assert one.limits.high == pytest.approx(simple.limits.high, abs=close)
    if counts in FULL:
        assert one.p_likelihood_ratio == pytest.approx(simple.p_likelihood_ratio, rel=1e-4)


@pytest.mark.parametrize(
    "table",
    [
        [[20, 0], [0, 20]],
        [[12, 8, 0, 0], [0, 0, 5, 15]],
        [[10, 5, 5], [0, 0, 20]],
        [[10, 10, 0], [0, 10, 10]],
    ],
    ids=str,
)
def test_separated_grades_have_no_finite_dprime(table):
    # The likelihood rises for ever when no reference answer lies beyond any of the product.
    (one,) = sureness_test(table).products
    assert one.dprime == one.limits.high == np.inf
    assert 0.5 < one.limits.low < 5


def recession(table):
    """Ends of each shift, by linear programming over the directions of recession.

    A direction keeps every answer possible when a used grade's upper threshold rises at
    least as fast as the product, and its lower one no faster.
    """
    table = np.array(table)
    table = table[:, table.sum(axis=0) > 0]
    products, grades = table.shape
    bounds_of = [(0, 0)] + [(-1, 1)] * (products - 1) + [(-1, 1)] * (grades - 1)
    rows = []
    for k, j in np.argwhere(table > 0):
        for threshold, sign in ((j, -1), (j - 1, 1)):
            if 0 <= threshold < grades - 1:
                row = np.zeros(products + grades - 1)
                row[products + threshold], row[k] = sign, -sign
                rows.append(row)
    ends = []
    for k in range(1, products):
        aim = np.zeros(products + grades - 1)
        aim[k] = 1
        reach = [
            linprog(side * aim, A_ub=rows, b_ub=np.zeros(len(rows)), bounds=bounds_of).fun
            for side in (1, -1)
        ]
        ends.append((reach[0] < -0.1, reach[1] < -0.1))
    return ends


SPARSE = [
    [[10, 0, 0], [0, 0, 9], [0, 8, 0]],
    [[5, 5, 0, 0], [0, 3, 4, 0], [0, 0, 2, 6]],
    [[5, 5, 0, 0], [0, 3, 4, 0], [0, 2, 2, 6]],
    [[0, 6, 0], [0, 5, 0], [3, 0, 4]],
    [[0, 6, 0], [0, 5, 0], [3, 0, 0], [0, 0, 2]],
    [[0, 7, 0, 0], [4, 3, 0, 0], [0, 0, 5, 2], [0, 1, 0, 3]],
    [[6, 0], [7, 0], [2, 5]],
    [[0, 0, 4, 4], [4, 4, 0, 0], [0, 9, 0, 0]],
]


def sparse_tables():
    rng = np.random.default_rng(6)
    for _ in range(60):
        table = rng.integers(1, 9, (3, 4)) * (rng.random((3, 4)) < 0.4)
        if (table.sum(axis=1) > 0).all() and (table.sum(axis=0) > 0).sum() > 1:
            yield table.tolist()


def test_ends_of_dprime_are_the_directions_in_which_the_likelihood_never_falls():
    for table in [*SPARSE, *sparse_tables()]:
        likelihood = GradedLikelihood(np.array(table, float))
        places, _ = likelihood.places()
        for place, (falls, rises) in zip(places[1:], recession(table), strict=True):
            if place == places[0]:
                assert falls == rises == (place % 2 == 0), table
            else:
                assert (falls, rises) == (place < places[0], place > places[0]), table


def test_a_product_at_the_same_lonely_grade_is_not_told_apart():
    one, two, three = sureness_test(SPARSE[4]).products
    assert (one.dprime, one.p_likelihood_ratio) == (0, 1)
    assert (one.limits.low, one.limits.high) == (-np.inf, np.inf)
    assert (two.dprime, three.dprime) == (-np.inf, np.inf)


def test_finite_products_keep_their_numbers_beside_an_infinite_one():
    # The third product shares no grade with the others: it says nothing about them.
    beside = sureness_test([[10, 6, 4, 0], [5, 8, 7, 0], [0, 0, 0, 12]])
    (alone,) = sureness_test([[10, 6, 4], [5, 8, 7]]).products
    assert numbers(beside.products[0])[:4] == pytest.approx(numbers(alone)[:4], abs=1e-4)
    assert beside.products[1].dprime == beside.thresholds[2] == np.inf
    assert np.isfinite(beside.thresholds[:2]).all()


def test_no_overlap_at_all_leaves_the_r_index_open_on_one_side():
    (one,) = sureness_test([[12, 8, 0], [0, 0, 15]]).products
    assert (one.r_index, one.r_limits.high) == (1, 1)
    assert 0.5 < one.r_limits.low < 1


def test_reversed_grades_turn_the_sign():
    one = sureness_test(THREE)
    two = sureness_test([row[::-1] for row in THREE])
    for a, b in zip(one.products, two.products, strict=True):
        assert b.dprime == pytest.approx(-a.dprime, abs=1e-5)
        assert b.limits.low == pytest.approx(-a.limits.high, abs=1e-5)
        assert b.limits.high == pytest.approx(-a.limits.low, abs=1e-5)
        assert b.r_index == pytest.approx(1 - a.r_index)
        assert b.r_limits.low == pytest.approx(1 - a.r_limits.high)
        assert b.p_r_index == pytest.approx(a.p_r_index)
        assert b.p_likelihood_ratio == pytest.approx(a.p_likelihood_ratio, rel=1e-4)
    assert two.thresholds == pytest.approx([-t for t in one.thresholds[::-1]], abs=1e-5)


def test_empty_grades_are_merged_away():
    spread = [[a, 0, b, 0, 0, c] for a, b, c in THREE]
    one, two = sureness_test(THREE), sureness_test(spread)
    assert two.grades == 3
    assert two.thresholds == one.thresholds
    assert [numbers(p) for p in two.products] == [numbers(p) for p in one.products]


def test_many_products_in_their_order():
    one = sureness_test(THREE)
    two = sureness_test([THREE[0], THREE[2], THREE[1]])
    for a, b in zip(one.products, two.products[::-1], strict=True):
        np.testing.assert_allclose(numbers(b), numbers(a), rtol=1e-4, atol=1e-6)


def test_r_index_of_a_product_does_not_depend_on_the_others():
    together = sureness_test(THREE).products[1]
    (alone,) = sureness_test([THREE[0], THREE[2]]).products
    assert numbers(together)[4:] == numbers(alone)[4:]


def test_the_same_product_twice():
    one, two = sureness_test([THREE[0], THREE[1], THREE[1]]).products
    np.testing.assert_allclose(numbers(two), numbers(one), rtol=1e-4, atol=1e-6)


def test_equal_answers_show_nothing():
    (one,) = sureness_test([[8, 5, 7], [8, 5, 7]]).products
    assert one.dprime == pytest.approx(0, abs=1e-6)
    assert one.limits.low == pytest.approx(-one.limits.high, abs=1e-5)
    assert (one.r_index, one.p_r_index) == (0.5, 1)
    assert one.p_likelihood_ratio == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_r_index_against_scipy(seed):
    rng = np.random.default_rng(seed)
    table = rng.integers(1, 15, (2, 2 + seed % 2))
    reference, product = (np.repeat(np.arange(table.shape[1]), row) for row in table)
    exact = mannwhitneyu(product, reference, method="asymptotic", use_continuity=False)
    (one,) = sureness_test(table).products
    assert one.r_index == pytest.approx(exact.statistic / product.size / reference.size)
    assert one.p_r_index == pytest.approx(exact.pvalue, rel=1e-9)


def test_r_limits_hold_the_estimate_and_widen():
    narrow, wide = (sureness_test(THREE[:2], level=level).products[0] for level in (0.8, 0.99))
    assert 0 < wide.r_limits.low < narrow.r_limits.low < narrow.r_index
    assert narrow.r_index < narrow.r_limits.high < wide.r_limits.high < 1
