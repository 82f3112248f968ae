"""Replicates: exact pooled test, similarity that respects assessors, what tasting again buys."""

from dataclasses import fields
from itertools import product
from math import comb

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import binom, binomtest, chi2, t

from sensory.base.findings import Finding
from sensory.choices.counts import critical_counts
from sensory.choices.protocols import DUO_TRIO, PROTOCOLS, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.replicate_gain import replicate_gain
from sensory.choices.replicates import replicated_choice_test
from sensory.models.beta_binomial import ReplicateLikelihood, tabulated

from .shared import PASSES

PANELS = [
    (TRIANGLE, [2, 1, 0, 3, 1, 1, 2, 0, 1, 1, 2, 0], 3),
    (DUO_TRIO, [4, 4, 0, 1, 4, 3, 4, 0, 2, 4, 1, 4], 4),
    (TWO_OUT_OF_FIVE, [0, 0, 1, 0, 2, 0, 0, 1, 0, 0], [2, 3, 2, 2, 2, 3, 2, 2, 4, 2]),
]


@pytest.mark.parametrize(("protocol", "correct", "replicates"), PANELS)
def test_pooled_difference_is_binomial(protocol, correct, replicates):
    found = replicated_choice_test(protocol, correct, replicates)
    given = int(np.broadcast_to(replicates, len(correct)).sum())
    exact = binomtest(sum(correct), given, float(protocol.guess), alternative="greater").pvalue
    assert (found.correct, found.trials, found.assessors) == (sum(correct), given, len(correct))
    assert found.p_difference == pytest.approx(exact, rel=1e-10)


def likelihood_of(protocol, correct, replicates):
    right = np.array(correct)
    given = np.broadcast_to(replicates, right.shape)
    return ReplicateLikelihood(guess=float(protocol.guess), tables=tabulated(right, given))


def highest(likelihood, mean):
    """Log-likelihood at a mean, maximised over the spread on a fine grid and by scipy."""
    grid = np.linspace(0, 1, 1001)
    values = likelihood.at(mean, grid)
    place = grid[int(np.argmax(values))]
    near = minimize_scalar(
        lambda s: -float(likelihood.at(mean, s)),
        bounds=(max(place - 0.002, 0), min(place + 0.002, 1)),
        options={"xatol": 1e-10},
    )
    return max(-near.fun, values.max())


@pytest.mark.parametrize(("protocol", "correct", "replicates"), PANELS)
@pytest.mark.parametrize("beta", [0.2, 0.05, 0.01])
def test_upper_limit_inverts_the_profile(protocol, correct, replicates, beta):
    found = replicated_choice_test(protocol, correct, replicates, beta=beta)
    likelihood = likelihood_of(protocol, correct, replicates)
    top = highest(likelihood, found.pd)
    quantile = t.ppf(1 - beta, len(correct) - 1)  # as the docstring says
    drop = top - highest(likelihood, found.pd_upper)
    assert drop == pytest.approx(quantile**2 / 2, abs=1e-4)
    assert found.pd < found.pd_upper < 1


@pytest.mark.parametrize(("protocol", "correct", "replicates"), PANELS)
def test_overdispersion_halves_the_chi_square(protocol, correct, replicates):
    found = replicated_choice_test(protocol, correct, replicates)
    likelihood = likelihood_of(protocol, correct, replicates)
    alike = minimize_scalar(
        lambda m: -float(likelihood.at(m, 0.0)), bounds=(0, 1), options={"xatol": 1e-10}
    )
    ratio = 2 * (highest(likelihood, found.pd) + min(alike.fun, -float(likelihood.at(0.0, 0.0))))
    expected = chi2.sf(ratio, 1) / 2 if ratio > 1e-7 else 1.0
    assert found.p_overdispersion == pytest.approx(expected, rel=1e-3)


def test_assessors_who_are_clearly_alike_and_clearly_not():
    alike = replicated_choice_test(DUO_TRIO, [3] * 12, 4)
    assert alike.spread == 0
    assert alike.p_overdispersion == 1
    apart = replicated_choice_test(DUO_TRIO, [6, 6, 6, 6, 6, 3, 3, 2, 4, 3, 3, 3], 6)
    assert apart.spread_limits.low > 0.5
    assert apart.p_overdispersion < 0.05


@pytest.mark.parametrize("people", [2, 5, 7, 8])
def test_similarity_is_not_concluded_below_eight_assessors(people):
    found = replicated_choice_test(DUO_TRIO, [9] * people, 20)
    assert (found.finding is Finding.SIMILAR) == (people == 8)
    assert (found.finding in PASSES) == (people == 8)
    assert ("fewer than 8" in (found.similarity_withheld or "")) == (people < 8)
    far = replicated_choice_test(DUO_TRIO, [20] * people, 20)
    assert far.finding is (Finding.BEYOND_LIMIT if people == 8 else Finding.DIFFERENT)


