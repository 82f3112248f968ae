"""Sequential plans: stopping counts in fractions, exact chances by another recursion."""

from fractions import Fraction
from functools import cache

import numpy as np
import pytest

from sensory.base.findings import Finding
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, TRIANGLE
from sensory.choices.sequential import sequential_plan

from .shared import every_protocol

SETTINGS = [
    ("0.05", "0.05", "0.3"),
    ("0.1", "0.1", "0.4"),
    ("0.05", "0.2", "0.5"),
    ("0.3", "0.01", "0.9"),
]


def rates(protocol, limit):
    return protocol.guess, protocol.guess + (1 - protocol.guess) * Fraction(limit)


@every_protocol
@pytest.mark.parametrize(("alpha", "beta", "limit"), SETTINGS)
def test_stopping_counts_in_fractions(protocol, alpha, beta, limit):
    null, far = rates(protocol, limit)
    upper = (1 - Fraction(beta)) / Fraction(alpha)
    lower = Fraction(beta) / (1 - Fraction(alpha))
    plan = sequential_plan(
        protocol, most=60, alpha=float(alpha), beta=float(beta), pd_limit=float(limit)
    )
    for n in range(1, 61):
        ratios = [(far / null) ** x * ((1 - far) / (1 - null)) ** (n - x) for x in range(n + 1)]
        similar = [x for x in range(n + 1) if ratios[x] <= lower]
        different = [x for x in range(n + 1) if ratios[x] >= upper]
        assert plan.similar_to[n - 1] == max(similar, default=-1)
        assert plan.different_from[n - 1] == min(different, default=n + 1)


def test_a_point_on_the_line_stops():
    # guess 1/3, limit 2/3: a right answer doubles the ratio, a wrong one halves it, and the
    # upper bound is (1 - 0.2) / 0.05 = 16 = 2^4.
    plan = sequential_plan(TRIANGLE, most=20, alpha=0.05, beta=0.2, pd_limit=0.5)
    assert plan.different_from[:6] == (2, 3, 4, 4, 5, 5)
    assert plan.decide([True] * 4) == (Finding.DIFFERENT, 4)
    assert plan.decide([True, False, True, True, True, True]) == (Finding.DIFFERENT, 6)
    # The lower one: beta / (1 - alpha) = 0.2 / 0.8 = 1/4 = 2^-2.
    plan = sequential_plan(TRIANGLE, most=20, alpha=0.2, beta=0.2, pd_limit=0.5)
    assert plan.similar_to[:4] == (-1, 0, 0, 1)
    assert plan.decide([False, False]) == (Finding.SIMILAR, 2)


@every_protocol
@pytest.mark.parametrize("pd", ["0", "0.3", "0.7"])
def test_outcomes_by_another_recursion(protocol, pd):
    """Backwards from the cap: chance of each end from every (ballots, correct)."""
    plan = sequential_plan(protocol, most=45, alpha=0.1, beta=0.05, pd_limit=0.35)
    p = float(protocol.guess + (1 - protocol.guess) * Fraction(pd))

    @cache
    def ends(n, x):
        """Different, similar, undecided and ballots still to come."""
        if n and x <= plan.similar_to[n - 1]:
            return np.array([0.0, 1.0, 0.0, 0.0])
        if n and x >= plan.different_from[n - 1]:
            return np.array([1.0, 0.0, 0.0, 0.0])
        if n == plan.most:
            return np.array([0.0, 0.0, 1.0, 0.0])
        onward = p * ends(n + 1, x + 1) + (1 - p) * ends(n + 1, x)
        return onward + np.array([0.0, 0.0, 0.0, 1.0])

    found = plan.outcomes(float(pd))
    ours = [found.different, found.similar, found.undecided, found.expected]
    np.testing.assert_allclose(ours, ends(0, 0), rtol=1e-10, atol=1e-14)
    assert sum(ours[:3]) == pytest.approx(1, abs=1e-12)


