"""Paired comparisons without an expected direction: sizes, power and plans, by enumeration.

No printed table of two-sided counts or sizes is at hand (after ISO 5495:2005, whose two-sided
tables were not open to us), so every number here has a plain scan as its second route. Printed
one-sided values stand at half the alpha, where both questions have the same answer.
"""

from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.choices.counts import critical_counts
from sensory.choices.forced_choice import choice_test
from sensory.choices.plans import panel_plan
from sensory.choices.protocols import DUO_TRIO, PAIRED, THREE_AFC, TRIANGLE
from sensory.choices.risks import session_risks
from sensory.choices.size import (
    deciding_size,
    fair_pass_size,
    operating_characteristic,
    panel_size,
    power,
)

from ..references.readers import entries
from .shared import ALARMS, chance

RISKS = np.array([0.2, 0.1, 0.05, 0.01, 0.001])
PDS = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
MOST = 6000
SIZES = np.arange(1, MOST + 1)


def scanned_critical(alpha):
    """For n = 1, 2 ... the least x with twice its tail at most alpha, by scipy.stats.binom."""
    x = binom.isf(alpha / 2, SIZES, 0.5).astype(int)
    x = x + (2 * binom.sf(x - 1, SIZES, 0.5) > alpha * (1 + 1e-12))
    assert (2 * binom.sf(x - 1, SIZES, 0.5) <= alpha * (1 + 1e-12)).all()
    assert (2 * binom.sf(x - 2, SIZES, 0.5) > alpha).all()
    return x


@pytest.mark.parametrize("alpha", RISKS)
def test_sizes_against_a_scan_whichever_way_the_wrong_direction_counts(alpha):
    critical = scanned_critical(alpha)
    grid = {"alpha": alpha, "beta": RISKS[:, None], "pd": PDS, "two_sided": True}
    first = panel_size(PAIRED, **grid).assessors
    stable = panel_size(PAIRED, **grid, rule="stable").assessors
    for column, pd in enumerate(PDS):
        missed = binom.cdf(critical - 1, SIZES, 0.5 + pd / 2)
        wrong_way = binom.cdf(SIZES - critical, SIZES, 0.5 + pd / 2)
        for row, beta in enumerate(RISKS):
            assert first[row, column] == SIZES[np.argmax(missed <= beta)]
            assert first[row, column] == SIZES[np.argmax(missed - wrong_way <= beta)]
            assert stable[row, column] == SIZES[np.flatnonzero(missed > beta).max()] + 1


def test_a_size_is_that_of_half_the_alpha_on_one_side():
    both = panel_size(PAIRED, alpha=RISKS, pd=0.3, two_sided=True)
    one = panel_size(PAIRED, alpha=RISKS / 2, pd=0.3)
    assert both.assessors.tolist() == one.assessors.tolist()
    assert both.alpha == pytest.approx(2 * one.alpha, rel=1e-14)
    assert (both.alpha <= RISKS).all()
    assert both.critical_count[2] == critical_counts(PAIRED, 145, 0.05, two_sided=True) == 85


def test_printed_one_sided_values_are_those_of_twice_the_alpha():
    printed = entries("published.json")
    for name in ("pv025", "pv026", "pv027", "pv028", "pv029", "pv030"):
        given = printed[name]["inputs"]
        both = [critical_counts(PAIRED, given["n"], 2 * a, two_sided=True) for a in given["alpha"]]
        assert both == printed[name]["value"]
    for name in ("pv046", "pv047", "pv048"):
        given = {key: printed[name]["inputs"][key] for key in ("alpha", "beta", "pd")}
        given["alpha"] = 2 * np.array(given["alpha"])[:, None]
        sizes = panel_size(PAIRED, **given, two_sided=True).assessors
        assert sizes.tolist() == printed[name]["value"]


@pytest.mark.parametrize("n", [1, 5, 6, 17, 40])
@pytest.mark.parametrize("pd", ["0", "0.2", "0.5", "1"])
def test_power_and_operating_characteristic_by_enumeration(n, pd):
    agreed = {"alpha": 0.1, "beta": 0.15, "pd_limit": 0.35, "two_sided": True}
    findings = choice_test(PAIRED, range(n + 1), n, **agreed).finding
    p = Fraction(1, 2) + Fraction(pd) / 2
    chances = operating_characteristic(PAIRED, n, pd=float(pd), **agreed)
    for finding in Finding:
        outcomes = [x for x in range(n + 1) if findings[x] == finding]
        assert chances[finding] == pytest.approx(float(chance(n, p, outcomes)), rel=1e-9, abs=1e-14)
    alarms = [x for x in range(n + 1) if findings[x] in ALARMS]
    ours = power(PAIRED, n, alpha=0.1, pd=float(pd), two_sided=True)
    assert ours == pytest.approx(float(chance(n, p, alarms)), rel=1e-10, abs=1e-300)


@pytest.mark.parametrize("limit", [0.2, 0.4])
def test_fair_pass_and_decision_against_a_scan(limit):
    critical = scanned_critical(0.05)
    similar = binom.ppf(0.05, SIZES, 0.5 + limit / 2).astype(int)
    similar = similar - (binom.cdf(similar, SIZES, 0.5 + limit / 2) > 0.05)
    within = 2 * similar >= SIZES  # the commoner choice is never below half
    passed = np.where(within, binom.cdf(similar, SIZES, 0.5), 0)
    passed = passed - np.where(within, binom.cdf(SIZES - similar - 1, SIZES, 0.5), 0)
    alarm = 2 * binom.sf(critical - 1, SIZES, 0.5)
    decided = np.where(similar < critical, passed + alarm, 1.0)
    agreed = {"pd_limit": limit, "two_sided": True}
    for chances, size in ((passed, fair_pass_size), (decided, deciding_size)):
        truth = {"pd": 0.0} if size is deciding_size else {}
        assert size(PAIRED, **agreed, **truth) == SIZES[np.argmax(chances >= 0.9)]
        last = SIZES[np.flatnonzero(chances < 0.9).max()]
        assert size(PAIRED, **agreed, **truth, rule="stable") == last + 1


@pytest.mark.parametrize("people", [24, 144, 145, 146, 152, 200])
def test_a_plan_is_two_sided_in_all_its_numbers(people):
    plan = panel_plan(PAIRED, people, two_sided=True, instead=[THREE_AFC, TRIANGLE])
    assert (plan.both_risks, plan.both_risks_stable) == (145, 152)
    assert plan.enough == (session_risks(PAIRED, people, two_sided=True).deciding_size == people)
    chances = operating_characteristic(PAIRED, people, pd=[0.3], two_sided=True)
    at = plan.truths.index(0.3)
    for finding in Finding:
        assert plan.curves[finding][at] == pytest.approx(chances[finding][0], rel=1e-12)
    assert plan.other == ()  # a 3-AFC needs an expected direction
    assert plan.two_stage is None
    assert panel_plan(PAIRED, people).both_risks == 119


@pytest.mark.parametrize("size", [panel_size, fair_pass_size, deciding_size])
def test_one_direction_only_is_refused(size):
    truth = {} if size is fair_pass_size else {"pd": 0.3}
    with pytest.raises(ArgumentError, match="two_sided is not possible for a duo-trio test"):
        size(DUO_TRIO, two_sided=True, **truth)
    with pytest.raises(ArgumentError, match="two_sided is not possible for a triangle test"):
        power(TRIANGLE, 24, pd=0.3, two_sided=True)
