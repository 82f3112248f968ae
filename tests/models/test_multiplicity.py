"""Dunnett, Tukey, Holm and Benjamini-Hochberg by other programs, tables and limiting cases."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from sensory.base.errors import ArgumentError
from sensory.models.multiplicity import (
    Dunnett,
    benjamini_hochberg,
    departure,
    dunnett_p,
    dunnett_quantile,
    holm,
    loadings,
    tukey_limits,
    tukey_p,
    tukey_quantile,
)

from ..references.readers import entries

PUBLISHED = entries("published_ratings.json")
R_CASES = entries("ratings.json", "cases")


def equal(comparisons):
    """Correlation against a reference with as many scores as each sample."""
    return (np.ones((comparisons, comparisons)) + np.eye(comparisons)) / 2


def unequal(reference, *others):
    loading = np.sqrt(np.array(others) / (np.array(others) + reference))
    matrix = np.outer(loading, loading)
    np.fill_diagonal(matrix, 1.0)
    return matrix


def normal_tail(h, correlation, two_sided=True):
    """scipy's integral, to about 1e-6: two of its runs differ by so much."""
    count = len(correlation)
    low = np.full(count, -h if two_sided else -np.inf)
    normal = stats.multivariate_normal(
        cov=correlation, abseps=1e-9, releps=1e-9, maxpts=300_000, seed=1
    )
    return 1 - normal.cdf(np.full(count, h), lower_limit=low)


# Published.


@pytest.mark.parametrize(
    ("name", "inputs", "quantile"),
    [
        ("pv108", "(k treatments, df)", lambda k, df: dunnett_quantile(0.05, df, equal(k))[0]),
        ("pv110", "(k,df)", lambda k, df: tukey_quantile(0.05, df, k)[0] * np.sqrt(2)),
    ],
)
def test_published_two_sided_and_range_quantiles(name, inputs, quantile):
    entry = PUBLISHED[name]
    for pair, value in zip(entry["inputs"][inputs], entry["value"], strict=True):
        assert quantile(*pair) == pytest.approx(value, abs=entry["tolerance"])


def test_published_one_sided_table():
    entry = PUBLISHED["dunnett-1s-table"]
    columns = [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 20]
    assert str(columns) in entry["quantity"]
    for place, count in enumerate(columns):
        dfs = [float(df) for df in entry["value"]]
        printed = [row[place] for row in entry["value"].values()]
        found = dunnett_quantile(0.05, dfs, equal(count), two_sided=False)
        np.testing.assert_allclose(found, printed, atol=entry["tolerance"])


def test_published_one_sided_values():
    entry = PUBLISHED["pv109"]  # from memory; scipy's integral is the second route
    for count, printed in zip((2, 3), entry["value"], strict=True):
        found = dunnett_quantile(0.05, 20, equal(count), two_sided=False)[0]
        assert found == pytest.approx(printed, abs=entry["tolerance"]), entry["source"]
        law = stats.multivariate_t(shape=equal(count), df=20, seed=1)
        assert 1 - law.cdf(np.full(count, found)) == pytest.approx(0.05, abs=2e-4)


def test_published_range_quantile():
    entry = PUBLISHED["q-4-20"]
    given = entry["inputs"]
    found = tukey_quantile(0.05, given["df"], given["k"])[0] * np.sqrt(2)
    assert found == pytest.approx(entry["value"], abs=entry["tolerance"]), entry["source"]


def test_published_critical_difference():
    entry = PUBLISHED["dunnett-mont"]
    critical = dunnett_quantile(0.05, 20, equal(4))[0]
    assert critical == pytest.approx(entry["value"][0], abs=entry["tolerance"])
    assert critical * np.sqrt(2 * 8.06 / 5) == pytest.approx(entry["value"][1], abs=0.02)