@pytest.mark.parametrize(("protocol", "correct", "replicates"), PANELS)
def test_finding_follows_from_its_parts(protocol, correct, replicates):
    for limit in (0.01, 0.05, 0.3, 0.6, 0.95):
        found = replicated_choice_test(protocol, correct, replicates, pd_limit=limit)
        critical = critical_counts(protocol, found.trials, 0.05)
        significant = critical is not None and found.correct >= critical
        shown = found.pd_upper <= limit
        expected = {
            (True, False): Finding.DIFFERENT,
            (False, True): Finding.SIMILAR,
            (True, True): Finding.DIFFERENT_WITHIN_LIMIT,
            (False, False): Finding.UNDECIDED,
        }[significant, shown]
        if significant and found.pd_lower > limit:
            expected = Finding.BEYOND_LIMIT
        assert found.finding is expected


@pytest.mark.parametrize(("protocol", "correct", "replicates"), PANELS)
def test_lower_limit_by_the_profile(protocol, correct, replicates):
    """Second route: scipy's t, and the profile maximised anew at the limit and at its top."""
    found = replicated_choice_test(protocol, correct, replicates)
    likelihood = likelihood_of(protocol, correct, replicates)
    if found.pd_lower == 0:
        assert (
            highest(likelihood, 0.0) >= likelihood.best[2] - t.ppf(0.95, len(correct) - 1) ** 2 / 2
        )
        return
    drop = likelihood.best[2] - highest(likelihood, found.pd_lower)
    assert drop == pytest.approx(t.ppf(0.95, len(correct) - 1) ** 2 / 2, abs=2e-4)


def test_order_of_assessors_does_not_matter():
    correct, given = np.array([0, 1, 2, 3, 3, 1, 0, 2, 1]), np.array([2, 3, 4, 3, 3, 2, 2, 2, 4])
    order = np.random.default_rng(3).permutation(9)
    one = replicated_choice_test(TRIANGLE, correct, given)
    two = replicated_choice_test(TRIANGLE, correct[order], given[order])
    assert one.summary() == two.summary()


def test_many_sessions_at_once_are_those_taken_one_by_one():
    """The second route is a call for each; answers of one to four, equal sessions, the ends."""
    rng = np.random.default_rng(8)
    given = rng.integers(1, 5, (2, 4, 9))
    given[..., 0] = 4
    correct = rng.binomial(given, 0.55)
    correct[0, 1], correct[1, 1], correct[1, 2] = given[0, 1], 0, given[1, 2]
    given[1, 3], correct[1, 3] = given[0, 0][::-1], correct[0, 0][::-1]
    many = replicated_choice_test(TRIANGLE, correct, given, pd_limit=0.6)
    assert repr(many) == "<ReplicatedTest triangle, 8 sessions>"
    assert many.assessors == 9
    alone = [
        replicated_choice_test(TRIANGLE, *session, pd_limit=0.6)
        for session in zip(correct.reshape(8, 9), given.reshape(8, 9), strict=True)
    ]
    assert len({session.finding for session in alone}) >= 3
    for field in fields(many):
        ours, theirs = (getattr(many, field.name), [getattr(t, field.name) for t in alone])
        for end in ("low", "high") if field.name.endswith("_limits") else ("",):
            whole = getattr(ours, end) if end else ours
            singles = [getattr(part, end) if end else part for part in theirs]
            if np.ndim(whole) and field.name != "finding":
                np.testing.assert_allclose(whole.ravel(), singles, rtol=1e-12, atol=1e-12)
            else:
                assert (np.ravel(whole) == singles).all()
    assert many.pd.shape == many.finding.shape == (2, 4)


def test_everybody_always_right_and_never_right():
    right = replicated_choice_test(TRIANGLE, [3] * 10, 3)
    assert (right.pd, right.pd_limits.high, right.pd_upper) == (1, 1, 1)
    assert right.finding is Finding.BEYOND_LIMIT
    wrong = replicated_choice_test(TRIANGLE, [0] * 10, 3)
    assert (wrong.pd, wrong.pd_limits.low) == (0, 0)
    assert wrong.finding is Finding.UNDECIDED  # so few come from guessing once in 190,000
    assert wrong.pd_upper < 0.3


@pytest.mark.parametrize(
    ("correct", "low"),
    [([4] * 10, 0.0), ([0] * 10, 0.0), ([4] * 5 + [0] * 5, 0.3), ([4] * 3 + [1] * 9, 0.0)],
    ids=str,
)
def test_spread_that_nothing_fixes_is_not_estimated(correct, low):
    """Its limits are those of the profile, up to 1, and never the end of a search."""
    found = replicated_choice_test(TRIANGLE, correct, 4)
    likelihood = likelihood_of(TRIANGLE, correct, 4)
    values = [highest_mean(likelihood, spread) for spread in np.linspace(0, 1, 41)]
    assert max(values) <= highest_mean(likelihood, 1.0) + 1e-7  # nothing below 1 fits better
    assert np.isnan(found.spread)
    assert "cannot be estimated" in found.spread_unknown
    assert found.spread_limits.high == 1
    assert found.spread_limits.low >= low
    if found.spread_limits.low:
        drop = max(values) - highest_mean(likelihood, found.spread_limits.low)
        assert drop == pytest.approx(chi2.ppf(0.95, 1) / 2, abs=1e-4)
    spread = {row[0]: row[1] for row in found.summary().rows}["spread between assessors"]
    assert spread is None


