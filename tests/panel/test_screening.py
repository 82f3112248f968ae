"""Screening of candidates: risks by simulation and by listing, and the verdicts together."""

from itertools import permutations
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sensory.base.errors import ArgumentError
from sensory.choices.protocols import DUO_TRIO, TRIANGLE
from sensory.choices.sequential import sequential_plan
from sensory.panel.screening import screening
from sensory.panel.screening_rules import Verdict, choice_rule, matching_rule, order_rule

DILUTIONS = ("1 %", "2 %", "4 %", "8 %", "16 %")


# Repeated choices.


def outcome(rule, ability, people, rng):
    """Verdict shares of simulated candidates, each answer looked at as it comes."""
    verdicts = []
    for _ in range(people):
        answers = [bool(one) for one in rng.random(rule.plan.most) < ability]
        verdicts.append(rule.decide(answers).verdict)
    return {verdict: verdicts.count(verdict) / people for verdict in Verdict}


@pytest.mark.parametrize(("protocol", "unfit"), [(TRIANGLE, 0.40), (DUO_TRIO, 0.55)])
def test_risks_of_repeated_choices_by_simulation(protocol, unfit):
    rule = choice_rule(protocol, unfit=unfit, fit=0.75, most=25, alpha=0.1, beta=0.1)
    rng, people = np.random.default_rng(1), 6000
    guess = float(protocol.guess)
    for ability, exact in ((unfit, rule.wrong_pass), (guess, rule.lucky_pass)):
        share = outcome(rule, ability, people, rng)[Verdict.PASS]
        assert abs(share - exact) < 4.5 * np.sqrt(exact * (1 - exact) / people)
    failed = outcome(rule, 0.75, people, rng)[Verdict.FAIL]
    assert abs(failed - rule.wrong_fail) < 4.5 * np.sqrt(rule.wrong_fail / people)


def test_lines_between_two_abilities_by_the_ratio():
    """The ratio of likelihoods at .65 and .40 against Wald's bounds, test by test."""
    rule = choice_rule(most=40)
    for tests in range(1, 41):
        for right in range(tests + 1):
            ratio = (0.65 / 0.40) ** right * (0.35 / 0.60) ** (tests - right)
            passes = right >= rule.plan.different_from[tests - 1]
            fails = right <= rule.plan.similar_to[tests - 1]
            assert passes == (ratio >= 19 * (1 - 1e-12))
            assert fails == (ratio <= 1 / 19 * (1 + 1e-12))


def test_abilities_are_those_of_the_plan():
    rule = choice_rule()
    assert float(TRIANGLE.pc_at(rule.plan.pd_null)) == pytest.approx(0.40, rel=1e-12)
    assert float(TRIANGLE.pc_at(rule.plan.pd_limit)) == pytest.approx(0.65, rel=1e-12)
    assert rule.wrong_pass <= 0.05 / 0.95  # Wald's inequality
    assert rule.lucky_pass < rule.wrong_pass < rule.plan.outcomes(0.2).different


def test_verdicts_of_repeated_choices():
    rule = choice_rule(most=12)
    assert (rule.decide([]).verdict, rule.decide([]).p_luck) == (Verdict.GO_ON, 1.0)
    passed = rule.decide([True] * 7)
    # (0.65 / 0.40)^7 = 29.9 >= 19, and the sixth power is 18.4.
    assert (passed.verdict, passed.result, passed.needed) == (Verdict.PASS, 7, 7)
    assert passed.p_luck == pytest.approx(3.0**-7)
    assert rule.decide([True] * 6).verdict is Verdict.GO_ON
    # (0.35 / 0.60)^6 = 0.0394 <= 1 / 19, and the fifth power is 0.068.
    assert rule.decide([False] * 6).verdict is Verdict.FAIL
    assert rule.decide([False] * 5).verdict is Verdict.GO_ON
    tired = rule.decide([True, False] * 6)
    assert tired.verdict is Verdict.FAIL
    assert tired.reason == "6 of 12 triangle tests right: not shown by the last test of the plan."
    # Answers after the stop do not count.
    assert rule.decide([True] * 7 + [False] * 5) == passed


def test_null_of_a_sequential_plan():
    plain = sequential_plan(TRIANGLE, most=30)
    same = sequential_plan(TRIANGLE, most=30, pd_null=0.0)
    assert plain.different_from == same.different_from
    assert plain.false_alarm == same.false_alarm


# Matching.