def test_published_limits_of_a_pair():
    entry = PUBLISHED["mont-hard-CI"]
    given = entry["inputs"]
    half = tukey_quantile(0.05, given["df"], given["k"])[0] * np.sqrt(2 * given["MSE"] / given["n"])
    difference = given["means"][0] - given["means"][1]
    np.testing.assert_allclose(
        [difference - half, difference + half], entry["value"], atol=entry["tolerance"]
    )


# Other programs.


@pytest.mark.parametrize("case", R_CASES.values(), ids=R_CASES)
def test_p_against_r(case):
    """R: Miwa's rule averaged over chi, and ptukey; both to about 1e-9 absolute."""
    count = len(case["samples"])
    t, df = np.atleast_1d(case["against_t"]), np.atleast_1d(case["against_df"])
    correlation = np.reshape(case["correlation"], (count - 1, count - 1))
    np.testing.assert_allclose(dunnett_p(t, df, correlation), case["dunnett"], rtol=1e-7, atol=1e-9)
    pairs = np.atleast_1d(case["pairs"]) / np.atleast_1d(case["pairs_se"])
    found = tukey_p(pairs, np.atleast_1d(case["pairs_df"]), count)
    np.testing.assert_allclose(found, case["tukey"], rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("df", [1, 3, 18, 100, 1000])
@pytest.mark.parametrize("means", [2, 3, 10])
def test_tukey_against_scipy(means, df):
    t = np.array([0.3, 1.0, 2.0, 3.0, 4.5])
    other = stats.studentized_range.sf(t * np.sqrt(2), means, df)
    np.testing.assert_allclose(tukey_p(t, df, means), other, rtol=1e-6, atol=1e-11)


def test_dunnett_against_scipy_on_data():
    rng = np.random.default_rng(11)
    groups = [rng.normal(loc, size=n) for loc, n in ((0.2, 7), (0.9, 12), (0.1, 5))]
    control = rng.normal(size=9)
    other = stats.dunnett(*groups, control=control, rng=np.random.default_rng(1))
    everyone = [control, *groups]
    df = sum(map(len, everyone)) - 4
    pooled = np.sqrt(sum(((g - g.mean()) ** 2).sum() for g in everyone) / df)
    t = [(g.mean() - control.mean()) / pooled / np.sqrt(1 / len(g) + 1 / 9) for g in groups]
    found = dunnett_p(t, df, unequal(9, 7, 12, 5))
    np.testing.assert_allclose(found, other.pvalue, atol=1e-4)


@pytest.mark.parametrize("df", [5, 18])
def test_dunnett_against_the_multivariate_t(df):
    correlation = unequal(6, 4, 7, 5, 9)
    for t in (1.0, 2.0, 3.0):
        other = 1 - stats.multivariate_t(shape=correlation, df=df).cdf(
            np.full(4, t), lower_limit=np.full(4, -t), maxpts=200_000, random_state=1
        )
        assert dunnett_p(t, df, correlation)[0] == pytest.approx(other, abs=1e-5)


@pytest.mark.parametrize("size", [0.01, 0.05, 0.1])
@pytest.mark.parametrize("two_sided", [True, False])
def test_correlations_that_no_common_factor_gives(size, two_sided):
    rng = np.random.default_rng(4)
    shift = rng.uniform(-size, size, (5, 5))
    correlation = unequal(6, 4, 7, 5, 9, 6) + (shift + shift.T) / 2
    np.fill_diagonal(correlation, 1.0)
    far = departure(correlation)
    assert size / 10 < far < size
    for h in (1.5, 2.5):
        found = dunnett_p(h, np.inf, correlation, two_sided=two_sided)[0]
        other = normal_tail(h, correlation, two_sided)
        assert found == pytest.approx(other, abs=3e-6 + 3 * far**3 * other)


@pytest.mark.parametrize("two_sided", [True, False])
def test_correlations_nearly_alike(two_sided):
    """Where one comparison stands for all: against the normal tail by another program."""
    upper = np.triu(np.random.default_rng(3).uniform(0, 0.0099, (5, 5)), 1)
    alike = 0.5 + upper + upper.T
    np.fill_diagonal(alike, 1.0)
    half = np.full((5, 5), 0.5) + np.eye(5) / 2
    for h in (1.0, 2.0, 3.0):
        found = dunnett_p(h, np.inf, alike, two_sided=two_sided)[0]
        assert found == pytest.approx(normal_tail(h, alike, two_sided), abs=3e-6)
        assert abs(found - dunnett_p(h, np.inf, half, two_sided=two_sided)[0]) > 1e-5


def test_quantiles_of_a_few_unlike_degrees_of_freedom():
    """Each end of the bracket moves at its own df; every quantile gives back its level."""
    half = np.full((6, 6), 0.5) + np.eye(6) / 2
    df = np.array([3.0, 5.5, 9.0, 24.0, 90.0, 1e5])
    for alpha in (0.2, 0.05, 1e-4, 1e-9):
        critical = dunnett_quantile(alpha, df, half)
        np.testing.assert_allclose(dunnett_p(critical, df, half), alpha, rtol=1e-9)
        assert (np.diff(critical) < 0).all()


def test_holm_and_benjamini_hochberg_against_other_programs():
    p = np.random.default_rng(2).random((25, 3)) ** 2
    p[3] = p[4]
    for column in range(3):
        one = p[:, column]
        np.testing.assert_allclose(holm(p)[:, column], multipletests(one, method="holm")[1])
        np.testing.assert_allclose(
            benjamini_hochberg(p)[:, column], stats.false_discovery_control(one)
        )


# Limiting cases and inversions.


def test_one_comparison_at_several_degrees_of_freedom_is_student():
    t, df = np.array([0.5, 2.0, 7.0, 30.0]), np.array([2.5, 11.0, 40.0, 9.0])
    student = 2 * stats.t.sf(t, df)
    np.testing.assert_allclose(dunnett_p(t, df, [[1.0]]), student, rtol=1e-8)
    np.testing.assert_allclose(tukey_p(t, df, 2), student, rtol=1e-8)
    one_sided = dunnett_p(-t, df, [[1.0]], two_sided=False)
    np.testing.assert_allclose(one_sided, stats.t.cdf(t, df), rtol=1e-9)


def test_without_correlation_it_is_sidak():
    t = np.array([0.7, 2.0, 3.0, 9.0])
    one = 2 * stats.norm.sf(t)
    np.testing.assert_allclose(
        dunnett_p(t, np.inf, np.eye(4)), -np.expm1(4 * np.log1p(-one)), rtol=1e-7
    )


def test_far_tails_tend_to_bonferroni_and_keep_their_digits():
    t = np.array([12.0, 20.0])
    found = dunnett_p(t, np.inf, equal(3))
    np.testing.assert_allclose(found, 3 * 2 * stats.norm.sf(t), rtol=1e-6)


def test_not_whole_degrees_of_freedom_by_direct_integration():
    """Two nested Gauss rules of scipy's densities, with the loadings of Dunnett's paper."""
    df, t = 7.3, 2.4
    loading = np.sqrt(np.array([5 / 10, 8 / 13]))
    own = np.sqrt(1 - loading**2)
    x, weight = np.polynomial.legendre.leggauss(200)
    s, z = 2 * (x + 1), 9 * x
    chi = stats.chi(df).pdf(s * np.sqrt(df)) * np.sqrt(df) * 2 * weight
    upper = (t * s[:, None, None] - loading * z[:, None]) / own
    lower = (-t * s[:, None, None] - loading * z[:, None]) / own
    inside = (stats.norm.cdf(upper) - stats.norm.cdf(lower)).prod(2)
    direct = 1 - chi @ (inside @ (stats.norm.pdf(z) * 9 * weight))
    assert dunnett_p(t, df, unequal(5, 5, 8))[0] == pytest.approx(direct, abs=1e-9)


@pytest.mark.parametrize("two_sided", [True, False])
def test_quantiles_invert_the_tails(two_sided):
    df = np.array([1.0, 3.0, 8.0, 25.0, 400.0, np.inf])
    correlation = unequal(6, 4, 7, 5)
    critical = dunnett_quantile(0.05, df, correlation, two_sided=two_sided)
    p = dunnett_p(critical, df, correlation, two_sided=two_sided)
    np.testing.assert_allclose(p, 0.05, rtol=1e-8)
    critical = tukey_quantile(0.01, df, 6)
    np.testing.assert_allclose(tukey_p(critical, df, 6), 0.01, rtol=1e-8)
    together = tukey_limits(0.01, -2 * critical, df, 6)  # far out, from the same integral
    np.testing.assert_allclose(together[0], tukey_p(2 * critical, df, 6), rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(together[1], critical, rtol=1e-10)


def test_many_quantiles_at_once_equal_single_ones():
    df = np.geomspace(4, 300, 90)
    many = tukey_quantile(0.05, df, 5)
    single = [tukey_quantile(0.05, each, 5)[0] for each in df[::17]]
    np.testing.assert_allclose(many[::17], single, rtol=1e-8)


def test_loadings_give_back_the_correlations():
    correlation = unequal(3, 1, 8, 4)
    np.testing.assert_allclose(loadings(correlation), np.sqrt([1 / 4, 8 / 11, 4 / 7]), rtol=1e-9)
    assert departure(correlation) < 1e-12
    assert departure(np.eye(4)) == 0


def test_no_square_matrix_and_no_comparison_at_all():
    with pytest.raises(ArgumentError, match="correlation must be a square matrix"):
        dunnett_p(2.0, 10, [[1.0, 0.5]])
    assert dunnett_p([], 5, equal(2)).shape == (0,)


@pytest.mark.parametrize("df", [1.0, 7.5, 60.0, np.inf])
@pytest.mark.parametrize("two_sided", [True, False])
def test_one_comparison_is_students_t(df, two_sided):
    """scipy's distribution, and the integral that several comparisons take."""
    t = np.array([-1.5, 0.0, 0.4, 2.2, 5.0, 30.0])
    law = stats.norm if np.isinf(df) else stats.t(df)
    tail = 2 * law.sf(np.abs(t)) if two_sided else law.sf(t)
    found = dunnett_p(t, df, [[1.0]], two_sided=two_sided)
    np.testing.assert_allclose(found, tail, rtol=1e-10)
    critical = dunnett_quantile(0.05, df, [[1.0]], two_sided=two_sided)
    np.testing.assert_allclose(critical, law.isf(0.05 / (1 + two_sided)), rtol=1e-10)
    if two_sided:
        p, limits = Dunnett(np.eye(1)).limits(0.05, t, df)
        np.testing.assert_allclose(p, tail, rtol=1e-10)
        np.testing.assert_allclose(limits, np.full(len(t), critical[0]), rtol=1e-10)


def test_one_integral_serves_p_and_critical_values():
    """p at any t, critical values and a second table take the tail that was made at first."""
    correlation, calls = unequal(9, 7, 12, 5), []
    dunnett = Dunnett(correlation)
    tail = dunnett._tail._tail

    def counted(h):
        calls.append(h)
        return tail(h)

    dunnett._tail._tail = counted
    t, df = np.array([0.3, 2.4, 9.0]), np.array([6.5, 20.0, 60.0])
    p, critical = dunnett.limits(0.05, t, df)
    again = dunnett.p(t / 2, df)
    assert len(calls) == 1
    np.testing.assert_allclose(p, dunnett_p(t, df, correlation), rtol=1e-9)
    np.testing.assert_allclose(again, dunnett_p(t / 2, df, correlation), rtol=1e-9)
    np.testing.assert_allclose(critical, dunnett_quantile(0.05, df, correlation), rtol=1e-9)
