"""Graded answers of people who answer more than once: other engines, integrals, standard errors."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm

from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.dprime import estimate_dprime
from sensory.choices.protocols import PAIRED
from sensory.choices.same_different import same_different
from sensory.choices.sureness import sureness_test
from sensory.choices.sureness_by_assessor import sureness_by_assessor
from sensory.models.graded import GradedByAssessor
from sensory.models.signal import same_different_estimate


def panel(seed, people=14, times=3, shifts=(0.0, 1.2), sd=0.8, cuts=(-0.5, 0.3, 1.2), scatter=1.0):
    rng = np.random.default_rng(seed)
    answers = np.zeros((people, len(shifts), len(cuts) + 1), int)
    for person in range(people):
        move = rng.normal(0, sd)
        for k, shift in enumerate(shifts):
            percepts = rng.normal(shift + move, scatter if k else 1.0, times)
            np.add.at(answers[person, k], np.searchsorted(cuts, percepts), 1)
    return answers


@pytest.mark.parametrize(("sd", "times"), [(0.5, 1), (1.5, 3), (3.0, 12)])
def test_likelihood_by_integration(sd, times):
    """Second route: each assessor's move integrated by scipy on a line."""
    answers = panel(3, people=5, times=times, sd=sd)
    model = GradedByAssessor(answers.astype(float), moves=True, unequal=True)
    place = np.array([-0.4, np.log(0.7), np.log(0.9), 1.3, np.log(1.4), sd])
    cuts, scatter = np.array([-np.inf, -0.4, 0.3, 1.2, np.inf]), (1.0, 1.4)

    def chance(move, own):
        logs = norm.logpdf(move, scale=sd)
        for k, shift in enumerate((0.0, 1.3)):
            mass = np.diff(norm.cdf((cuts - shift - move) / scatter[k]))
            logs += (own[k] * np.log(np.maximum(mass, 1e-300)))[own[k] > 0].sum()
        return np.exp(logs)

    exact = 0.0
    for own in answers:
        grid = np.linspace(-5 * sd, 5 * sd, 801)
        top = grid[np.argmax([chance(move, own) for move in grid])]
        whole = sum(
            quad(chance, low, high, args=(own,), epsabs=0, limit=200)[0]
            for low, high in ((-7 * sd, top), (top, 7 * sd))
        )
        exact += np.log(whole)
    assert model.at(place)[0] == pytest.approx(exact, abs=1e-5)
    step = 1e-5 * np.eye(place.size)
    slopes = [(model.at(place + by)[0] - model.at(place - by)[0]) / 2e-5 for by in step]
    np.testing.assert_allclose(model.at(place)[1], slopes, atol=2e-4)


def test_two_grades_are_yes_and_no_by_assessor():
    """Second route: the yes-no engine, which integrates by its own rule."""
    answers = panel(7, cuts=(0.4,))
    found = sureness_by_assessor(answers)
    table = np.stack(
        [answers[:, 1, 1], answers[:, 1].sum(1), answers[:, 0, 1], answers[:, 0].sum(1)], axis=1
    )
    simple = a_not_a_by_assessor(table)
    (one,) = found.products
    assert one.dprime == pytest.approx(simple.dprime, rel=1e-4)
    assert one.dprime_marginal == pytest.approx(simple.dprime_marginal, rel=1e-4)
    assert found.sd_assessor == pytest.approx(simple.sd_criterion, rel=1e-3)
    assert (one.se, one.se_marginal) == pytest.approx((simple.se, simple.se_marginal), rel=1e-3)
    assert (one.limits.low, one.limits.high) == pytest.approx(
        (simple.limits.low, simple.limits.high), rel=1e-3
    )
    assert one.p_likelihood_ratio == pytest.approx(simple.p_likelihood_ratio, rel=1e-3)


def test_one_answer_each_is_the_pooled_model():
    table = [[18, 9, 3], [11, 12, 7], [2, 9, 19]]
    answers = [
        [[int(k == row and j == grade) for j in range(3)] for k in range(3)]
        for row in range(3)
        for grade in range(3)
        for _ in range(table[row][grade])
    ]
    found, pooled = sureness_by_assessor(answers), sureness_test(table)
    assert found.sd_assessor == 0
    for one, own in zip(found.products, pooled.products, strict=True):
        assert one.dprime == one.dprime_marginal == pytest.approx(own.dprime, abs=1e-5)
        assert one.se == pytest.approx(own.se, rel=1e-4)


