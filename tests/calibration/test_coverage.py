"""Prints true levels of tests and coverage of 95 % intervals.

Where all outcomes can be enumerated, every number is exact up to the outcomes left out
(together less than 1e-6). Coverage of an interval for counts is saw-toothed in the truth:
the range from 93 % to 97 % is asked of the mean over a grid of truths in the interior, and
the lowest single value is printed beside it. Only what is called exact is asked to stay at
or below its level everywhere.
"""

from itertools import combinations, combinations_with_replacement, product
from math import factorial, prod

import numpy as np
import pytest
from scipy.special import gammaln, ndtr
from scipy.stats import beta, binom, chi2, t

from sensory.base.findings import Finding
from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.dprime import estimate_dprime
from sensory.choices.protocols import DUO_TRIO, PROTOCOLS, TRIANGLE
from sensory.choices.replicates import replicated_choice_test
from sensory.choices.same_different import same_different
from sensory.choices.sureness import sureness_test
from sensory.models.area import area_limits
from sensory.models.graded import GradedByAssessor
from sensory.models.two_rates import SAME_DIFFERENT, YES_NO

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

RATES = {a_not_a: YES_NO, same_different: SAME_DIFFERENT}
LINES = {a_not_a: np.linspace(-1.5, 1.5, 31), same_different: np.linspace(-1.5, 2.5, 41)}


@pytest.mark.parametrize("answers", [(8, 8), (12, 12), (24, 24), (10, 30)], ids=str)
@pytest.mark.parametrize(
    ("test", "method", "least"),
    [(a_not_a, "exact", 0.95), (a_not_a, "mid-p", 0.92), (a_not_a, "profile", 0.8),
     (same_different, "exact", 0.95), (same_different, "mid-p", 0.92),
     (same_different, "profile", 0.8)],
)  # fmt: skip
def test_two_by_two(test, method, least, answers, show):
    """Limits from the exact test hold d-prime at least as often as they say, wherever the line.

    Where people draw the line: A - not A criteria from -1.5 to 1.5, same-different shares
    'same' of same pairs whose probit lies between -1.5 and 2.5.
    """
    n, m = answers
    low, high = np.empty((2, n + 1, m + 1))
    for a, b in np.ndindex(n + 1, m + 1):
        limits = test(a, n, b, m, level=LEVEL, method=method).limits
        low[a, b], high[a, b] = limits.low, limits.high
    lowest, mean = [], []
    for dprime in np.arange(0.0, 4.01, 0.1):
        yes, _, other, _ = RATES[test].at(LINES[test], dprime)
        first = binom.pmf(np.arange(n + 1), n, yes[:, None])
        second = binom.pmf(np.arange(m + 1), m, other[:, None])
        inside = (low <= dprime + 1e-6) & (dprime - 1e-6 <= high)
        coverage = np.einsum("la,lb,ab->l", first, second, inside.astype(float))
        lowest.append(coverage.min())
        mean.append(coverage.mean())
    show(
        f"{test.__name__} {n} + {m}, {method}: d-prime from 0 to 4, exact coverage of 95 % limits",
        f"  lowest {min(lowest):.4f} at d' {np.argmin(lowest) / 10:.1f}; "
        f"mean over the lines {min(mean):.4f} to {max(mean):.4f}",
    )
    assert min(lowest) >= least
    assert np.mean(mean) >= 0.95


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
        counts = np.array(list(combinations_with_replacement(range(times + 1), people)))
        self.tables = [np.bincount(row, minlength=times + 1) for row in counts]
        self.found = replicated_choice_test(protocol, counts, times)
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
    [(TRIANGLE, 12, 3), (TRIANGLE, 8, 4), (DUO_TRIO, 20, 2), (DUO_TRIO, 16, 3)],
    ids=str,
)
def test_replicates(protocol, people, times, show):
    """Of pd, of the spread between people, and the risks of both findings at the limit."""
    panels = Panels(protocol, people, times)
    found = panels.found
    low, high = found.pd_limits.low, found.pd_limits.high
    least, most = found.spread_limits.low, found.spread_limits.high
    upper, lower = found.pd_upper, found.pd_lower
    beyond = found.finding == Finding.BEYOND_LIMIT
    significant, uneven = found.p_difference <= 0.05, found.p_overdispersion <= 0.05
    similar = np.isin(found.finding.astype(str), ["SIMILAR", "DIFFERENT_WITHIN_LIMIT"])
    lines = [f"{people} assessors x {times}, {protocol.name}: exact; limit pd 0.3, beta 0.05",
             "  pd  spread  coverage   pd_upper covers  found similar   p_over <= .05"
             "  of the spread  pd_lower covers  found beyond"]  # fmt: skip
    interior = []
    for mean in (0.0, 0.05, 0.15, 0.3, 0.5, 0.7, 0.9):
        for spread in (0, 0.2, 0.5, 0.75, 1):
            if mean == 0 and spread:
                continue
            chances = panels.chances(mean, spread)
            assert chances.sum() == pytest.approx(1, abs=1e-9)
            inside = chances[(low <= mean) & (mean <= high)].sum()
            spread_inside = chances[(least <= spread) & (spread <= most)].sum()
            covers, wrong = chances[upper >= mean].sum(), chances[similar].sum()
            lines.append(
                f"  {mean:4}  {spread:3}    {inside:.4f}     {covers:.4f}           {wrong:.4f}"
                f"          {chances[uneven].sum():.4f}        {spread_inside:.4f}"
                f"          {chances[lower <= mean].sum():.4f}"
                f"           {chances[beyond].sum():.4f}"
            )
            if mean == 0:
                assert chances[significant].sum() <= 0.05
            if mean > 0:
                assert spread_inside >= 0.94
            if mean == 0.3:
                assert wrong <= 0.05
                assert chances[beyond].sum() <= (0.05 if spread <= 0.5 else 0.08)
            if 0.3 <= mean <= 0.7 and spread < 1:
                interior.append(inside)
    show(*lines, f"  mean coverage inside (pd 0.3 to 0.7): {np.mean(interior):.4f}")
    asked(interior)


