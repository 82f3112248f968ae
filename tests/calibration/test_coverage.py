"""Prints true levels of tests and coverage of 95 % intervals.

Where all outcomes can be enumerated, every number is exact up to the outcomes left out
(together less than 1e-6). Coverage of an interval for counts is saw-toothed in the truth:
the range from 93 % to 97 % is asked of the mean over a grid of truths in the interior, and
the lowest single value is printed beside it. Only what is called exact is asked to stay at
or below its level everywhere.
"""

from functools import cache
from itertools import combinations_with_replacement
from math import factorial, prod

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import beta, binom

from sensory.base.findings import Finding
from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.dprime import estimate_dprime
from sensory.choices.protocols import DUO_TRIO, PROTOCOLS, TRIANGLE
from sensory.choices.replicates import replicated_choice_test
from sensory.choices.same_different import same_different
from sensory.choices.sureness import sureness_test

LEVEL = 0.95
LOWEST, HIGHEST = 0.93, 0.97


def asked(coverages):
    assert LOWEST <= np.mean(coverages) <= HIGHEST


# d-prime of forced-choice tests: exact, by summing over every count.


@pytest.mark.parametrize(("method", "least"), [("exact", 0.95), ("mid-p", 0.91), ("profile", 0.8)])
def test_dprime_limits(method, least, show):
    """Limits from the exact test never hold d-prime less often than they say."""
    truths = np.arange(0, 4.0001, 0.02)
    lines = [f"d-prime from 0 to 4, 95 % limits, {method}: exact coverage",
             "protocol            n   lowest    mean"]  # fmt: skip
    for protocol in PROTOCOLS.values():
        pc = protocol.proportion_correct(truths)[:, None]
        for n in (8, 12, 16, 24, 36, 48, 66, 100, 200):
            counts = np.arange(n + 1)
            limits = estimate_dprime(protocol, counts, n, level=LEVEL, method=method).limits
            inside = (truths[:, None] >= limits.low - 1e-9) & (
                truths[:, None] <= limits.high + 1e-9
            )
            coverage = (binom.pmf(counts, n, pc) * inside).sum(1)
            lines.append(f"{protocol.name:16} {n:4}   {coverage.min():.4f}  {coverage.mean():.4f}")
            assert coverage.min() >= least - 1e-9
            assert coverage.mean() >= 0.945
    show(*lines)


# Two-by-two tables: exact, by summing over every table.


def tables(n, first, second, floor=1e-9):
    """Likely pairs of counts and their chances."""
    one, two = binom.pmf(range(n + 1), n, first), binom.pmf(range(n + 1), n, second)
    chances = np.outer(one, two)
    return [(a, b, chances[a, b]) for a, b in np.argwhere(chances > floor)]


def shares(seen, dprime):
    """Chance that the limits hold d-prime, and of p <= 0.05 by two tests."""
    inside = sum(m for m, t in seen if t.limits.low <= dprime <= t.limits.high)
    fisher = sum(m for m, t in seen if t.p_fisher <= 0.05)
    return inside, fisher, sum(m for m, t in seen if t.p_likelihood_ratio <= 0.05)


@cache
def yes_no(n, hits, alarms):
    return a_not_a(hits, n, alarms, n, level=LEVEL)


@cache
def pairs(n, same, different):
    return same_different(same, n, different, n, level=LEVEL)


def test_a_not_a(show):
    lines = ["A - not A, 5 %: exact coverage of the 95 % limits; share of p <= 0.05",
             "   n    d'  criterion  coverage   Fisher  likelihood ratio"]  # fmt: skip
    for n in (16, 30):
        covered = []
        for dprime in (0.0, 0.5, 1.0, 1.5):
            for criterion in (-0.5, 0.0, 0.4):
                seen = [
                    (chance, yes_no(n, int(a), int(b)))
                    for a, b, chance in tables(
                        n, ndtr(dprime / 2 - criterion), ndtr(-dprime / 2 - criterion)
                    )
                ]
                inside, fisher, ratio = shares(seen, dprime)
                lines.append(
                    f"{n:4}   {dprime:3}   {criterion:5}     {inside:.4f}    "
                    f"{fisher:.4f}   {ratio:.4f}"
                )
                covered.append(inside)
                if dprime == 0:
                    assert fisher <= 0.05
        asked(covered)
    show(*lines)


