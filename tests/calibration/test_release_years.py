"""Prints how soon release rules find changes in simulated years.

A year has 120 batches, each tasted once by new people. Three changes happen:

- step: from batch 20 on a difference at the limit, for 10 batches or until it is found;
- drift: from batch 55 on it grows from 0 to the limit over 30 batches, or until found;
- fault: a single batch, number 100, lies at 1.25 times the limit.

A change is found by the first of its batches that is not released; then it is mended. What the
rules do with each number of correct answers is asked of `batch_finding` itself. The naive rule
holds a batch if p < 0.05 and releases it else. Share of 1,000 years in which a change is found,
batches until then, and the unchanged batches that are not released, at a limit of 40 %:

| rule | step to the limit | slow drift to it | one batch at 1.25 limits | unchanged, not released |
|---|---|---|---|---|
| 12 triangles, release if similar | 100 %, 1.0 | 100 %, 1.5 | 99.5 % | 61 % |
| 12 triangles, hold if p < 0.05 | 99.7 %, 2.2 | 99.7 %, 12.6 | 60 % | 2 % |
| 24 triangles, release if similar | 100 %, 1.0 | 100 %, 3.0 | 99.7 % | 25 % |
| 24 triangles, hold if p < 0.05 | 100 %, 1.3 | 100 %, 9.4 | 93 % | 3 % |
| 40 triangles, release if similar | 100 %, 1.0 | 100 %, 7.0 | 99.4 % | 4.5 % |
| 40 triangles, hold if p < 0.05 | 100 %, 1.0 | 100 %, 7.1 | 99.0 % | 4.4 % |
| 16 + 24 triangles in two stages | 100 %, 1.1 | 100 %, 6.5 | 99.3 % | 5.0 % |
| 10 assessors, difference from control | 100 %, 1.1 | 100 %, 7.1 | 99.6 % | 4.2 % |

With too few assessors the rule holds good batches and 'hold if p < 0.05' releases bad ones; at a
deciding size both are alike. Batches until a drift is found count from its first, invisible, step.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import binom, nct
from scipy.stats import t as student

from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release.batches import Clearance, Disposition
from sensory.release.disposition import batch_finding
from sensory.release.rule import ReleaseRule

YEARS, BATCHES = 1000, 120
LIMIT = 0.4
SAFE = {"food_safe": True, "food_safe_by": "food safety", "food_safe_on": "2026-05-02"}
STATED = {"allergens": (), "allergens_by": "QA", "allergens_on": "2026-05-02"}
CLEARED = Clearance(batch="any", **SAFE, **STATED)
CHANGES = {
    "step": (20, np.full(10, 1.0)),
    "drift": (55, np.linspace(1 / 30, 1.0, 30)),
    "fault": (100, np.full(1, 1.25)),
}


@dataclass(frozen=True)
class Found:
    """One change over all years: share found, batches until then, bad batches released."""

    share: float
    until: float
    released: float


def year(released_at):
    """Simulated years: each batch released or not, mended once found.

    `released_at` takes an array of true differences in units of the limit.
    """
    whole = released_at(np.zeros((YEARS, BATCHES)))
    unchanged = np.ones(BATCHES, bool)
    found = {}
    for name, (start, sizes) in CHANGES.items():
        seen = ~released_at(np.tile(sizes, (YEARS, 1)))
        unchanged[start : start + sizes.size] = False
        first = np.where(seen.any(1), seen.argmax(1), sizes.size)
        caught = first < sizes.size
        until = float(first[caught].mean() + 1) if caught.any() else np.nan
        found[name] = Found(float(caught.mean()), until, float(first.mean()))
    return found, 1 - float(whole[:, unchanged].mean())


def exact(passes):
    """The same by products of the chances of passing: no simulation."""
    found = {}
    for name, (_, sizes) in CHANGES.items():
        going = np.cumprod(passes(sizes))
        caught = np.concatenate([[1.0], going[:-1]]) - going
        until = float(caught @ np.arange(1, sizes.size + 1) / caught.sum())
        found[name] = Found(float(1 - going[-1]), until, float(going.sum()))
    return found, float(1 - passes(np.zeros(1))[0])


def tasted_once(rule, n, rng):
    """Whether each batch is released, by the rule's own reading of every count."""
    release = np.array(
        [
            batch_finding(
                [choice_test(TRIANGLE, x, n, pd_limit=LIMIT)], rule=rule, clearance=CLEARED
            ).disposition
            is Disposition.RELEASE
            for x in range(n + 1)
        ]
    )
    return lambda truth: release[rng.binomial(n, 1 / 3 + 2 / 3 * LIMIT * truth)]