# Sureness grades: simulated.

SESSIONS = 300
CUTS = {4: [-0.5, 0.3, 1.2], 3: [0.0, 1.0]}


@pytest.mark.parametrize("answers", [8, 12, 24])
@pytest.mark.parametrize("grades", CUTS)
def test_sureness(grades, answers, show):
    rng = np.random.default_rng(2026)
    cuts = np.concatenate([[-np.inf], CUTS[grades], [np.inf]])
    lines = [f"sureness, {grades} grades, {answers} answers each, {SESSIONS} sessions",
             "  d'   student  profile   p <= 0.05: ratio, R-index"]  # fmt: skip
    slack = 4 * np.sqrt(0.05 * 0.95 / SESSIONS)
    for dprime in (0.0, 1.0, 2.0):
        rates = [np.diff(ndtr(cuts - move)) for move in (0.0, dprime)]
        counted = np.zeros(4)
        for _ in range(SESSIONS):
            table = [rng.multinomial(answers, share) for share in rates]
            if (np.sum(table, axis=0) > 0).sum() < 2:  # one grade only: refused
                counted[:2] += 1
                continue
            wide, near = (
                sureness_test(table, level=LEVEL, method=method).products[0]
                for method in ("student", "profile")
            )
            counted += [
                wide.limits.low <= dprime <= wide.limits.high,
                near.limits.low <= dprime <= near.limits.high,
                wide.p_likelihood_ratio <= 0.05,
                wide.p_r_index <= 0.05,
            ]
        shares = counted / SESSIONS
        lines.append(
            f"  {dprime}   {shares[0]:.3f}    {shares[1]:.3f}     {shares[2]:.3f}  {shares[3]:.3f}"
        )
        assert shares[0] >= 0.95 - slack
        if dprime == 0:
            assert shares[3] <= 0.05 + slack
    show(*lines)


# R-index: exact, by summing over every table.

LINES_OF = {2: ((0.0,), (0.8,)), 3: ((0.0, 1.0), (0.5, 1.5)),
            4: ((-0.5, 0.3, 1.2), (-1.0, 0.0, 1.0), (0.5, 1.0, 1.5))}  # fmt: skip