def test_same_different(show):
    lines = ["same-different, 5 %: exact coverage of the 95 % limits; share of p <= 0.05",
             "   n    d'   tau   coverage   Fisher  likelihood ratio"]  # fmt: skip
    root = np.sqrt(2)
    for n in (16, 30):
        interior = []
        for dprime in (0.0, 1.0, 1.5, 2.0, 2.5, 3.0):
            for tau in (0.8, 1.4, 2.0):
                same = 2 * ndtr(tau / root) - 1
                different = ndtr((tau - dprime) / root) - ndtr((-tau - dprime) / root)
                seen = [
                    (chance, pairs(n, int(a), int(b)))
                    for a, b, chance in tables(n, same, different)
                ]
                inside, fisher, ratio = shares(seen, dprime)
                lines.append(
                    f"{n:4}   {dprime:3}   {tau:3}    {inside:.4f}    {fisher:.4f}   {ratio:.4f}"
                )
                if dprime == 0:
                    assert fisher <= 0.05
                elif dprime >= 1.5:
                    interior.append(inside)
        asked(interior)
    show(*lines)


def test_mcnemar(show):
    """Level over all numbers of discordant assessors when both kinds are as likely."""
    rows = {"a": [1, 1, 0, 1], "b": [0, 1, 1, 1], "n": [0, 1, 0, 1]}
    lines = ["McNemar, one-sided 5 %: share of p <= 0.05 when both are as likely"]
    for discordant in (5, 9, 16):
        level = 0.0
        for k in range(discordant + 1):
            panel = [rows["a"]] * k + [rows["b"]] * (discordant - k) + [rows["n"]] * 2
            p = a_not_a_by_assessor(panel).p_mcnemar
            level += binom.pmf(k, discordant, 0.5) * (p <= 0.05)
        lines.append(f"  {discordant:3} discordant: {level:.4f}")
        assert level <= 0.05
    show(*lines)


# Replicates: exact, by summing over every panel as a multiset of single counts.


class Panels:
    """Every panel of `people` who answer `times` each, with its result."""

    def __init__(self, protocol, people, times):
        self.protocol, self.times = protocol, times
        self.tables, self.found = [], []
        for counts in combinations_with_replacement(range(times + 1), people):
            self.tables.append(np.bincount(counts, minlength=times + 1))
            self.found.append(replicated_choice_test(protocol, counts, times))
        self.ways = np.array(
            [factorial(people) / prod(factorial(int(k)) for k in t) for t in self.tables]
        )

    def chances(self, mean, spread):
        """Chance of every panel; spread 1 means that a share `mean` always notices."""
        guess, x = float(self.protocol.guess), np.arange(self.times + 1)
        if spread in (0, 1):
            shares = [(1.0, mean)] if spread == 0 else [(mean, 1.0), (1 - mean, 0.0)]
            one = sum(w * binom.pmf(x, self.times, guess + (1 - guess) * q) for w, q in shares)
        else:
            scale = 1 / spread - 1
            cut = (np.arange(4000) + 0.5) / 4000
            noticing = beta.ppf(cut, mean * scale, (1 - mean) * scale)
            one = binom.pmf(x, self.times, guess + (1 - guess) * noticing[:, None]).mean(0)
        return self.ways * np.exp(np.array(self.tables) @ np.log(np.maximum(one, 1e-300)))


