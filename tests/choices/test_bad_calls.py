"""Bad calls of forced choices, plans and signal tests, and what the sentence of each names.

Which values no count and no probability may take is checked in tests/base/test_checks.py.
"""

import re

import numpy as np
import pytest

from sensory.base.errors import ArgumentError
from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.counts import critical_counts, similar_counts
from sensory.choices.dprime import carried_pd, estimate_dprime
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import DUO_TRIO, PAIRED, TRIANGLE, find_protocol
from sensory.choices.replicate_gain import replicate_gain
from sensory.choices.replicates import replicated_choice_test
from sensory.choices.retests import retest_risk
from sensory.choices.risks import session_risks
from sensory.choices.same_different import same_different
from sensory.choices.sequential import sequential_plan
from sensory.choices.size import (
    deciding_size,
    fair_pass_size,
    operating_characteristic,
    panel_size,
    power,
)
from sensory.choices.sureness import sureness_test
from sensory.choices.sureness_by_assessor import sureness_by_assessor
from sensory.choices.two_stage import two_stage_plan

NAN, INF = float("nan"), float("inf")
STAGES = two_stage_plan(TRIANGLE, most=60, pd_limit=0.4)
WALD = sequential_plan(TRIANGLE, most=30)
HIDDEN = np.ma.masked_array([5, 14], mask=[False, True])
NO_PROTOCOL = "protocol must be one of"
NOT_KNOWN = "protocol 'x' is not known"


def choice(correct=5, trials=24, **options):
    return choice_test(TRIANGLE, correct, trials, **options)


def risks(trials=24, **options):
    return session_risks(TRIANGLE, trials, **options)


def gain(**changed):
    usual = {"assessors": 12, "replicates": 2, "pd": 0.3, "spread": 0.2}
    return replicate_gain(TRIANGLE, **(usual | changed))