def test_outcomes_by_simulation():
    plan = sequential_plan(DUO_TRIO, most=80, alpha=0.1, beta=0.1, pd_limit=0.4)
    rng, sessions = np.random.default_rng(27), 40_000
    for pd in (0.0, 0.2, 0.4):
        right = (rng.random((sessions, 80)) < 0.5 + 0.5 * pd).cumsum(1)
        low, high = np.array(plan.similar_to), np.array(plan.different_from)
        stops = (right <= low) | (right >= high)
        last = np.where(stops.any(1), stops.argmax(1), 79)
        rows = np.arange(sessions)
        different = right[rows, last] >= high[last]
        similar = right[rows, last] <= low[last]
        found = plan.outcomes(pd)
        for share, exact in ((different.mean(), found.different), (similar.mean(), found.similar)):
            assert abs(share - exact) < 4.5 * np.sqrt(exact * (1 - exact) / sessions)
        served = last + 1
        assert abs(served.mean() - found.expected) < 4.5 * served.std() / np.sqrt(sessions)
    plan = sequential_plan(TETRAD, most=70, pd_limit=0.3)  # risks are outcomes at two truths
    assert plan.false_alarm == plan.outcomes(0.0).different
    assert plan.wrong_pass == plan.outcomes(0.3).similar


def test_true_risks_keep_walds_inequality():
    # Wald (1947), 3.2, from memory: true alpha at most alpha / (1 - beta), true beta at most
    # beta / (1 - alpha), and their sum at most alpha + beta; for the open test.
    for protocol in (TRIANGLE, PAIRED):
        for alpha, beta, limit in SETTINGS:
            a, b = float(alpha), float(beta)
            plan = sequential_plan(protocol, most=800, alpha=a, beta=b, pd_limit=float(limit))
            assert plan.outcomes(0.0).undecided < 1e-5
            assert plan.false_alarm <= a / (1 - b)
            assert plan.wrong_pass <= b / (1 - a)
            assert plan.false_alarm + plan.wrong_pass <= a + b + 1e-5


def test_decide_after_every_ballot():
    plan = sequential_plan(PAIRED, most=30, alpha=0.1, beta=0.1, pd_limit=0.5)
    rng = np.random.default_rng(8)
    for _ in range(300):
        answers = [bool(one) for one in rng.random(30) < rng.uniform(0.3, 1)]
        expected = (Finding.UNDECIDED, 30)
        for n in range(1, 31):
            right = sum(answers[:n])
            if right <= plan.similar_to[n - 1] or right >= plan.different_from[n - 1]:
                up = right >= plan.different_from[n - 1]
                expected = (Finding.DIFFERENT if up else Finding.SIMILAR, n)
                break
        for n in range(31):
            seen = plan.decide(answers[:n])
            assert seen == (expected if n >= expected[1] else (None, n))


def test_truncation_ends_undecided():
    plan = sequential_plan(TRIANGLE, most=3)
    assert plan.decide([True, False]) == (None, 2)
    assert plan.decide([True, False, True]) == (Finding.UNDECIDED, 3)
    assert plan.decide([True, False, True, True, True]) == (Finding.UNDECIDED, 3)
    assert plan.outcomes(0.3).undecided > 0
    assert plan.decide([]) == (None, 0)
    # a later cap keeps the earlier counts
    short, long = (sequential_plan(TRIANGLE, most=most) for most in (25, 90))
    assert long.similar_to[:25] == short.similar_to
    assert long.different_from[:25] == short.different_from


def test_table_holds_the_counts():
    plan = sequential_plan(TRIANGLE, most=40, pd_limit=0.4)
    for row, low, high in zip(
        plan.summary().records(), plan.similar_to, plan.different_from, strict=True
    ):
        assert row["SIMILAR up to"] == (None if low < 0 else low)
        assert row["DIFFERENT from"] == (None if high > row["ballots"] else high)