def highest_mean(likelihood, spread):
    grid = np.linspace(0, 1, 1001)
    values = likelihood.at(grid, spread)
    place = grid[int(np.argmax(values))]
    near = minimize_scalar(
        lambda m: -float(likelihood.at(m, spread)),
        bounds=(max(place - 0.002, 0), min(place + 0.002, 1)),
        options={"xatol": 1e-10},
    )
    return max(-near.fun, values.max())


def test_spread_that_answers_fix_is_estimated():
    found = replicated_choice_test(DUO_TRIO, [6, 6, 6, 6, 6, 3, 3, 2, 4, 3, 3, 5], 6)
    assert 0 < found.spread < 1
    assert found.spread_unknown is None


def sum_of_people(people, times, guess, pd, spread):
    """Distribution of the total by running through every combination of single counts."""
    scale = 1 / spread - 1
    one = np.zeros(times + 1)
    for answers in product((0, 1), repeat=times):
        # noticed answers j, guessed right, missed: expectations of pi^j (1 - pi)^k by products
        right = sum(answers)
        for j in range(right + 1):
            noticed = comb(right, j)
            weight = guess ** (right - j) * (1 - guess) ** (times - right)
            moment = 1.0
            for i in range(j):
                moment *= (pd * scale + i) / (scale + i)
            for i in range(times - j):
                moment *= ((1 - pd) * scale + i) / (scale + j + i)
            one[right] += noticed * weight * moment
    total = np.zeros(people * times + 1)
    for counts in product(range(times + 1), repeat=people):
        total[sum(counts)] += np.prod(one[list(counts)])
    return total


@pytest.mark.parametrize("protocol", [TRIANGLE, DUO_TRIO], ids=repr)
@pytest.mark.parametrize(("pd", "spread"), [(0.4, 0.3), (0.7, 0.8)])
def test_gain_by_enumeration(protocol, pd, spread):
    people, times = 5, 3
    total = sum_of_people(people, times, float(protocol.guess), pd, spread)
    assert total.sum() == pytest.approx(1, abs=1e-10)
    gain = replicate_gain(
        protocol, assessors=people, replicates=times, pd=pd, spread=spread, alpha=0.1
    )
    pc = float(protocol.guess) * (1 - pd) + pd
    critical = critical_counts(protocol, people * times, 0.1)
    assert gain.power == pytest.approx(total[critical:].sum(), rel=1e-9)
    assert gain.power_people == pytest.approx(binom.sf(critical - 1, people * times, pc), rel=1e-9)
    once = critical_counts(protocol, people, 0.1)
    assert gain.power_once == pytest.approx(binom.sf(once - 1, people, pc), rel=1e-9)


def test_gain_by_simulation():
    people, times, pd, spread, sessions = 12, 4, 0.3, 0.5, 400_000
    rng, scale = np.random.default_rng(41), 1 / 0.5 - 1
    noticing = rng.beta(pd * scale, (1 - pd) * scale, (sessions, people))
    correct = rng.binomial(times, 1 / 3 + 2 / 3 * noticing).sum(1)
    gain = replicate_gain(TRIANGLE, assessors=people, replicates=times, pd=pd, spread=spread)
    share = (correct >= critical_counts(TRIANGLE, people * times, 0.05)).mean()
    assert abs(share - gain.power) < 4.5 * np.sqrt(share * (1 - share) / sessions)
    # Equivalent people: the variance of a single answer over that of the mean of all.
    pc = 1 / 3 + 2 / 3 * pd
    variance = (correct / (people * times)).var()
    assert gain.equivalent_assessors == pytest.approx(pc * (1 - pc) / variance, rel=0.01)


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_gain_of_assessors_who_are_alike(protocol):
    gain = replicate_gain(protocol, assessors=10, replicates=3, pd=0.4, spread=0.0)
    assert gain.power == pytest.approx(gain.power_people, rel=1e-9)
    assert gain.equivalent_assessors == pytest.approx(30)


@pytest.mark.parametrize("spread", [0.2, 0.6, 0.95])
def test_replicates_never_count_as_more_people(spread):
    gain = replicate_gain(TRIANGLE, assessors=10, replicates=3, pd=0.4, spread=spread)
    assert 10 < gain.equivalent_assessors < 30
    whole = replicate_gain(TRIANGLE, assessors=12, replicates=2, pd=1.0, spread=spread)
    assert 0 <= whole.power <= 1