def every_row(total, grades):
    """All answers of so many to so many grades, and the logarithm of their ways."""
    places = range(total + grades - 1)
    rows = [np.diff((-1, *cut, total + grades - 1)) - 1 for cut in combinations(places, grades - 1)]
    answers = np.array(rows, float)
    return answers, gammaln(total + 1) - gammaln(answers + 1).sum(1)


@pytest.mark.parametrize(
    ("answers", "grades"),
    [((n, m), k) for n, m in ((8, 8), (12, 12), (24, 24), (8, 16), (8, 40), (40, 8))
     for k in LINES_OF if (n * m) ** (k - 1) < 4e6],
    ids=str,
)  # fmt: skip
def test_r_index_limits(answers, grades, show):
    """Least over d-prime from -1 to 3 and where people draw their lines."""
    (first, ways), (second, others) = (every_row(total, grades) for total in answers)
    below = (np.cumsum(first, 1) - first / 2) / answers[0]
    area = below @ second.T / answers[1]
    low, high = area_limits(area, *answers, LEVEL)
    coverages = []
    for cuts, dprime in product(LINES_OF[grades], np.arange(-1, 3.01, 0.25)):
        edges = np.array([-np.inf, *cuts, np.inf])
        given, moved = (np.diff(ndtr(edges - shift)) for shift in (0.0, dprime))
        truth = moved @ (np.cumsum(given) - given / 2)
        inside = (low <= truth + 1e-9) & (truth - 1e-9 <= high)
        chance, other = (
            np.exp(ways + first @ np.log(given)),
            np.exp(others + second @ np.log(moved)),
        )
        coverages.append(chance @ inside @ other)
    show(f"R-index, {answers[0]} + {answers[1]} answers, {grades} grades: exact coverage of 95 % "
         f"limits, lowest {min(coverages):.4f}, mean {np.mean(coverages):.4f}")  # fmt: skip
    assert min(coverages) >= 0.95
    assert np.mean(coverages) <= 0.995


# Graded answers of people who answer more than once: simulated.

PANELS = 150


@pytest.mark.parametrize("cuts", [(-0.5, 0.3, 1.2), (0.4,)], ids=["4 grades", "2 grades"])
@pytest.mark.parametrize(("people", "times"), [(8, 3), (12, 2), (20, 2)])
def test_sureness_by_assessor(people, times, cuts, show):
    """d-prime lies within the limits when the profile there falls by no more than the quantile.

    With 2 grades these are the limits of `a_not_a_by_assessor` as well.
    """
    rng, grades = np.random.default_rng(2026), np.arange(len(cuts) + 1)
    lines = [f"{people} assessors x {times}, {len(grades)} grades, {PANELS} sessions simulated",
             "  d'   sd    student  chi-square"]  # fmt: skip
    drops = (t.ppf(0.975, people - 1) ** 2, chi2.ppf(0.95, 1))
    for dprime, sd in ((0.0, 0.8), (1.0, 0.4), (1.0, 0.8), (2.0, 0.8)):
        counted = np.zeros(2)
        for _ in range(PANELS):
            percepts = rng.normal(0, 1, (people, 2, times)) + rng.normal(0, sd, (people, 1, 1))
            given = np.searchsorted(cuts, percepts + np.array([[0.0], [dprime]]))
            answers = (given[..., None] == grades).sum(axis=2).astype(float)
            answers = answers[:, :, answers.sum(axis=(0, 1)) > 0]
            if answers.shape[2] < 2:  # one grade only: refused
                counted += 1
                continue
            model = GradedByAssessor(answers, moves=True, unequal=False)
            place = model.fit()
            fall = 2 * (model.at(place)[0] - model.profile(1, place)(dprime))
            counted += [fall <= drop for drop in drops]
        shares = counted / PANELS
        lines.append(f"  {dprime}  {sd}    {shares[0]:.3f}    {shares[1]:.3f}")
        assert shares[0] >= 0.95 - 4 * np.sqrt(0.05 * 0.95 / PANELS)
    show(*lines)