def test_marginal_dprime_is_the_smaller_one_and_near_the_pooled():
    answers = panel(11, people=150, times=3, sd=1.0)
    found = sureness_by_assessor(answers)
    (one,) = found.products
    pooled = sureness_test(answers.sum(axis=0)).products[0].dprime
    assert one.dprime_marginal == pytest.approx(pooled, rel=0.03)
    assert one.dprime == pytest.approx(one.dprime_marginal * np.hypot(1, found.sd_assessor))
    assert abs(one.dprime - 1.2) < 3 * one.se
    assert abs(found.sd_assessor - 1.0) < 0.3


def test_unequal_spreads_are_found_and_fit_better():
    answers = panel(5, people=60, times=3, sd=0.6, scatter=2.0)
    equal, unequal = (sureness_by_assessor(answers, unequal=wide) for wide in (False, True))
    assert equal.products[0].sd == 1
    assert 1.5 < unequal.products[0].sd < 2.7
    models = [
        GradedByAssessor(answers.astype(float), moves=True, unequal=wide) for wide in (False, True)
    ]
    ratio = 2 * np.subtract(*[model.at(model.fit())[0] for model in models[::-1]])
    assert chi2.sf(ratio, 1) < 1e-3


def test_separated_grades_have_no_finite_dprime():
    (one,) = sureness_by_assessor(
        [[[2, 0, 0], [0, 0, 1]], [[1, 0, 0], [0, 0, 2]], [[1, 1, 0], [0, 0, 2]]] * 3
    ).products
    assert one.dprime == one.limits.high == one.se == np.inf
    assert 1 < one.limits.low < 6


def test_order_of_assessors_does_not_matter():
    answers = panel(2, people=8)
    one, two = (sureness_by_assessor(rows).products[0] for rows in (answers, answers[::-1]))
    assert (two.dprime, two.se) == pytest.approx((one.dprime, one.se), rel=1e-6)


# Standard errors of the tests with one answer each.


@pytest.mark.parametrize("counts", [(28, 40, 12, 40), (90, 120, 40, 100)])
def test_standard_error_of_same_different_by_the_delta_method(counts):
    """Second route: slopes of the estimate in both shares by small steps."""
    a, n, b, m = counts
    found, step = same_different(*counts, method="profile"), 1e-6
    shares = np.array([a / n, b / m])
    slopes = [
        (
            same_different_estimate(*(shares + step * by))[1]
            - same_different_estimate(*(shares - step * by))[1]
        )
        / (2 * step)
        for by in np.eye(2)
    ]
    variance = np.dot(np.square(slopes), shares * (1 - shares) / [n, m])
    assert found.se == pytest.approx(np.sqrt(variance), rel=1e-5)


def test_standard_error_of_grades_is_that_of_yes_and_no():
    simple = a_not_a(32, 40, 14, 40)
    (one,) = sureness_test([[26, 14], [8, 32]]).products
    assert one.se == pytest.approx(simple.se, rel=1e-5)


def test_standard_errors_that_do_not_exist_are_infinite():
    assert same_different(12, 40, 28, 40).se == same_different(40, 40, 2, 40).se == np.inf
    assert sureness_test([[20, 0], [0, 20]]).products[0].se == np.inf
    assert a_not_a_by_assessor([[1, 1, 0, 1]] * 9).se == np.inf


def test_a_signed_dprime_turns_with_the_samples():
    for method in ("exact", "mid-p", "profile"):
        one, two = (estimate_dprime(PAIRED, x, 24, signed=True, method=method) for x in (7, 17))
        assert one.estimate == pytest.approx(-two.estimate)
        assert one.se == pytest.approx(two.se)
        assert one.limits.low == pytest.approx(-two.limits.high)
        assert one.limits_at(0.5).low == pytest.approx(-two.limits_at(0.5).high)
    # sqrt 2 times the probit of 17 / 24
    assert two.estimate == pytest.approx(np.sqrt(2) * norm.ppf(17 / 24), rel=1e-9)
    middle = estimate_dprime(PAIRED, 12, 24, signed=True)
    assert middle.estimate == 0
    assert middle.se == pytest.approx(np.sqrt(0.25 / 24) / (norm.pdf(0) / np.sqrt(2)), rel=1e-6)
    assert estimate_dprime(PAIRED, 7, 24).estimate == 0