def tasted_twice(rule, rng):
    plan = rule.retest
    first = [plan.decide(x) for x in range(plan.first + 1)]
    ended = np.array([0 if f is None else 1 if f == "SIMILAR" else 2 for f in first])

    def released_at(truth):
        pc = 1 / 3 + 2 / 3 * LIMIT * truth
        x, y = rng.binomial(plan.first, pc), rng.binomial(plan.second, pc)
        return np.where(ended[x] == 0, x + y < plan.different_total, ended[x] == 1)

    return released_at


def naive(n, rng):
    p = choice_test(TRIANGLE, np.arange(n + 1), n).p_difference
    return lambda truth: (p >= 0.05)[rng.binomial(n, 1 / 3 + 2 / 3 * LIMIT * truth)]


def scored(rule, rng, by_p):
    """Difference from control, one batch beside the blind control: the paired t-test."""
    n, t = rule.assessors, student.isf(0.05, rule.assessors - 1)

    def released_at(truth):
        mean = truth * rule.limit + rng.normal(0, rule.scatter / np.sqrt(n), truth.shape)
        se = rule.scatter * np.sqrt(rng.chisquare(n - 1, truth.shape) / (n - 1) / n)
        return mean / se < t if by_p else mean + t * se < rule.limit

    return released_at


def rules():
    rng = np.random.default_rng(120)
    for n in (12, 24, 40):
        rule = ReleaseRule(test="TRIANGLE", limit=LIMIT, assessors=n)
        passes = lambda truth, rule=rule: rule.characteristic(LIMIT * truth).passes  # noqa: E731
        yield f"{n} triangles, release if similar", tasted_once(rule, n, rng), passes
        p = choice_test(TRIANGLE, np.arange(n + 1), n).p_difference
        critical = int(np.argmax(p < 0.05))
        upto = lambda truth, n=n, c=critical: cumulative(c - 1, n, truth)  # noqa: E731
        yield f"{n} triangles, naive", naive(n, rng), upto
    plan = two_stage_plan(TRIANGLE, most=60, pd_limit=LIMIT)
    rule = ReleaseRule(test="TRIANGLE", limit=LIMIT, assessors=plan.first, retest=plan)
    passes = lambda truth: rule.characteristic(LIMIT * truth).passes  # noqa: E731
    name = f"{plan.first} + {plan.second} triangles, two stages"
    yield name, tasted_twice(rule, rng), passes
    for n in (6, 10):
        rated = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=n, scatter=1.3)
        passes = lambda truth, r=rated: r.characteristic(r.limit * truth).passes  # noqa: E731
        yield f"{n} scores, release if similar", scored(rated, rng, False), passes
        unseen = lambda truth, r=rated: 1 - significant(r, truth)  # noqa: E731
        yield f"{n} scores, naive", scored(rated, rng, True), unseen


def cumulative(most, n, truth):
    return binom.cdf(most, n, 1 / 3 + 2 / 3 * LIMIT * truth)


def significant(rule, truth):
    n = rule.assessors
    away = truth * rule.limit / (rule.scatter / np.sqrt(n))
    return nct.sf(student.isf(0.05, n - 1), n - 1, away)


@pytest.fixture(scope="module")
def table():
    return {name: (year(released), exact(passes)) for name, released, passes in rules()}


def test_simulated_years_agree_with_the_exact_chances(table, show):
    lines = [
        f"{YEARS} years of {BATCHES} batches: share found, batches until then, bad ones released",
        f"{'rule':38}" + "".join(f"{name:>22}" for name in CHANGES) + "   unchanged not released",
    ]
    for name, ((seen, held), (expected, held_exactly)) in table.items():
        for change, one in seen.items():
            share = expected[change].share
            spread = np.sqrt(max(share * (1 - share), 1 / YEARS) / YEARS)
            assert abs(one.share - share) < 4.5 * spread
            # no more than its length, so its mean is known to length / sqrt(years)
            length = CHANGES[change][1].size
            assert abs(one.released - expected[change].released) < 4.5 * length / 2 / YEARS**0.5
        count = YEARS * (BATCHES - sum(sizes.size for _, sizes in CHANGES.values()))
        assert abs(held - held_exactly) < 4.5 * np.sqrt(held_exactly * (1 - held_exactly) / count)
        cells = [f"{f.share:8.3f}{f.until:7.1f}{f.released:7.1f}" for f in seen.values()]
        lines.append(f"{name:38}" + "".join(cells) + f"{held:14.3f}")
    show(*lines)


def test_the_naive_rule_releases_more_bad_batches_the_fewer_people_taste(table):
    small, large = (table[f"{n} triangles, naive"][1][0] for n in (12, 40))
    for change in CHANGES:
        assert small[change].released > large[change].released
        sound = table["12 triangles, release if similar"][1][0][change]
        assert sound.released < small[change].released
    # 5 % of wrong passes at the limit at most, over and over: 0.05 + 0.05^2 + ...
    assert table["12 triangles, release if similar"][1][0]["step"].released <= 0.05 / 0.95
