"""Exact limits of a distance: against every table ordered by hand, and their coverage."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import beta, binom

from sensory.models import signal
from sensory.models.two_rates import SAME_DIFFERENT, YES_NO, exact_limits

MODELS = {"yes-no": YES_NO, "same-different": SAME_DIFFERENT}


def profile(name, table, answers, level=0.95):
    (a, b), (n, m) = table, answers
    if name == "yes-no":
        best = 0.0 if a / n == b / m else float(ndtri(a / n) - ndtri(b / m))
        values = signal.yes_no_profile(a, n - a, b, m - b)
        return signal.profile_limits(values, best, level, -signal.FAR, signal.FAR)
    pooled = (a + b) / (n + m)
    shares = (a / n, b / m) if a * m > b * n else (pooled, pooled)
    values = signal.same_different_profile(a, n - a, b, m - b)
    best = signal.same_different_estimate(*shares)[1]
    return signal.profile_limits(values, best, level, 0.0, signal.FAR)


def of_all(name, answers, *, mid=False):
    """Limits of every table, shape (2, first, second)."""
    n, m = answers
    limits = np.empty((2, n + 1, m + 1))
    for table in np.ndindex(n + 1, m + 1):
        start = profile(name, table, answers)
        limits[:, *table] = exact_limits(MODELS[name], table, answers, 0.95, start, mid=mid)
    return limits


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("answers", [(7, 7), (4, 9)], ids=str)
def test_coverage_over_every_table(name, answers):
    """The distance is held in 95 % of sessions at least, wherever people draw the line."""
    low, high = of_all(name, answers)
    lines = np.linspace(-3, 4, 71)
    for dprime in np.arange(0.0, 4.01, 0.25):
        yes, _, other, _ = MODELS[name].at(lines, dprime)
        first = binom.pmf(np.arange(answers[0] + 1), answers[0], yes[:, None])
        second = binom.pmf(np.arange(answers[1] + 1), answers[1], other[:, None])
        inside = (low <= dprime + 1e-6) & (dprime - 1e-6 <= high)
        assert np.einsum("la,lb,ab->l", first, second, inside.astype(float)).min() >= 0.95


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("table", [(6, 2), (7, 1), (5, 4), (7, 0)], ids=str)
def test_lower_limit_by_tables_in_the_order_of_their_profile_limits(name, table):
    """Second route: order all tables by the profile limits themselves, add up their chances."""
    answers, tail = (7, 6), 0.025
    order = np.array([[profile(name, (a, b), answers)[0] for b in range(7)] for a in range(8)])
    beyond = order >= order[table] - 1e-6
    doubt = tail / 25
    (low, high), (other_low, other_high) = (
        (
            beta.ppf(doubt / 4, count, of - count + 1) if count else 0.0,
            beta.ppf(1 - doubt / 4, count + 1, of - count) if count < of else 1.0,
        )
        for count, of in zip(table, answers, strict=True)
    )

    def largest(dprime):
        lines = np.linspace(-5, 5 + dprime, 20_001)
        yes, _, other, _ = MODELS[name].at(lines, dprime)
        kept = (yes >= low) & (yes <= high)
        if name == "yes-no":
            kept &= (other >= other_low) & (other <= other_high)
        first = binom.pmf(np.arange(8), 7, yes[kept, None])
        second = binom.pmf(np.arange(7), 6, other[kept, None])
        return np.einsum("la,lb,ab->l", first, second, beyond.astype(float)).max()

    ours = exact_limits(MODELS[name], table, answers, 0.95, profile(name, table, answers))[0]
    if ours == MODELS[name].least:
        assert largest(0.0) >= tail - doubt
    else:
        expected = brentq(lambda d: largest(d) - (tail - doubt), ours - 0.2, ours + 0.2)
        assert ours == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("table", [(9, 2), (12, 0), (3, 3), (0, 12)], ids=str)
def test_exchanged_kinds_turn_the_sign(table):
    one = exact_limits(YES_NO, table, (12, 12), 0.95, profile("yes-no", table, (12, 12)))
    back = table[::-1]
    two = exact_limits(YES_NO, back, (12, 12), 0.95, profile("yes-no", back, (12, 12)))
    assert one == pytest.approx((-two[1], -two[0]), abs=1e-5)


@pytest.mark.parametrize("name", MODELS)
def test_half_the_table_seen_makes_limits_shorter(name):
    for table in ((9, 2), (7, 5), (12, 3)):
        start = profile(name, table, (12, 12))
        low, high = exact_limits(MODELS[name], table, (12, 12), 0.95, start)
        mid = exact_limits(MODELS[name], table, (12, 12), 0.95, start, mid=True)
        assert low <= mid[0]
        assert mid[1] <= high


def test_answers_the_wrong_way_round_leave_no_distance():
    assert exact_limits(SAME_DIFFERENT, (2, 9), (12, 12), 0.95, (0.0, 1.1345)) == (0.0, 0.0)