@pytest.mark.parametrize(
    ("protocol", "people", "times"),
    [(TRIANGLE, 12, 3), (TRIANGLE, 8, 4), (DUO_TRIO, 20, 2)],
    ids=str,
)
def test_replicates(protocol, people, times, show):
    panels = Panels(protocol, people, times)
    low = np.array([f.pd_limits.low for f in panels.found])
    high = np.array([f.pd_limits.high for f in panels.found])
    upper = np.array([f.pd_upper for f in panels.found])
    lower = np.array([f.pd_lower for f in panels.found])
    beyond = np.array([f.finding is Finding.BEYOND_LIMIT for f in panels.found])
    significant = np.array([f.p_difference <= 0.05 for f in panels.found])
    uneven = np.array([f.p_overdispersion <= 0.05 for f in panels.found])
    similar = np.array(
        [f.finding in (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT) for f in panels.found]
    )
    lines = [f"{people} assessors x {times}, {protocol.name}: exact; limit pd 0.3, beta 0.05",
             "  pd  spread  coverage   pd_upper covers  found similar   p_over <= .05"
             "   pd_lower covers  found beyond"]  # fmt: skip
    interior = []
    for mean in (0.0, 0.15, 0.3, 0.5, 0.7):
        for spread in (0, 0.2, 0.5, 1):
            if mean == 0 and spread:
                continue
            chances = panels.chances(mean, spread)
            assert chances.sum() == pytest.approx(1, abs=1e-9)
            inside = chances[(low <= mean) & (mean <= high)].sum()
            covers, wrong = chances[upper >= mean].sum(), chances[similar].sum()
            lines.append(
                f"  {mean:4}  {spread:3}    {inside:.4f}     {covers:.4f}           {wrong:.4f}"
                f"          {chances[uneven].sum():.4f}"
                f"          {chances[lower <= mean].sum():.4f}"
                f"           {chances[beyond].sum():.4f}"
            )
            if mean == 0:
                assert chances[significant].sum() <= 0.05
            if mean == 0.3:
                assert wrong <= 0.05
                assert chances[beyond].sum() <= 0.05
            if 0.3 <= mean <= 0.7 and spread < 1:
                interior.append(inside)
    show(*lines, f"  mean coverage inside (pd 0.3 to 0.7): {np.mean(interior):.4f}")
    asked(interior)


# Sureness grades: simulated.

SESSIONS = 150


@pytest.mark.parametrize("dprime", [0.0, 1.0])
def test_sureness(dprime, show):
    rng, n = np.random.default_rng(2026), 40
    cuts = np.concatenate([[-np.inf], [-0.5, 0.3, 1.2], [np.inf]])
    reference, product = (np.diff(ndtr(cuts - move)) for move in (0.0, dprime))
    percept = ndtr(dprime / np.sqrt(2))
    ties = (reference * product).sum() / 2
    area = sum(product[j] * reference[:j].sum() for j in range(4)) + ties
    covered = r_covered = found = r_found = 0
    for _ in range(SESSIONS):
        table = [rng.multinomial(n, reference), rng.multinomial(n, product)]
        (one,) = sureness_test(table, level=LEVEL).products
        covered += one.limits.low <= dprime <= one.limits.high
        r_covered += one.r_limits.low <= area <= one.r_limits.high
        found += one.p_likelihood_ratio <= 0.05
        r_found += one.p_r_index <= 0.05
    lines = [
        f"sureness, 4 grades, {n} answers each, d' {dprime} (percepts {percept:.2f}), "
        f"{SESSIONS} sessions simulated",
        f"  coverage of d' {covered / SESSIONS:.3f}, of R {r_covered / SESSIONS:.3f}; "
        f"p <= 0.05: likelihood ratio {found / SESSIONS:.3f}, R-index {r_found / SESSIONS:.3f}",
    ]
    show(*lines)
    slack = 4.5 * np.sqrt(0.05 * 0.95 / SESSIONS)
    for count in (covered, r_covered):
        assert LOWEST - slack <= count / SESSIONS <= HIGHEST + slack
    if dprime == 0:
        for count in (found, r_found):
            assert 0.03 - slack <= count / SESSIONS <= 0.07 + slack