BAD = [
    # call, part of the sentence
    (lambda: choice(NAN), "correct must be finite; got nan"),
    (lambda: choice([5, NAN]), "correct must be finite; got nan"),
    (lambda: choice(5, INF), "trials must be finite; got inf"),
    (lambda: choice(-1), "correct must be at least 0; got -1"),
    (lambda: choice(5, -24), "trials must be at least 1; got -24"),
    (lambda: choice(0, 0), "trials must be at least 1; got 0"),
    (lambda: choice(5.5), "correct must be whole numbers; got 5.5"),
    (lambda: choice(5, 24.5), "trials must be whole numbers; got 24.5"),
    (lambda: choice(24, 14), "got 24 correct of 14"),
    (lambda: choice([5, 30], [24, 29]), "got 30 correct of 29"),
    (lambda: choice(5, 10**8), "trials must be at most 10,000,000; got 1e+08"),
    (lambda: choice([], []), "correct is empty"),
    (lambda: choice(5, []), "trials is empty"),
    (lambda: choice([5, 6], [24, 24, 24]), "correct has shape (2,) and trials (3,)"),
    (lambda: choice(HIDDEN), "correct"),
    (lambda: choice("5"), "correct must be a number or an array of numbers; got '5'"),
    (lambda: choice(5, 24 + 0j), "trials must be a number or an array of numbers; got (24+0j)"),
    (lambda: choice(alpha=5), "alpha must lie strictly between 0 and 1; got 5"),
    (lambda: choice(alpha=[0.05, 0.1]), "alpha must be one number, got 2"),
    (lambda: choice(beta=True), "beta must be a number between 0 and 1; got True"),
    (lambda: choice(beta=-0.05), "beta must lie strictly between 0 and 1; got -0.05"),
    (lambda: choice(pd_limit=30), "For 30 % write 0.3"),
    (lambda: choice(pd_limit=0), "pd_limit must lie strictly between 0 and 1; got 0"),
    (lambda: choice(two_sided=True), "two_sided is not possible for a triangle"),
    (lambda: choice_test("square", 5, 24), "protocol 'square' is not known; possible are TRIANGLE"),
    (lambda: choice_test(14, TRIANGLE, 24), "such as TRIANGLE; got 14"),
    (lambda: critical_counts("", 24), "protocol '' is not known"),
    (lambda: critical_counts(TRIANGLE, 0), "trials must be at least 1; got 0"),
    (lambda: critical_counts(TRIANGLE, []), "trials is empty"),
    (lambda: critical_counts(TRIANGLE, [24, 30], [0.1] * 3), "trials has shape (2,) and alpha (3,"),
    (lambda: critical_counts(TRIANGLE, 24, [0.05, 1.5]), "alpha must lie strictly"),
    (lambda: critical_counts(TRIANGLE, 24, []), "alpha is empty"),
    (lambda: critical_counts(DUO_TRIO, 24, two_sided=True), "not possible for a duo-trio"),
    (lambda: similar_counts(TRIANGLE, 24, 0.05, [0.2, 0.3]), "pd_limit must be one number"),
    (lambda: similar_counts(TRIANGLE, 24, "5 %"), "beta must be a number between 0 and 1"),
    (lambda: similar_counts(TRIANGLE, 24.5), "trials must be whole numbers; got 24.5"),
    (lambda: risks([10, 20]), "trials must be one number"),
    (lambda: risks(NAN), "trials must be finite"),
    (lambda: risks(alpha=[0.05, 0.1]), "alpha must be one number"),
    (lambda: risks(beta=[0.05, 0.1]), "beta must be one number"),
    (lambda: risks(pd_limit=NAN), "pd_limit must be finite"),
    (lambda: risks(two_sided=True), "two_sided is not possible for a triangle"),
    (lambda: session_risks(None, 24), NO_PROTOCOL),
    (lambda: find_protocol("square"), "'square' is not known; possible are TRIANGLE, DUO_TRIO"),
    (lambda: find_protocol(""), "protocol '' is not known"),
    (lambda: find_protocol(None), "protocol must be a name; got None"),
    (lambda: PAIRED.right_answers("AAB"), "no order of a paired comparison test; possible are AB,"),
    (lambda: TRIANGLE.right_answers(None), "order None is no order of a triangle"),
    (lambda: PAIRED.right_answers("AB", "C"), "target"),
    (lambda: estimate_dprime(("TRIANGLE",), 5, 9), NO_PROTOCOL),
    (lambda: estimate_dprime(TRIANGLE, 10, 9), "correct must not exceed trials; got 10 correct of"),
    (lambda: estimate_dprime(TRIANGLE, NAN, 9), "correct must be finite; got nan"),
    (lambda: estimate_dprime(TRIANGLE, 5, 9, level=95), "For 95 % write 0.95"),
    (lambda: carried_pd(1.2, source=TRIANGLE, target=TRIANGLE), "pd must lie between 0 and 1"),
    (lambda: carried_pd(0.2, source="x", target=TRIANGLE), NOT_KNOWN),
    (lambda: carried_pd(0.2, source=TRIANGLE, target=None), NO_PROTOCOL),
    (lambda: panel_size(b"TRIANGLE", pd=0.3), NO_PROTOCOL),
    (lambda: panel_size(TRIANGLE), "exactly one of the two"),
    (lambda: panel_size(TRIANGLE, pd=0.3, dprime=1), "exactly one of the two"),
    (lambda: panel_size(TRIANGLE, pd=1.3), "pd must lie between 0 and 1; got 1.3"),
    (lambda: panel_size(TRIANGLE, pd=NAN), "pd must lie between 0 and 1; got nan"),
    (lambda: panel_size(TRIANGLE, pd="a"), "pd must be a number"),
    (lambda: panel_size(TRIANGLE, pd=0), "pd"),
    (lambda: panel_size(TRIANGLE, dprime=0), "choose a larger"),
    (lambda: panel_size(TRIANGLE, dprime=-1), "dprime must lie between 0 and inf; got -1"),
    (lambda: panel_size(TRIANGLE, pd=0.0001), "more than 200,000 assessors"),
    (lambda: panel_size(TRIANGLE, pd=0.3, alpha=0), "alpha must lie strictly between 0 and 1"),
    (lambda: panel_size(TRIANGLE, pd=0.3, beta=[0.1, 1]), "beta must lie strictly between 0 and 1"),
    (lambda: panel_size(TRIANGLE, pd=0.3, rule="last"), "rule must be 'first' or 'stable'"),
    (lambda: panel_size(TRIANGLE, pd=[0.1, 0.2], alpha=[0.1, 0.2, 0.3]), "alpha"),
    (lambda: panel_size(TRIANGLE, pd=[]), "pd is empty"),
    (lambda: power(TRIANGLE, 0, pd=0.3), "trials must be at least 1; got 0"),
    (lambda: power(TRIANGLE, 24.5, pd=0.3), "trials must be whole numbers; got 24.5"),
    (lambda: power(TRIANGLE, 24), "exactly one of the two"),
    (lambda: power(TRIANGLE, 24, pd=0.3, alpha=[0.1, 0.2]), "alpha"),
    (lambda: power(TRIANGLE, [24, 30], pd=[0.1, 0.2, 0.3]), "trials"),
    (lambda: power(None, 24, pd=0.3), NO_PROTOCOL),
    (lambda: operating_characteristic(TRIANGLE, [24, 30], pd=0.3), "trials must be one number"),
    (lambda: operating_characteristic(TRIANGLE, [24], pd=0.3), "trials must be one number"),
    (lambda: operating_characteristic(TRIANGLE, 24, pd=0.3, alpha=[0.1, 0.2]), "alpha"),
    (lambda: operating_characteristic(TRIANGLE, 24, pd=0.3, pd_limit=0), "pd_limit must lie"),
    (lambda: deciding_size("x", pd=0.3), NOT_KNOWN),
    (lambda: deciding_size(TRIANGLE, pd=[0.1, 0.2]), "one number"),
    (lambda: deciding_size(TRIANGLE, pd=0.3, chance=1), "chance must lie strictly between"),
    (lambda: deciding_size(TRIANGLE), "exactly one of the two"),
    (lambda: fair_pass_size("x"), NOT_KNOWN),
    (lambda: fair_pass_size(TRIANGLE, chance=90), "For 90 % write 0.9"),
    (lambda: fair_pass_size(TRIANGLE, pd_limit=0.0001), "more than 200,000 assessors"),
    (lambda: two_stage_plan(TRIANGLE, most=1), "most must be at least 2; got 1"),
    (lambda: two_stage_plan(TRIANGLE, most=401), "most must be at most 400; got 401"),
    (lambda: two_stage_plan(TRIANGLE, most=12), "no two-stage plan with 12 answers or fewer"),
    (lambda: two_stage_plan(TRIANGLE, most=60, alpha=5), "For 5 % write 0.05"),
    (lambda: STAGES.decide(17), "correct_first must be at most 16, the answers served; got 17"),
    (lambda: STAGES.decide(-1), "correct_first must be at least 0"),
    (lambda: STAGES.decide(7, 25), "correct_second must be at most 24"),
    (lambda: STAGES.decide([6, 7]), "correct_first must be one number"),
    (lambda: STAGES.decide(7.5), "correct_first must be whole numbers"),
    (lambda: STAGES.outcomes(1.5), "pd must lie between 0 and 1; got 1.5"),
    (lambda: STAGES.outcomes([0.1, 0.2]), "pd"),
    (lambda: retest_risk(TRIANGLE, 12, tries=0, pd=0.3), "tries must be at least 1; got 0"),
    (lambda: retest_risk(TRIANGLE, 12, tries=3, pd=0.3, passes="ok"), "passes must be"),
    (lambda: retest_risk(TRIANGLE, 12, tries=3, pd=-0.1), "pd must lie between 0 and 1"),
    (lambda: retest_risk(TRIANGLE, 12, tries=3, pd=0.3, alpha=[0.1, 0.2]), "alpha"),
    (lambda: sequential_plan(TRIANGLE, most=0), "most must be at least 1; got 0"),
    (lambda: sequential_plan(TRIANGLE, most=2001), "most must be at most 2,000; got 2001"),
    (lambda: sequential_plan(TRIANGLE, most=9, alpha=0.6, beta=0.4), "alpha + beta must lie below"),
    (lambda: WALD.decide([True, None]), "answers[1] must be True or False; got None"),
    (lambda: WALD.decide([True, 1, False]), "answers[1] must be True or False; got 1"),
    (lambda: WALD.decide("101"), "answers[0] must be True or False; got '1'"),
    (lambda: WALD.decide(None), "answers"),
    (lambda: replicated_choice_test(TRIANGLE, [4, 1], 3), "correct must not exceed"),
    (lambda: replicated_choice_test(TRIANGLE, 4, 12), "a sequence with one count"),
    (lambda: replicated_choice_test(TRIANGLE, [2], 3), "a sequence with one count"),
    (lambda: replicated_choice_test(TRIANGLE, [1, 0, 1], 1), "use choice_test"),
    (lambda: replicated_choice_test(TRIANGLE, [[1, 2], [1, 0]], [[1, 2], [1, 1]]), "in correct[1]"),
    (lambda: replicated_choice_test(TRIANGLE, [[[2]]], 3), "a sequence with one count"),
    (lambda: replicated_choice_test(TRIANGLE, [[1, 2]] * 2, 2).summary(), "table is for one"),
    (lambda: replicated_choice_test(TRIANGLE, [[1, 2]] * 2, 2).plot(), "plot is for one session"),
    (lambda: replicated_choice_test(TRIANGLE, [[1, 2]] * 2, 2).spread_unknown, "holds 2; call"),
    (lambda: replicated_choice_test(TRIANGLE, [1, 30], 41), "at most 40 a person; got 41"),
    (lambda: replicated_choice_test(TRIANGLE, [1, 2], [3, 0]), "must be at least 1; got 0"),
    (lambda: gain(spread=1.0), "spread must lie between 0 and 0.999; got 1"),
    (lambda: gain(pd=1.2), "pd must lie between 0 and 1"),
    (lambda: gain(assessors=0), "assessors must be at least 1; got 0"),
    (lambda: gain(replicates=1100), "replicates must be at most"),
    (lambda: gain(pd=[0.1, 0.2]), "pd must be one number"),
    (lambda: a_not_a(41, 40, 3, 40), "hits must not exceed"),
    (lambda: a_not_a(3, 40, 41, 40), "false_alarms must not exceed"),
    (lambda: a_not_a(0, 0, 3, 40), "must be at least 1; got 0"),
    (lambda: a_not_a(NAN, 40, 3, 40), "hits must be finite; got nan"),
    (lambda: a_not_a([1, 2], 40, 3, 40), "must be single numbers"),
    (lambda: a_not_a(3, 40, 1, 40, level=1), "level must lie strictly between 0 and 1"),
    (lambda: a_not_a(3, 40, 1, 40, method="wald"), "'exact', 'mid-p' or 'profile'; got 'wald'"),
    (lambda: a_not_a_by_assessor([[1, 1, 0, 1]]), "two or more assessors"),
    (lambda: a_not_a_by_assessor([1, 1, 0, 1]), "got the shape (4,)"),
    (lambda: a_not_a_by_assessor([[2, 1, 0, 1]] * 3), "must not exceed the samples served"),
    (lambda: a_not_a_by_assessor([[1, 1, 0, 0]] * 3), "both kinds have to be served"),
    (lambda: same_different(41, 40, 3, 40), "said_same_of_same must not exceed same_pairs"),
    (lambda: same_different(3, 40, -1, 40), "said_same_of_different must be at least 0"),
    (lambda: same_different(3, 40, 1, 0), "different_pairs must be at least 1"),
    (lambda: same_different("3", 40, 1, 4), "said_same_of_same must be a number"),
    (lambda: sureness_test([1, 2, 3]), "a row for the reference"),
    (lambda: sureness_test([[1, 2], [0, 0]]), "every row of the table needs"),
    (lambda: sureness_test([[4, 0], [5, 0]]), "all answers have the same grade"),
    (lambda: sureness_test([[4, NAN], [5, 2]]), "table must be finite; got nan"),
    (lambda: sureness_test([[4, 1.5], [5, 2]]), "table must be whole numbers; got 1.5"),
    (lambda: sureness_test([[4, 1], [5]]), "table must be a number or an array of numbers"),
    (lambda: sureness_test(np.ones((2, 3)), method="exact"), "'student' or 'profile'; got 'exact'"),
    (lambda: sureness_by_assessor(np.ones((2, 3))), "a table for each of two or more assessors"),
    (lambda: sureness_by_assessor(np.ones((1, 2, 3))), "two or more assessors"),
    (lambda: sureness_by_assessor([[[1, 2], [0, 0]]] * 3), "every product need at least one"),
    (lambda: sureness_by_assessor([[[1, 0], [2, 0]]] * 3), "all answers have the same grade"),
    (lambda: sureness_by_assessor([[[1, 1], [2, 0]]] * 3, unequal=True), "three grades or more"),
    (lambda: estimate_dprime(TRIANGLE, 7, 24, signed=True), "that of a paired comparison"),
    (lambda: sureness_test(np.ones((2, 3)), level=0), "level must lie strictly between 0 and 1"),
]


@pytest.mark.parametrize(("call", "message"), BAD, ids=range(1, len(BAD) + 1))
def test_bad_call_gets_its_sentence(call, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        call()
