"""A - not A: empty cells, signs, independent p-values, assessors who answer more than once."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, binomtest, chi2_contingency, fisher_exact, hypergeom, norm

from sensory.base.errors import ArgumentError
from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor, a_not_a_counts
from sensory.choices.two_by_two import fisher_one_sided, fisher_two_sided, likelihood_ratio
from sensory.models.clustered import ClusteredYesNo

TABLES = [(32, 40, 14, 40), (11, 25, 19, 31), (5, 5, 1, 6), (0, 9, 3, 12), (700, 900, 400, 800)]


def by_hand(hits, n, alarms, m):
    """Chances of all tables with these margins that are as likely as this or less."""
    said = hits + alarms
    chances = hypergeom.pmf(np.arange(min(n, said) + 1), n + m, said, n)
    return chances[chances <= chances[hits] * (1 + 1e-9)].sum()


@pytest.mark.parametrize("times", [12, 16])
def test_level_of_the_two_sided_p_over_every_table(times):
    """Without a difference the exact p keeps 5 %; the likelihood ratio, which stands apart, not."""
    counts = np.arange(times + 1)
    exact, ratio = np.vectorize(
        lambda h, f: (fisher_two_sided(h, times, f, times), likelihood_ratio(h, times, f, times))
    )(counts[:, None], counts)
    rates = np.linspace(0.01, 0.99, 99)
    said = binom.pmf(counts, times, rates[:, None])
    chances = said[:, :, None] * said[:, None, :]
    levels = [(chances * (p <= 0.05)).sum((1, 2)).max() for p in (exact, ratio)]
    assert levels[0] <= 0.05
    assert levels[1] > 0.06
    if times == 12:
        assert levels[1] == pytest.approx(0.078, abs=5e-4)  # as the docstring says


@pytest.mark.parametrize("counts", TABLES, ids=str)
def test_p_values_against_scipy(counts):
    hits, n, alarms, m = counts
    table = np.array([[hits, n - hits], [alarms, m - alarms]])
    exact = fisher_exact(table, alternative="greater").pvalue
    ratio = chi2_contingency(table, correction=False, lambda_="log-likelihood").pvalue
    found = a_not_a(*counts)
    assert found.p_fisher == pytest.approx(exact, rel=1e-9)
    assert found.p_likelihood_ratio == pytest.approx(ratio, rel=1e-9)
    assert found.p_two_sided == pytest.approx(by_hand(hits, n, alarms, m), rel=1e-6)
    assert fisher_one_sided(hits, n, alarms, m) == found.p_fisher
    assert likelihood_ratio(hits, n, alarms, m) == found.p_likelihood_ratio


@pytest.mark.parametrize("counts", TABLES, ids=str)
def test_other_product_first_turns_the_sign(counts):
    hits, n, alarms, m = counts
    one, two = a_not_a(hits, n, alarms, m), a_not_a(alarms, m, hits, n)
    assert two.dprime == pytest.approx(-one.dprime)
    assert two.limits.low == pytest.approx(-one.limits.high, abs=1e-6)
    assert two.limits.high == pytest.approx(-one.limits.low, abs=1e-6)
    assert two.p_likelihood_ratio == pytest.approx(one.p_likelihood_ratio)
    if np.isfinite(one.dprime):
        assert two.criterion == pytest.approx(one.criterion)


def test_reversed_answers_turn_sign_and_criterion():
    one, two = a_not_a(32, 40, 14, 40), a_not_a(8, 40, 26, 40)
    assert two.dprime == pytest.approx(-one.dprime)
    assert two.criterion == pytest.approx(-one.criterion)
    assert two.se == pytest.approx(one.se)
    # positive for people slow to say A
    assert a_not_a(10, 40, 4, 40).criterion > 0 > a_not_a(36, 40, 30, 40).criterion


@pytest.mark.parametrize(
    ("counts", "low", "high"), [((40, 40, 0, 40), 2, 5), ((40, 40, 14, 40), 1, 4),
                                ((26, 40, 0, 40), 1, 4)]
)  # fmt: skip
def test_empty_cells_give_a_lower_limit(counts, low, high):
    found = a_not_a(*counts)
    assert found.dprime == found.limits.high == np.inf
    assert low < found.limits.low < high
    if counts == (40, 40, 0, 40):
        assert found.se == np.inf
        assert np.isnan(found.criterion)


def test_more_alarms_than_hits_keep_the_sign():
    found = a_not_a(0, 40, 12, 40)
    assert found.dprime == found.limits.low == -np.inf
    assert found.limits.high < 0


@pytest.mark.parametrize("said", [0, 40])
def test_one_answer_to_everything_says_nothing(said):
    found = a_not_a(said, 40, said, 40)
    assert found.dprime == 0
    assert (found.limits.low, found.limits.high) == (-np.inf, np.inf)
    assert found.p_likelihood_ratio == 1


def test_limits_say_how_they_were_found():
    exact, mid, profile = (
        a_not_a(18, 24, 7, 24, method=method) for method in ("exact", "mid-p", "profile")
    )
    assert [own.method for own in (exact, mid, profile)] == ["exact", "mid-p", "profile"]
    assert exact.limits.low <= mid.limits.low < mid.limits.high <= exact.limits.high
    assert exact.limits.low < profile.limits.low


def test_large_counts_meet_the_wald_interval():
    found = a_not_a(60_000, 100_000, 40_000, 100_000)
    assert found.method == "profile"
    half = norm.ppf(0.975) * found.se
    assert found.limits.low == pytest.approx(found.dprime - half, abs=1e-5)
    assert found.limits.high == pytest.approx(found.dprime + half, abs=1e-5)


def rows(*pairs):
    return [row for row, times in pairs for _ in range(times)]


BOTH, A_ONLY, OTHER_ONLY, NEITHER = [1, 1, 1, 1], [1, 1, 0, 1], [0, 1, 1, 1], [0, 1, 0, 1]


@pytest.mark.parametrize("counts", [(12, 3, 5, 4), (4, 9, 6, 6), (1, 0, 8, 8), (7, 7, 3, 2)])
def test_mcnemar_against_scipy(counts):
    one, two, both, neither = counts
    found = a_not_a_by_assessor(
        rows((A_ONLY, one), (OTHER_ONLY, two), (BOTH, both), (NEITHER, neither))
    )
    assert (found.a_only, found.not_a_only) == (one, two)
    exact = binomtest(one, one + two, 0.5, alternative="greater").pvalue
    assert found.p_mcnemar == pytest.approx(exact, rel=1e-10)
    assert found.p_exact == pytest.approx(found.p_mcnemar, rel=1e-10)


def test_no_mcnemar_for_other_numbers_of_samples():
    found = a_not_a_by_assessor([[2, 3, 1, 3], [3, 3, 0, 3], [1, 3, 2, 3], [2, 3, 0, 3]])
    assert found.a_only is found.not_a_only is found.p_mcnemar is None


def test_assessors_with_one_criterion_agree_with_the_simple_test():
    # 12 A only, 3 the other only, 5 both: the criteria do not differ more than chance, so
    # that the random-effects model falls back to the simple one.
    found = a_not_a_by_assessor(rows((A_ONLY, 12), (OTHER_ONLY, 3), (BOTH, 5)))
    simple = a_not_a(17, 20, 8, 20)
    assert found.sd_criterion == pytest.approx(0, abs=1e-3)
    assert found.dprime == pytest.approx(simple.dprime, rel=1e-4)
    assert found.dprime_marginal == pytest.approx(simple.dprime, rel=1e-4)


MIXED = [[2, 3, 1, 3], [3, 3, 2, 3], [1, 3, 0, 3], [3, 3, 3, 3], [0, 3, 0, 3], [2, 3, 0, 3]] * 2


def test_order_of_assessors_does_not_matter_and_exchanged_products_turn_the_sign():
    other = [[f, m, h, n] for h, n, f, m in MIXED]
    one, two, turned = (a_not_a_by_assessor(rows) for rows in (MIXED, MIXED[::-1], other))
    assert two.dprime == pytest.approx(one.dprime, rel=1e-5)
    assert two.sd_criterion == pytest.approx(one.sd_criterion, rel=1e-4)
    assert turned.dprime == pytest.approx(-one.dprime, rel=1e-5)
    assert turned.limits.low == pytest.approx(-one.limits.high, rel=1e-4)


def test_marginal_dprime_lies_near_the_simple_one():
    # The marginal probit slope of a random-intercept model: divide by sqrt(1 + sd^2).
    rng, people, times, sd, d = np.random.default_rng(12), 400, 3, 1.0, 1.2
    centre = rng.normal(0, sd, people)
    h = rng.binomial(times, norm.cdf(centre + d / 2))
    f = rng.binomial(times, norm.cdf(centre - d / 2))
    full = np.full(people, times)
    found = a_not_a_by_assessor(np.stack([h, full, f, full], axis=1))
    simple = a_not_a(int(h.sum()), people * times, int(f.sum()), people * times)
    assert found.dprime_marginal == pytest.approx(simple.dprime, rel=0.03)
    assert found.dprime > 1.15 * simple.dprime


def test_perfect_assessors_have_no_finite_dprime():
    found = a_not_a_by_assessor(rows((A_ONLY, 12)))
    assert found.dprime == found.dprime_marginal == np.inf
    assert found.limits.high == np.inf
    assert np.isfinite(found.limits.low)


@pytest.mark.parametrize(
    "counts", [(10, 1, 20, 20), (8, 2, 5, 9), (30, 1, 60, 60), (3, 2, 9, 1)], ids=str
)
def test_three_parameters_explain_three_shares(counts):
    # One sample of each kind: the four patterns have three free shares, so that the top is
    # that of the shares themselves.
    patterns = (A_ONLY, OTHER_ONLY, BOTH, NEITHER)
    found = ClusteredYesNo(cells(rows(*zip(patterns, counts, strict=True))))
    shares = np.array(counts) / sum(counts)
    if counts[2] * counts[3] > counts[0] * counts[1]:  # else sd would have to be below 0
        assert found.fit()[3] == pytest.approx(np.array(counts) @ np.log(shares), abs=1e-5)
    assert found.infinite() is None


def cells(answers):
    h, n, f, m = np.array(answers, float).T
    return np.stack([h, n - h, f, m - f], axis=1)


@pytest.mark.parametrize(("sign", "times"), [(1, 1), (-1, 3)])
def test_criteria_without_bound_explain_who_never_contradicts_himself(sign, times):
    # 6 told them apart, 4 said A to all, 5 to none, nobody was the other way round: a
    # threshold for each and no noise gives each pattern its own share, the most there is.
    apart = A_ONLY if sign > 0 else OTHER_ONLY
    answers = np.array(rows((apart, 6), (BOTH, 4), (NEITHER, 5))) * times
    model = ClusteredYesNo(cells(answers))
    counts = np.array([6, 4, 5])
    assert model.infinite()[3] == pytest.approx(counts @ np.log(counts / 15), abs=1e-8)
    assert max(model.at(sign * s, -0.08 * s, s) for s in (1, 4, 16, 64)) < model.infinite()[3]
    found = a_not_a_by_assessor(answers)
    assert found.dprime == sign * np.inf
    assert found.sd_criterion == np.inf
    marginal = norm.ppf(10 / 15) - norm.ppf(4 / 15)
    assert found.dprime_marginal == pytest.approx(sign * marginal, abs=1e-4)
    near, far = (found.limits.low, found.limits.high)[::sign]
    assert far == sign * np.inf
    assert 0 < sign * near < 20
    assert found.p_likelihood_ratio < 0.05


def test_assessors_of_one_answer_each_say_nothing_about_the_products():
    found = a_not_a_by_assessor(rows((BOTH, 6), (NEITHER, 5)))
    assert (found.a_only, found.not_a_only, found.p_mcnemar) == (0, 0, 1.0)
    assert (found.dprime, found.dprime_marginal, found.sd_criterion) == (0, 0, np.inf)
    assert (found.limits.low, found.limits.high) == (-np.inf, np.inf)
    assert found.p_likelihood_ratio == 1
    found = a_not_a_by_assessor(rows((BOTH, 12)))
    assert found.dprime == 0
    assert (found.limits.low, found.limits.high) == (-np.inf, np.inf)


BALLOTS = pd.DataFrame(
    {
        "assessor": ["b", "a", "a", "b", "a", "c", "c", "b"],
        "sample": ["A", "A", "B", "B", "A", "A", "B", "B"],
        "answer": ["A", "A", "A", "not A", None, "not A", "not A", "A"],
    }
)


def test_counts_from_tidy_ballots():
    # a: one hit of one A (one left out), one alarm of one; b: 1 of 1, 1 of 2; c: 0, 0.
    assert a_not_a_counts(BALLOTS).tolist() == [[1, 1, 1, 1], [1, 1, 1, 2], [0, 1, 0, 1]]


@pytest.mark.parametrize(
    ("ballots", "message"),
    [
        *((BALLOTS.drop(columns=column), column) for column in BALLOTS),
        (BALLOTS.assign(sample="C"), "sample must be 'A' or 'B'; got 'C'"),
        (BALLOTS.assign(answer="yes"), "got 'yes'"),
    ],
)
def test_missing_columns_and_other_words_are_named(ballots, message):
    with pytest.raises(ArgumentError, match=message):
        a_not_a_counts(ballots)
