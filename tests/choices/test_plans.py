"""The plan for the people at hand, against plain scans with scipy's binomial."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.findings import Finding
from sensory.choices.plans import panel_plan
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, THREE_AFC, TRIANGLE


@cache
def scanned(guess: float, trials: int, alpha: float, beta: float, limit: float):
    """Critical and similar count by trying every count."""
    at = guess + (1 - guess) * limit
    counts = np.arange(trials + 1)
    critical = min(counts[binom.sf(counts - 1, trials, guess) <= alpha], default=None)
    similar = max(counts[binom.cdf(counts, trials, at) <= beta], default=None)
    return critical, similar, at


def keeps(guess: float, trials: int, alpha: float, beta: float, limit: float) -> bool:
    critical, _, at = scanned(guess, trials, alpha, beta, limit)
    return critical is not None and binom.cdf(critical - 1, trials, at) <= beta


def decides(guess: float, trials: int, alpha: float, beta: float, limit: float) -> bool:
    """Whether every count shows a difference, or similarity, or both."""
    critical, similar, _ = scanned(guess, trials, alpha, beta, limit)
    return critical is not None and similar is not None and critical <= similar + 1


@pytest.mark.parametrize(("alpha", "beta", "limit"), [(0.05, 0.05, 0.30), (0.10, 0.05, 0.40)])
def test_sizes_against_a_plain_scan(alpha, beta, limit):
    plan = panel_plan(TRIANGLE, 24, alpha=alpha, beta=beta, pd_limit=limit)
    held = [keeps(1 / 3, n, alpha, beta, limit) for n in range(1, 200)]
    assert plan.both_risks == held.index(True) + 1
    assert plan.both_risks_stable == max(n for n, kept in enumerate(held, 1) if not kept) + 1


def test_heading_says_when_more_people_are_worse():
    """Counts move in steps: a tetrad panel of one more person may keep one risk less."""
    first = panel_plan(TETRAD, 10).both_risks
    for people in range(first, first + 8):
        plan = panel_plan(TETRAD, people)
        critical, similar, _ = scanned(1 / 3, people, 0.05, 0.05, 0.30)
        assert plan.enough == (similar is not None and critical <= similar + 1)
        assert (plan.heading() == f"{people} is enough.") == plan.enough
        # the number to take is the next that keeps both risks, by the same scan of every count
        kept = next(n for n in range(people, 99) if decides(1 / 3, n, 0.05, 0.05, 0.30))
        assert plan.take == kept
        assert plan.choices == tuple(dict.fromkeys((kept, people, first)))
        if not plan.enough:
            assert plan.heading() == f"{people} just misses: take {kept}."
        assert bool(plan.changes()) != plan.enough
    assert panel_plan(TETRAD, 10).heading() == f"Too few: take {first}."


def test_curves_are_the_exact_chances_and_add_up():
    plan = panel_plan(DUO_TRIO, 32)
    critical, similar, _ = scanned(0.5, 32, 0.05, 0.05, 0.30)
    for at, truth in enumerate(plan.truths):
        pc = 0.5 + 0.5 * truth
        assert sum(plan.curves[one][at] for one in Finding) == pytest.approx(1, abs=1e-12)
        different = plan.curves[Finding.DIFFERENT][at] + plan.curves[Finding.BEYOND_LIMIT][at]
        within = plan.curves[Finding.DIFFERENT_WITHIN_LIMIT][at]
        assert different + within == pytest.approx(binom.sf(critical - 1, 32, pc), rel=1e-10)
        shown = plan.curves[Finding.SIMILAR][at] + within
        few = binom.ppf(0.001, 32, 0.5) - 1  # fewer come from guessing once in a thousand
        assert binom.cdf(few, 32, 0.5) <= 0.001 < binom.cdf(few + 1, 32, 0.5)
        passes = binom.cdf(similar, 32, pc) - binom.cdf(few, 32, pc)
        assert shown == pytest.approx(passes, rel=1e-10)


def test_smallest_limit_is_where_an_unchanged_product_passes():
    plan = panel_plan(TRIANGLE, 24)
    assert plan.smallest_limit is not None

    def passes(limit: float) -> float:
        similar = scanned(1 / 3, 24, 0.05, 0.05, limit)[1]
        return 0.0 if similar is None else binom.cdf(similar, 24, 1 / 3)

    assert passes(plan.smallest_limit) >= 0.90
    assert passes(plan.smallest_limit - 0.01) < 0.90


def test_no_limit_is_carried_between_a_named_attribute_and_the_whole_difference():
    others = [TRIANGLE, TETRAD, PAIRED, THREE_AFC]
    assert [each.key for each, _ in panel_plan(TRIANGLE, 24, instead=others).other] == ["TETRAD"]
    assert [each.key for each, _ in panel_plan(PAIRED, 24, instead=others).other] == ["THREE_AFC"]


def test_another_protocol_is_named_with_its_own_size():
    plan = panel_plan(TRIANGLE, 24, instead=[TRIANGLE, TETRAD, DUO_TRIO])
    assert [one.key for one, _ in plan.other] == ["TETRAD", "DUO_TRIO"]
    limit = TETRAD.distinguishers(TETRAD.proportion_correct(TRIANGLE.dprime(TRIANGLE.pc_at(0.30))))
    assert plan.other[0][1] == next(
        n for n in range(1, 200) if keeps(1 / 3, n, 0.05, 0.05, float(limit))
    )
    sentences = panel_plan(TRIANGLE, 65).changes()
    assert any(line.startswith("1 more assessor, 66 in all") for line in sentences)
