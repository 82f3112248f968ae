"""Time for many sessions at once, as ratios to single calls; prints, asserts no time.

Run with: python -m pytest -q --override-ini addopts= --import-mode=importlib tests/benchmarks
"""

from dataclasses import fields
from time import perf_counter

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import betainc
from scipy.stats import binomtest

from sensory.choices.dprime import estimate_dprime
from sensory.choices.forced_choice import ChoiceTest, choice_test
from sensory.choices.protocols import TRIANGLE
from sensory.models.binomial import upper_tail

from .shared import against, cpu_of

SESSIONS = 100_000
SAMPLE = 500
GUESS = 1 / 3
AT_LIMIT = 8 / 15


def usual_sessions():
    """Sessions of 12 to 120 answers; most counts occur many times."""
    rng = np.random.default_rng(5)
    trials = rng.integers(12, 121, SESSIONS)
    return rng.binomial(trials, 0.45), trials


def distinct_sessions():
    """The first 100,000 pairs of counts, each once."""
    trials = np.repeat(np.arange(1, 447), np.arange(2, 448))
    correct = np.concatenate([np.arange(n + 1) for n in range(1, 447)])
    assert correct.size >= SESSIONS
    return correct[-SESSIONS:], trials[-SESSIONS:]


def p_value_only(x, n):
    return binomtest(x, n, GUESS, alternative="greater").pvalue


def both_tests_and_interval(x, n):
    difference = binomtest(x, n, GUESS, alternative="greater").pvalue
    similarity = binomtest(x, n, AT_LIMIT, alternative="less").pvalue
    limits = binomtest(x, n).proportion_ci(0.95, method="exact")
    return difference, similarity, limits


def seconds_each(function, correct, trials):
    """Mean seconds of a single call, the best of three rounds over a sample."""
    chosen = np.random.default_rng(6).choice(correct.size, SAMPLE, replace=False)
    pairs = [(int(correct[i]), int(trials[i])) for i in chosen]
    rounds = []
    for _ in range(3):
        start = perf_counter()
        for x, n in pairs:
            function(x, n)
        rounds.append((perf_counter() - start) / SAMPLE)
    return min(rounds)


LIMITED = ("p_difference", "p_similarity", "finding", "pd_limits")
EVERY = tuple(field.name for field in fields(ChoiceTest))


def read(names, correct, trials):
    """Columns are made when they are read."""
    test = choice_test(TRIANGLE, correct, trials)
    return [getattr(test, name) for name in names]


@pytest.mark.parametrize("sessions", [usual_sessions, distinct_sessions])
def test_choice_test_against_single_calls(benchmark, capsys, sessions):
    correct, trials = sessions()
    result = benchmark.pedantic(
        choice_test, args=(TRIANGLE, correct, trials), rounds=5, warmup_rounds=1
    )
    singles = {f.__name__: f for f in (p_value_only, both_tests_and_interval)}
    for x, n, p in list(zip(correct, trials, result.p_difference, strict=True))[:: SESSIONS // 50]:
        assert p == pytest.approx(p_value_only(int(x), int(n)), rel=1e-9)
    ours = {"tests and finding": (benchmark.stats.stats.min, 300)}
    ours["with limits read"] = (cpu_of(3, read, LIMITED, correct, trials), 0)
    ours["with every number read"] = (cpu_of(3, read, EVERY, correct, trials), 0)
    with capsys.disabled():
        for name, function in singles.items():
            theirs = seconds_each(function, correct, trials)
            print(f"\n{sessions.__name__}, {name}: {1e6 * theirs:.0f} microseconds a session")
            for what, (seconds, wanted) in ours.items():
                each = seconds / SESSIONS
                asked = f" (wanted {wanted})" if wanted and name == "p_value_only" else ""
                late = "  TOO SLOW" if asked and theirs / each < wanted else ""
                print(
                    f"  choice_test, {what}: {1e6 * each:.2f} microseconds, "
                    f"ratio {theirs / each:.0f}{asked}{late}"
                )


def test_upper_tail_against_the_bare_function(benchmark, capsys):
    correct, trials = usual_sessions()
    ours = benchmark.pedantic(upper_tail, args=(correct, trials, GUESS), rounds=10, warmup_rounds=1)
    x, above = np.maximum(correct, 1).astype(float), (trials - correct + 1).astype(float)
    rounds = []
    for _ in range(10):
        start = perf_counter()
        bare = betainc(x, above, GUESS)
        rounds.append(perf_counter() - start)
    np.testing.assert_array_equal(ours[correct > 0], bare[correct > 0])
    with capsys.disabled():
        print(f"\nupper_tail: {benchmark.stats.stats.min / min(rounds):.2f} times the bare betainc")


@pytest.mark.parametrize(("method", "wanted"), [("profile", 0.03), ("mid-p", 0.1)])
def test_limits_of_dprime(capsys, method, wanted):
    """Limits of 10,000 sessions; the anchor is scipy's root search, one limit after another."""
    correct, trials = (counts[:10_000] for counts in usual_sessions())
    limits = estimate_dprime(TRIANGLE, correct, trials, method=method).limits
    assert np.isfinite(limits.low).all()
    ours = cpu_of(3, lambda: estimate_dprime(TRIANGLE, correct, trials, method=method))

    def by_roots(x, n):
        def half_tail(p, count):
            return betainc(count, n - count + 1, p) + betainc(count + 1, n - count, p) - 0.05

        return [brentq(half_tail, 1e-9, 1 - 1e-9, args=(count,)) for count in (x, n - x)]

    some = [(int(x), int(n)) for x, n in zip(correct[:100], trials[:100], strict=True)]
    theirs = 100 * cpu_of(2, lambda: [by_roots(x, n) for x, n in some if 0 < x < n])
    with capsys.disabled():
        print(against(f"limits of d-prime, {method}", ours, wanted, "brentq of mid-p", theirs))
