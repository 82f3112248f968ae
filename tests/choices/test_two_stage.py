"""Two-stage plans: every claimed risk by enumeration over all paths, optimality by search."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.retests import retest_risk
from sensory.choices.two_stage import TwoStagePlan, two_stage_plan

from .shared import chance

SMALL = [
    (TRIANGLE, 14, 0.2, 0.2, 0.5),
    (TRIANGLE, 14, 0.1, 0.2, 0.6),
    (DUO_TRIO, 12, 0.2, 0.2, 0.7),
    (PAIRED, 14, 0.2, 0.15, 0.6),
    (TETRAD, 12, 0.15, 0.2, 0.6),
    (TWO_OUT_OF_FIVE, 14, 0.05, 0.05, 0.5),
    (TWO_OUT_OF_FIVE, 10, 0.2, 0.2, 0.4),
]
LARGER = [
    (TRIANGLE, 30, 0.05, 0.05, 0.5),
    (TRIANGLE, 30, 0.2, 0.01, 0.5),
    (TRIANGLE, 30, 0.01, 0.2, 0.5),
    (PAIRED, 30, 0.1, 0.1, 0.5),
    (TWO_OUT_OF_FIVE, 28, 0.05, 0.05, 0.3),
    (TWO_OUT_OF_FIVE, 28, 0.001, 0.2, 0.4),
    (TETRAD, 30, 0.2, 0.001, 0.65),
]


def made(protocol, most, alpha, beta, limit):
    return two_stage_plan(protocol, most=most, alpha=alpha, beta=beta, pd_limit=limit)


def rates(protocol, limit):
    guess = float(protocol.guess)
    return guess, guess + (1 - guess) * limit


def paths(first, second, p):
    """Chance of every pair of counts."""
    one, two = (binom.pmf(np.arange(n + 1), n, p) for n in (first, second))
    return np.outer(one, two)


@pytest.mark.parametrize("setting", SMALL, ids=str)
def test_no_plan_under_the_cap_is_cheaper(setting):
    """Every plan with every count, its risks summed over all pairs of counts."""
    protocol, most, alpha, beta, limit = setting
    null, far = rates(protocol, limit)
    cheapest = np.inf
    for first in range(1, most):
        for second in range(1, most - first + 1):
            at_null, at_far = paths(first, second, null), paths(first, second, far)
            x, y = np.arange(first + 1)[:, None], np.arange(second + 1)
            stage_one = (at_null.sum(1) + at_far.sum(1)) / 2
            for low in range(-1, first):
                for high in range(low + 2, first + 2):
                    cost = first + second * stage_one[low + 1 : high].sum()
                    if cost >= cheapest:
                        continue
                    goes_on = (x > low) & (x < high)
                    for total in range(1, first + second + 1):
                        different = (x >= high) | (goes_on & (x + y >= total))
                        if at_null[different].sum() > alpha or at_far[~different].sum() > beta:
                            continue
                        cheapest = cost
                        break
    assert made(*setting).expected == pytest.approx(cheapest, rel=1e-9)


@pytest.mark.parametrize("setting", LARGER, ids=str)
def test_no_total_outside_the_searched_ones_is_cheaper(setting):
    """All sizes, totals and stopping counts at usual sizes, by sums of stage-one counts."""
    protocol, most, alpha, beta, limit = setting
    null, far = rates(protocol, limit)
    cheapest = np.inf
    for first in range(1, most):
        x = np.arange(first + 1)
        null_one, far_one = binom.pmf(x, first, null), binom.pmf(x, first, far)
        low, high = np.meshgrid(np.arange(-1, first), np.arange(1, first + 2), indexing="ij")
        fitting = low < high - 1
        low, high = low[fitting], high[fitting]
        before = lambda mass: np.concatenate([[0.0], np.cumsum(mass)])  # noqa: E731
        alarm_now = binom.sf(high - 1, first, null)
        missed_now = binom.cdf(low, first, far)
        likely = (alarm_now <= alpha) & (missed_now <= beta)
        low, high, alarm_now, missed_now = (a[likely] for a in (low, high, alarm_now, missed_now))
        if not low.size:
            continue
        mean = before((null_one + far_one) / 2)
        going = mean[high] - mean[low + 1]
        for second in range(1, most - first + 1):
            cost = first + second * going
            short = np.arange(-first, first + second)  # of a total, by the count of stage one
            later_over = binom.sf(short, second, null)
            later_under = binom.cdf(short, second, far)
            for total in range(1, first + second + 1):
                over = before(null_one * later_over[total - x - 1 + first])
                under = before(far_one * later_under[total - x - 1 + first])
                sound = alarm_now + over[high] - over[low + 1] <= alpha
                sound &= missed_now + under[high] - under[low + 1] <= beta
                if sound.any():
                    cheapest = min(cheapest, cost[sound].min())
    assert made(*setting).expected == pytest.approx(cheapest, rel=1e-9)


@pytest.mark.parametrize("setting", SMALL, ids=str)
@pytest.mark.parametrize("pd", ["0", "0.25", "0.5", "1"])
def test_outcomes_by_enumeration_of_every_answer(setting, pd):
    """decide() judges every pair of counts; its chance is a fraction."""
    plan = made(*setting)
    p = plan.protocol.guess + (1 - plan.protocol.guess) * Fraction(pd)
    ends = dict.fromkeys(Finding, Fraction(0))
    served = Fraction(0)
    for x in range(plan.first + 1):
        before = chance(plan.first, p, [x])
        served += plan.first * before
        finding = plan.decide(x)
        if finding is not None:
            ends[finding] += before
            continue
        served += plan.second * before
        for y in range(plan.second + 1):
            ends[plan.decide(x, y)] += before * chance(plan.second, p, [y])
    found = plan.outcomes(float(pd))
    close = {"rel": 1e-10, "abs": 1e-15}
    beyond = ends[Finding.BEYOND_LIMIT]
    assert found.different == pytest.approx(float(ends[Finding.DIFFERENT] + beyond), **close)
    assert found.beyond == pytest.approx(float(beyond), **close)
    assert found.similar == pytest.approx(float(ends[Finding.SIMILAR]), **close)
    assert found.expected == pytest.approx(float(served), **close)
    assert found.undecided == 0
    assert ends[Finding.UNDECIDED] == ends[Finding.DIFFERENT_WITHIN_LIMIT] == 0


@pytest.mark.parametrize("setting", SMALL + LARGER, ids=str)
def test_risks_are_kept_and_recomputed(setting):
    protocol, most, alpha, beta, limit = setting
    plan = made(*setting)
    null, far = rates(protocol, limit)
    x, y = np.arange(plan.first + 1)[:, None], np.arange(plan.second + 1)
    stops = (x <= plan.similar_first) | (x >= plan.different_first)
    different = np.where(stops, x >= plan.different_first, x + y >= plan.different_total)
    alarm = paths(plan.first, plan.second, null)[different].sum()
    missed = paths(plan.first, plan.second, far)[~different].sum()
    assert plan.false_alarm == pytest.approx(alarm, rel=1e-10)
    assert plan.wrong_pass == pytest.approx(missed, rel=1e-10)
    assert plan.false_alarm <= alpha
    assert plan.wrong_pass <= beta
    assert plan.first + plan.second <= most


def test_risks_of_a_large_plan_by_simulation():
    plan = two_stage_plan(TRIANGLE, most=100, pd_limit=0.3)
    rng, sessions = np.random.default_rng(314), 400_000
    for pd in (0.0, 0.1, 0.3):
        p = 1 / 3 + 2 / 3 * pd
        x, y = rng.binomial(plan.first, p, sessions), rng.binomial(plan.second, p, sessions)
        on = (x > plan.similar_first) & (x < plan.different_first)
        different = np.where(on, x + y >= plan.different_total, x >= plan.different_first)
        found = plan.outcomes(pd)
        error = np.sqrt(found.different * found.similar / sessions)
        assert abs(different.mean() - found.different) < 4.5 * error
        served = plan.first + plan.second * on
        assert abs(served.mean() - found.expected) < 4.5 * served.std() / np.sqrt(sessions)


@pytest.mark.parametrize("setting", SMALL + LARGER, ids=str)
def test_beyond_the_limit_keeps_alpha_over_both_tastings(setting):
    """Half of it at most is spent first; one count less at the end would spend too much."""
    plan = made(*setting)
    limit = float(plan.protocol.pc_at(plan.pd_limit))
    first, total = plan.beyond_from
    spent = binom.sf(first - 1, plan.first, limit)
    assert spent <= plan.alpha / 2
    assert plan.wrong_rejection <= plan.alpha
    x = np.arange(plan.similar_first + 1, min(plan.different_first, plan.first + 1))
    going = binom.pmf(x, plan.first, limit)
    ends = [
        spent + (going * binom.sf(last - 1 - x, plan.second, limit)).sum()
        for last in (total, total - 1)
    ]
    assert plan.wrong_rejection == pytest.approx(ends[0], rel=1e-9, abs=1e-15)
    assert total == plan.different_total or ends[1] > plan.alpha


def test_table_says_what_decide_does():
    plan = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
    rows = plan.summary().records()
    then = {row["then"]: row["correct"] for row in rows[:4]}
    similar_to = int(then["SIMILAR, stop"].removesuffix(" or fewer"))
    different_from, below = map(int, then["DIFFERENT, stop"].split(" to "))
    beyond = int(then["BEYOND_LIMIT, stop"].removesuffix(" or more"))
    assert beyond == below + 1
    on_from, on_to = map(int, then[f"serve {plan.second} more"].split(" to "))
    assert (on_from, on_to) == (similar_to + 1, different_from - 1)
    for x in range(plan.first + 1):
        ended = Finding.SIMILAR if x <= similar_to else Finding.DIFFERENT
        ended = Finding.BEYOND_LIMIT if x >= beyond else ended
        assert plan.decide(x) is (None if on_from <= x <= on_to else ended)
    totals = {row["then"]: row["correct"] for row in rows[4:]}
    last = int(totals["SIMILAR"].removesuffix(" or fewer"))
    different, below = map(int, totals["DIFFERENT"].split(" to "))
    beyond = int(totals["BEYOND_LIMIT"].removesuffix(" or more"))
    assert (different, below) == (last + 1, beyond - 1)
    for x in range(on_from, on_to + 1):
        for y in range(plan.second + 1):
            said = Finding.SIMILAR if x + y <= last else Finding.DIFFERENT
            said = Finding.BEYOND_LIMIT if x + y >= beyond else said
            assert plan.decide(x, y) is said


@pytest.mark.parametrize("setting", [*SMALL, *LARGER, (TETRAD, 36, 0.2, 0.001, 0.6)], ids=str)
def test_table_is_readable_for_every_plan(setting):
    # A row such as '-1 or fewer' or '5 to 4' could not be pinned to a wall.
    for row in made(*setting).summary().records():
        words = row["correct"].split()
        assert int(words[0]) >= 0, row
        if words[1] == "to":
            assert int(words[0]) <= int(words[2]), row


def test_refusals_name_the_end_and_the_size_that_one_tasting_needs():
    plan = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
    with pytest.raises(ArgumentError, match="ended as SIMILAR"):
        plan.decide(plan.similar_first, 3)
    with pytest.raises(ArgumentError, match="ended as DIFFERENT"):
        plan.decide(plan.different_first, 3)

    # 66 answers for one tasting at alpha, beta 0.05 and pd 30 %: published, ISO 4120 table of
    # the number of assessors, from memory (see published.json, triangle_sizes).
    with pytest.raises(ArgumentError, match="66"):
        two_stage_plan(TRIANGLE, most=20)


def test_a_plan_costs_less_than_one_tasting_of_the_same_risks():
    # One tasting: 40 answers, ISO 4120 from memory (see published.json, triangle_sizes).
    plan = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
    assert plan.outcomes(0.0).expected < 40
    assert plan.outcomes(0.4).expected < 40


def test_a_larger_cap_is_never_dearer_and_outcomes_move_with_the_truth():
    costs = [two_stage_plan(TRIANGLE, most=cap, pd_limit=0.5).expected for cap in range(24, 48, 4)]
    assert (np.diff(costs) <= 1e-9).all()
    plan = two_stage_plan(DUO_TRIO, most=70, pd_limit=0.45)
    chances = [plan.outcomes(pd).different for pd in np.linspace(0, 1, 21).round(2)]
    assert (np.diff(chances) > 0).all()


@pytest.mark.parametrize("passes", ["not significant", "similar"])
@pytest.mark.parametrize("tries", [1, 2, 4])
def test_retest_risk_by_enumeration(passes, tries):
    n, pd = 12, Fraction(3, 10)
    p = TRIANGLE.guess + (1 - TRIANGLE.guess) * pd
    at_limit = TRIANGLE.guess + (1 - TRIANGLE.guess) * Fraction(3, 10)
    passing = [
        x
        for x in range(n + 1)
        if (
            chance(n, TRIANGLE.guess, range(x, n + 1)) > Fraction(1, 20)
            if passes == "not significant"
            else chance(n, at_limit, range(x + 1)) <= Fraction(1, 20)
        )
    ]
    once, ever, still = chance(n, p, passing), Fraction(0), Fraction(1)
    for _ in range(tries):
        ever, still = ever + still * once, still * (1 - once)
    risk = retest_risk(TRIANGLE, n, tries=tries, pd=0.3, passes=passes)
    assert risk.passes_once == pytest.approx(float(once), rel=1e-10)
    assert risk.passes_any == pytest.approx(float(ever), rel=1e-10)


def test_a_plan_made_by_hand_is_analysed_too():
    counts = {"first": 1, "second": 1, "similar_first": 0, "different_first": 2}
    risks = {"alpha": 0.5, "beta": 0.5, "pd_limit": 0.5}
    plan = TwoStagePlan(protocol=PAIRED, **risks, **counts, different_total=2)
    # Coin: one wrong ends it (1/2); one right, then wrong (1/4) or right (1/4).
    found = plan.outcomes(0.0)
    assert (found.similar, found.different, found.expected) == (0.75, 0.25, 1.5)


def test_a_wide_search_ends_at_the_same_plan_as_a_narrow_one_that_holds_it():
    """Sizes up to 400 are weighed at once; what is cut away cannot be cheaper.

    181 answers hold the plan found under a cap of 400, so both caps must find the same one.
    The plan itself is that of a search over every count without cuts, run once.
    """
    wide = two_stage_plan(TRIANGLE, most=400, pd_limit=0.2)
    narrow = two_stage_plan(TRIANGLE, most=181, pd_limit=0.2)
    assert (wide.first, wide.second) == (narrow.first, narrow.second) == (72, 109)
    assert wide.expected == narrow.expected == pytest.approx(104.75168943146, abs=1e-9)