@pytest.mark.parametrize(("labels", "offered"), [(4, 4), (5, 5), (4, 6), (3, 7)])
@pytest.mark.parametrize("share", [0.5, 0.8, 1])
def test_risk_of_matching_by_listing(labels, offered, share):
    rule = matching_rule(labels, offered=offered, share=share)
    right = [sum(a == b for a, b in enumerate(w)) for w in permutations(range(offered), labels)]
    assert rule.wrong_pass == pytest.approx(np.mean(np.array(right) >= share * labels - 1e-9))
    for count in set(right):
        found = rule.decide(count)
        assert (found.verdict is Verdict.PASS) == (count >= share * labels - 1e-9)
        assert found.p_luck == pytest.approx(np.mean(np.array(right) >= count))


def test_needed_matches_are_settled_on_fractions():
    # 0.8 x 5 = 4 exactly, though 0.8 has no exact binary float; 0.8 x 6 = 4.8.
    assert [matching_rule(k).needed for k in (4, 5, 6, 10)] == [4, 4, 5, 8]
    assert matching_rule(10, share=0.7).needed == 7


# Orders.


@pytest.mark.parametrize("allowed", [0, 1, 2])
def test_risk_of_an_order_by_listing(allowed):
    rule = order_rule(DILUTIONS, most_inversions=allowed)
    passed = [rule.decide(order).verdict is Verdict.PASS for order in permutations(DILUTIONS)]
    assert rule.wrong_pass == pytest.approx(np.mean(passed))
    if allowed == 1:  # the right order and its four exchanges of neighbours
        assert sum(passed) == 5


def test_agreement_of_orders_against_scipy():
    rule = order_rule(DILUTIONS)
    everybody = [rule.agreement(order) for order in permutations(DILUTIONS)]
    for order, found in zip(permutations(DILUTIONS), everybody, strict=True):
        places = [DILUTIONS.index(name) for name in order]
        kendall = stats.kendalltau(range(5), places, method="exact", alternative="greater")
        assert found.kendall_tau == pytest.approx(kendall.statistic)
        assert found.p_kendall == pytest.approx(kendall.pvalue)
        assert found.spearman_rho == pytest.approx(stats.spearmanr(range(5), places).statistic)
        as_good = [other.spearman_rho >= found.spearman_rho - 1e-9 for other in everybody]
        assert found.p_spearman == pytest.approx(np.mean(as_good))


@settings(max_examples=50, deadline=None)
@given(st.permutations(DILUTIONS))
def test_a_reversed_order(order):
    rule = order_rule(DILUTIONS)
    there, back = rule.agreement(order), rule.agreement(order[::-1])
    assert there.inversions + back.inversions == comb(5, 2)
    assert there.kendall_tau == pytest.approx(-back.kendall_tau)
    assert there.spearman_rho == pytest.approx(-back.spearman_rho)
    # New names change nothing.
    turned = order_rule([f"dose {name}" for name in DILUTIONS])
    assert turned.agreement([f"dose {name}" for name in order]) == there


# All together.


def rules():
    return {
        "triangles": choice_rule(),
        "matching": matching_rule(5, offered=8),
        "sweetness": order_rule(DILUTIONS),
    }


def ada(**answers):
    return screening(rules(), {"Ada": answers})


GOOD = {"triangles": [True] * 7, "matching": 5, "sweetness": DILUTIONS}


@pytest.mark.parametrize(
    ("change", "verdict", "reasons"),
    [
        ({}, "pass", 3),
        ({"matching": 3}, "fail", 1),
        ({"matching": 3, "sweetness": DILUTIONS[::-1]}, "fail", 2),
        ({"matching": None}, "go on", 1),
        ({"triangles": [True, False], "matching": None}, "go on", 2),
        ({"triangles": [False] * 6, "matching": None}, "fail", 1),
    ],
)
def test_verdict_over_all_parts(change, verdict, reasons):
    found = screening(rules(), {"Ada": {**GOOD, **change}})
    one = found.candidates[0]
    assert one.verdict.value == verdict
    assert len(one.reasons) == reasons
    assert found.passed == (("Ada",) if verdict == "pass" else ())


def test_reasons_name_part_and_numbers():
    found = screening(rules(), {"Ada": {**GOOD, "matching": 3}, "Ben": {"matching": 4}})
    assert found.candidates[0].reasons == ("matching: 3 of 5 matches right, 4 are needed.",)
    assert found.candidates[1].reasons == ("triangles: not taken yet.", "sweetness: not taken yet.")


def test_overall_risk_by_simulation():
    """Candidates who know nothing at all, in parts that luck passes often."""
    parts = {
        "triangles": choice_rule(unfit=0.34, fit=0.6, alpha=0.3, beta=0.2, most=15),
        "matching": matching_rule(3, share=0.3),
        "sweetness": order_rule(DILUTIONS[:3], most_inversions=1),
    }
    rng, people = np.random.default_rng(5), 6000
    answers = {}
    for n in range(people):
        answers[f"candidate {n}"] = {
            "triangles": [bool(one) for one in rng.random(15) < 0.34],
            "matching": int((rng.permutation(3) == np.arange(3)).sum()),
            "sweetness": [DILUTIONS[i] for i in rng.permutation(3)],
        }
    found = screening(parts, answers)
    share = len(found.passed) / people
    exact = found.wrong_pass
    assert abs(share - exact) < 4.5 * np.sqrt(exact * (1 - exact) / people)
    assert exact == pytest.approx(np.prod([rule.wrong_pass for rule in parts.values()]))
    assert found.wrong_pass_by_one == pytest.approx(4 / 6)


