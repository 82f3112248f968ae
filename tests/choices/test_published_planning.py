"""Published values of tests/references/published_planning.json, sources beside each."""

import numpy as np
import pytest
from scipy.stats import binom

from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.counts import similar_counts
from sensory.choices.protocols import DUO_TRIO, TRIANGLE
from sensory.choices.retests import retest_risk
from sensory.choices.sequential import sequential_plan
from sensory.models.beta_moments import masses

from ..references.readers import entries

STAGED = entries("published_planning.json")


def planned(entry, protocol, most, limit):
    risks = {key: entry["inputs"][key] for key in ("alpha", "beta")}
    return sequential_plan(protocol, most=most, pd_limit=limit, **risks)


ENDS = {"SIMILAR": "similar", "DIFFERENT": "different", None: "continue"}


@pytest.mark.parametrize("name", ["pv099", "pv100", "pv101"])
def test_sequential_duo_trio_ballot_by_ballot(name):
    entry = STAGED[name]
    plan = planned(entry, DUO_TRIO, 60, round(2 * entry["inputs"]["p1"] - 1, 10))
    answers = [mark == "1" for mark in entry["inputs"]["sequence (1=correct)"]]
    finding, ballots = plan.decide(answers)
    ours = [ENDS[finding and finding.name], ballots, sum(answers[:ballots])]
    assert ours == entry["value"], entry["source"]


def test_sequential_duo_trio_from_cumulative_counts():
    entry = STAGED["sequential_duo_trio"]
    plan = planned(entry, DUO_TRIO, 60, entry["inputs"]["pd"])
    said = {}
    for test, counts in entry["inputs"]["cumulative_correct"].items():
        finding, ballots = plan.decide((np.diff([0, *counts]) == 1).tolist())
        end = "no decision" if finding is None else finding.name.lower()
        said[test] = f"{end} after {ballots}"
    assert said == entry["value"], entry["source"]


def test_true_alpha_of_walds_plan():
    entry = STAGED["sequential_true_alpha"]
    plan = planned(entry, TRIANGLE, 1000, entry["inputs"]["pd"])
    expected = pytest.approx(entry["value"], abs=entry["tolerance"], rel=0)
    assert plan.false_alarm == expected, entry["source"]


@pytest.mark.parametrize("place", [0, 1, 2])
def test_tasting_again_until_it_passes(place):
    entry = STAGED["retest"]
    inputs = entry["inputs"]
    n = inputs["trials"][place]
    risk = retest_risk(TRIANGLE, n, tries=inputs["tries"], pd=inputs["pd"], alpha=inputs["alpha"])
    once, ever = (row[place] for row in entry["value"])
    close = {"abs": entry["tolerance"], "rel": 0}
    assert risk.passes_once == pytest.approx(once, **close), entry["source"]
    assert risk.passes_any == pytest.approx(ever, **close), entry["source"]
    entry = STAGED["retest_similar"]
    risk = retest_risk(TRIANGLE, n, tries=inputs["tries"], pd=0.3, passes="similar")
    assert risk.passes_any == pytest.approx(entry["value"][place], **close), entry["source"]


def test_recognised_and_rejected_samples():
    entry = STAGED["pv083"]
    (hits, alarms), (misses, rejections) = entry["inputs"][
        "table [[A|A,A|notA],[notA|A,notA|notA]]"
    ]
    found = a_not_a(hits, hits + misses, alarms, alarms + rejections)
    # Printed with the table: chi-square 40.33 and the one-sided Fisher p in the note.
    assert found.p_fisher == pytest.approx(1.789e-11, rel=5e-4), entry["note"]
    z_root = found.dprime / 2  # symmetric table: both rates lie d'/2 from the criterion
    assert found.criterion == pytest.approx(0, abs=1e-12)
    assert binom.cdf(1, 24, 1 / 24) > 0.5  # the table itself: 1 of 24 in each corner
    assert z_root == pytest.approx(1.7316643961222455, rel=1e-10)  # qnorm(23 / 24) of R 4.2.2


@pytest.mark.parametrize("place", [0, 1])
def test_yes_no_dprime_of_the_textbook(place):
    entry = STAGED["pv084"]
    hit, alarm = entry["inputs"]["H"][place], entry["inputs"]["F"][place]
    ours = a_not_a(round(100 * hit), 100, round(100 * alarm), 100).dprime
    expected = pytest.approx(entry["value"][place], abs=entry["tolerance"], rel=0)
    assert ours == expected, entry["note"]


def test_beta_parameters_of_mean_and_spread():
    # The printed a and b put into the moments of a beta distribution have to give the masses.
    entry = STAGED["pv111"]
    mean, spread = entry["inputs"]["mu"], entry["inputs"]["gamma"]
    a, b = entry["value"]
    ours = masses(2, 0.0, mean, spread)
    total = (a + b) * (a + b + 1)
    expected = [b * (b + 1) / total, 2 * a * b / total, a * (a + 1) / total]
    np.testing.assert_allclose(ours, expected, rtol=1e-12)
    assert masses(6, 1 / 3, mean, spread).sum() == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("place", [0, 1, 2])
def test_true_risk_of_pooled_replicates(place):
    """30 % always notice, the rest guess; the pooled count is judged as if all were people."""
    entry = STAGED["pooled_replicates"]
    people, times = entry["inputs"]["panels"][place]
    one = 0.7 * binom.pmf(range(times + 1), times, 1 / 3)
    one[times] += 0.3
    total = np.ones(1)
    for _ in range(people):
        total = np.convolve(total, one)
    count = similar_counts(TRIANGLE, people * times, 0.05, entry["inputs"]["pd"])
    nominal = binom.cdf(count, people * times, 8 / 15)
    assert nominal == pytest.approx(entry["inputs"]["nominal"], abs=0.006)
    true = total[: count + 1].sum()
    expected = pytest.approx(entry["value"][place], abs=entry["tolerance"], rel=0)
    assert true == expected, entry["note"]


def test_paired_answers_of_one_assessor_are_judged_by_mcnemar():
    # Discordant pairs 8 and 1 by hand: P(X >= 8 | 9, 1/2) = (9 + 1) / 512.
    answers = [[1, 1, 0, 1]] * 8 + [[0, 1, 1, 1]] + [[1, 1, 1, 1]] * 4 + [[0, 1, 0, 1]] * 2
    found = a_not_a_by_assessor(answers)
    assert (found.a_only, found.not_a_only) == (8, 1)
    assert found.p_mcnemar == pytest.approx(10 / 512, rel=1e-12)
