"""Time of planning and of estimation against plain ways to do the same; prints, asserts no time.

Run with: python -m pytest -q --override-ini addopts= --import-mode=importlib tests/benchmarks
"""

from math import erfc, exp, pi, sqrt
from time import perf_counter

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize
from scipy.stats import betabinom, binom

from sensory.choices.protocols import DUO_TRIO, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.replicates import replicated_choice_test
from sensory.choices.size import panel_size
from sensory.choices.two_stage import two_stage_plan

from .shared import against, best_of, cpu_of

RISKS = (0.2, 0.1, 0.05, 0.01, 0.001)
PDS = (0.1, 0.2, 0.3, 0.4, 0.5)


def triangle_by_quad(d):
    """The textbook integral, by the quickest scalar functions there are."""
    shift = d * sqrt(1 / 3)  # d sqrt(2/3) / sqrt 2, the argument of erfc

    def rule(z):
        across = z * sqrt(1.5)
        return (erfc(across - shift) + erfc(across + shift)) * exp(-z * z / 2) / sqrt(2 * pi)

    return quad(rule, 0, 10, epsabs=1e-10)[0]


def dprime_by_root(pc):
    return brentq(lambda d: triangle_by_quad(d) - pc, 0, 10, xtol=1e-10)


def test_inverse_link(benchmark, capsys):
    pc = np.random.default_rng(1).uniform(0.34, 0.99, 100_000)
    ours = benchmark.pedantic(TRIANGLE.dprime, args=(pc,), rounds=5, warmup_rounds=1)
    sample = pc[:20]
    theirs = [dprime_by_root(one) for one in sample]
    np.testing.assert_allclose(ours[:20], theirs, rtol=0, atol=1e-7)
    each = benchmark.stats.stats.min / pc.size
    other = best_of(3, lambda: [dprime_by_root(one) for one in sample]) / sample.size
    with capsys.disabled():
        print(
            f"\ninverse link, 100,000 proportions: {1e6 * each:.2f} microseconds each; brentq "
            f"with quad {1e3 * other:.1f} milliseconds, ratio {other / each:.0f}"
        )


def plain_scan(protocol):
    """The first size of each of the 125 cells, one size after another."""
    guess, found = float(protocol.guess), []
    for alpha in RISKS:
        for beta in RISKS:
            for pd in PDS:
                pc, n = guess + (1 - guess) * pd, 1
                while binom.cdf(binom.isf(alpha, n, guess), n, pc) > beta:
                    n += 1
                found.append(n)
    return found


@pytest.mark.parametrize("rule", ["first", "stable"])
@pytest.mark.parametrize("protocol", [TRIANGLE, DUO_TRIO, TWO_OUT_OF_FIVE], ids=repr)
def test_125_sizes(benchmark, capsys, protocol, rule):
    risks = np.array(RISKS)

    def ours():
        return panel_size(
            protocol, alpha=risks[:, None, None], beta=risks[:, None], pd=PDS, rule=rule
        )

    found = benchmark.pedantic(ours, rounds=5, warmup_rounds=1)
    each = benchmark.stats.stats.min
    with capsys.disabled():
        print(f"\n{protocol.name}, {rule}, 125 sizes: {1e3 * each:.1f} milliseconds", end="")
        if rule == "first":
            start = perf_counter()
            plain = plain_scan(protocol)
            other = perf_counter() - start
            print(f"; plain scan {other:.1f} seconds, ratio {other / each:.0f}")
            # isf is off by one where a tail ties with alpha (guess 1/10): sizes of 1, 2 or 3.
            differing = found.assessors.ravel() != plain
            assert (found.assessors.ravel()[differing] <= 3).all()


def test_replicates(capsys):
    """1,000 panels of 20 x 3 at once; then 300 where no two panels answered alike."""
    rng = np.random.default_rng(2)
    correct = rng.binomial(3, 1 / 3 + 2 / 3 * rng.beta(0.6, 1.4, (1000, 20)))
    _, first = np.unique(np.sort(correct), axis=0, return_index=True)
    apart = correct[first[:300]]
    many = replicated_choice_test(TRIANGLE, correct, 3)
    assert np.mean(many.pd) == pytest.approx(0.3, abs=0.02)
    theirs = cpu_of(1, lambda: [by_search(row) for row in correct[:5]]) / 5
    for name, sessions in (("1,000 sessions", correct), ("300, no two alike", apart)):
        ours = cpu_of(3, replicated_choice_test, TRIANGLE, sessions, 3) / len(sessions)
        with capsys.disabled():
            print(against(f"replicates, {name}, each", ours, 0.002, "minimize, fit alone", theirs))


def by_search(row):
    """The maximum alone, by scipy's search from one place."""
    chance = np.bincount(row, minlength=4)

    def loss(at):
        scale = 1 / at[1] - 1
        noticed = betabinom.pmf(np.arange(4), 3, at[0] * scale, (1 - at[0]) * scale)
        mass = [noticed @ binom.pmf(x - np.arange(4), 3 - np.arange(4), 1 / 3) for x in range(4)]
        return -chance @ np.log(mass)

    return minimize(loss, [0.3, 0.3], method="Nelder-Mead", bounds=[(1e-6, 1 - 1e-6)] * 2)


@pytest.mark.parametrize("limit", [0.35, 0.4, 0.5])
def test_two_stage_search(benchmark, capsys, limit):
    plan = benchmark.pedantic(
        two_stage_plan, args=(TRIANGLE,), kwargs={"most": 60, "pd_limit": limit}, rounds=3
    )
    assert plan.false_alarm <= 0.05
    with capsys.disabled():
        print(
            f"\ntwo-stage search, most 60, limit {limit}: {benchmark.stats.stats.min:.2f} seconds"
        )