def test_tables():
    found = screening(rules(), {"Ada": GOOD, "Ben": {"matching": 2}})
    rows = found.summary().records()
    assert len(rows) == 6
    assert [row["part verdict"] for row in rows] == ["pass"] * 3 + ["go on", "fail", "go on"]
    assert (rows[4]["result"], rows[4]["needed"]) == (2, 4)
    assert rows[3]["reason"] == "Not taken yet."
    risks = found.risks().records()
    assert [row["part"] for row in risks[:3]] == list(rules())
    assert risks[3]["wrong pass"] == found.wrong_pass
    assert risks[4]["wrong pass"] == pytest.approx(1 - (1 - found.wrong_pass) ** 2)
    assert all("from memory" in row["source"] for row in risks[:3])
    assert found._repr_html_().count("<table>") == 2


@settings(max_examples=30, deadline=None)
@given(st.permutations(["Ada", "Ben", "Cleo"]), st.permutations(list(GOOD)))
def test_order_of_candidates_and_parts_does_not_matter(people, parts):
    answers = {
        "Ada": GOOD,
        "Ben": {"matching": 2, "sweetness": DILUTIONS},
        "Cleo": {"triangles": [True]},
    }
    known = rules()
    one = screening(known, answers)
    other = screening({part: known[part] for part in parts}, {who: answers[who] for who in people})
    assert {c.assessor: c.verdict for c in one.candidates} == {
        c.assessor: c.verdict for c in other.candidates
    }
    assert other.wrong_pass == pytest.approx(one.wrong_pass)


# Bad calls.


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: sequential_plan(TRIANGLE, most=9, pd_null=0.3), "below pd_limit; got 0.3 and"),
        (lambda: sequential_plan(TRIANGLE, most=9, pd_null=-0.1), "pd_null must lie .* got -0.1"),
        (lambda: choice_rule("square"), "protocol 'square' is not known; possible are TRIANGLE"),
        (lambda: choice_rule(unfit=0.3), r"unfit must lie from guessing \(0.333\) to below fit"),
        (lambda: choice_rule(unfit=0.7), "got unfit 0.7 and fit 0.65"),
        (lambda: choice_rule(fit=65), r"fit must lie strictly between 0 and 1.* write 0.65"),
        (lambda: choice_rule(most=0), "most must be at least 1"),
        (lambda: choice_rule().decide([1, 0]), r"answers\[0\] must be True or False; got 1"),
        (lambda: matching_rule(1), "labels must be at least 2; got 1"),
        (lambda: matching_rule(31), "labels must be at most 30; got 31"),
        (lambda: matching_rule(5, offered=4), r"offered must lie between labels \(5\) and 300"),
        (lambda: matching_rule(5, share=80), "share must lie strictly between 0 and 1"),
        (lambda: matching_rule(5).decide(6), "matches cannot be 6 of 5: there are 5"),
        (lambda: matching_rule(5).decide(4), "4 of 5: when all others are right the last one is"),
        (lambda: order_rule("ABC"), "order must hold 3 to 12 different names; got ABC"),
        (lambda: order_rule(["A", "B", "B"]), "different names; got A, B, B"),
        (lambda: order_rule(DILUTIONS, most_inversions=10), "must lie below 10, the number of"),
        (lambda: order_rule(DILUTIONS).decide(DILUTIONS[:4]), "an order must hold each of 1 %"),
        (lambda: screening({}, {"Ada": {}}), "rules must name at least one part"),
        (lambda: screening(rules(), {}), "answers must hold at least one candidate"),
        (lambda: screening({"x": 0.8}, {"Ada": {}}), r"rules\['x'\] must come from choice_rule"),
        (
            lambda: screening({"x": sequential_plan(TRIANGLE, most=9)}, {"Ada": {}}),
            "must come from",
        ),
        (lambda: screening(rules(), {"Ada": 5}), "answers of Ada must be a mapping by part"),
        (lambda: ada(odour=5), "odour, for which there is no rule; the parts are triangles"),
        (lambda: ada(matching="five"), "Ada, matching: matches must be"),
        (lambda: ada(triangles=5), "Ada, triangles: .* sequence of True and False; got 5"),
        (lambda: ada(sweetness=["1 %"]), "Ada, sweetness: an order must hold each of"),
    ],
)
def test_bad_calls(call, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        call()
