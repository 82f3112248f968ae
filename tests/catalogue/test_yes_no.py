"""A - not A, same-different and sureness: findings against other routes."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.stats import binomtest, fisher_exact, mannwhitneyu

import sensory.catalogue.tests  # noqa: F401  # readers look their kinds up there
from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.catalogue.graded_read import read_sureness
from sensory.catalogue.question import Question
from sensory.catalogue.yes_no_read import read_a_not_a, read_same_different
from sensory.choices.same_different import same_different
from sensory.choices.sureness_by_assessor import sureness_by_assessor
from sensory.choices.two_by_two import by_assessor_one_sided


def enumerated(table) -> float:
    """P(as many 'yes' to the first kind) over every way to deal each assessor's answers."""
    observed = sum(row[0] for row in table)
    chances = {0: 1.0}
    for yes, served, other_yes, other in table:
        dealt: dict[int, int] = {}
        for answers in product((0, 1), repeat=served + other):
            if sum(answers) == yes + other_yes:
                dealt[sum(answers[:served])] = dealt.get(sum(answers[:served]), 0) + 1
        ways = sum(dealt.values())
        chances = {
            total: sum(chances.get(total - k, 0.0) * count / ways for k, count in dealt.items())
            for total in {a + k for a in chances for k in dealt}
        }
    return sum(chance for total, chance in chances.items() if total >= observed)


@pytest.mark.parametrize(
    "table",
    [
        [(1, 1, 0, 1), (1, 1, 1, 1), (0, 1, 1, 1), (1, 1, 0, 1)],
        [(2, 3, 1, 2), (3, 3, 0, 2), (0, 2, 2, 3)],
        [(3, 4, 1, 4)],
        [(2, 2, 0, 0), (1, 2, 0, 2)],
    ],
)
def test_conditional_test_by_enumeration(table):
    assert by_assessor_one_sided(np.array(table)) == pytest.approx(enumerated(table), rel=1e-12)


def test_conditional_test_is_fisher_for_one_and_mcnemar_for_pairs():
    one = np.array([[14, 20, 7, 22]])
    expected = fisher_exact([[14, 6], [7, 15]], alternative="greater").pvalue
    assert by_assessor_one_sided(one) == pytest.approx(expected, rel=1e-10)
    pairs = np.array([[1, 1, 0, 1]] * 9 + [[0, 1, 1, 1]] * 2 + [[1, 1, 1, 1]] * 8)
    expected = binomtest(9, 11, 0.5, alternative="greater").pvalue
    assert by_assessor_one_sided(pairs) == pytest.approx(expected, rel=1e-10)


def test_habits_of_people_do_not_pass_for_a_difference():
    """Assessors whose habit of saying 'A' differs widely: the rate stays below alpha."""
    rng = np.random.default_rng(7)
    found, pooled, sessions = 0, 0, 1000
    for _ in range(sessions):
        habit = rng.beta(0.4, 0.4, 20)
        # half judge more of A, half more of B, and those with more A say 'A' more readily
        habit[:10] = np.clip(habit[:10] + 0.25, 0, 1)
        served = np.where(np.arange(20) < 10, 4, 1)
        table = np.column_stack(
            [rng.binomial(served, habit), served, rng.binomial(5 - served, habit), 5 - served]
        )
        found += by_assessor_one_sided(table) <= 0.05
        pooled += by_assessor_one_sided(table.sum(0, keepdims=True)) <= 0.05
    assert found / sessions <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / sessions)
    assert pooled / sessions > 0.2  # pooling would be wrong here


def rows_of(column, given, *, many=None):
    """Answers of one person each, or of so many people in turn."""
    return [
        {"assessor": f"P{number % (many or len(given))}", column: served, "answer": answer}
        for number, (served, answer) in enumerate(given)
    ]


def a_rows(hits, a_served, alarms, not_a, *, each_once=True):
    given = [("A", "A" if i < hits else "not A") for i in range(a_served)]
    given += [("B", "A" if i < alarms else "not A") for i in range(not_a)]
    return rows_of("sample", given, many=None if each_once else a_served)


def test_a_not_a_one_answer_each():
    read = read_a_not_a(a_rows(32, 40, 14, 40), Question(protocol="A_NOT_A"))
    numbers = {row[0]: row[1] for row in read.tables[0][1].rows}
    expected = fisher_exact([[32, 8], [14, 26]], alternative="greater").pvalue
    assert numbers["p, exact, one-sided"] == pytest.approx(expected, rel=1e-10)
    assert read.finding is Finding.DIFFERENT
    assert "32 of 40" in read.because
    assert "14 of 40" in read.because


def test_a_not_a_never_says_similar():
    read = read_a_not_a(a_rows(200, 400, 200, 400), Question(protocol="A_NOT_A"))
    assert read.finding is Finding.UNDECIDED
    assert any("ISO 8588:2017 excludes it" in line for line in read.cannot_tell)


@pytest.mark.parametrize("many", [40, 400])
def test_graded_answers_never_say_similar(many):
    """As without grades; the same counts on both sides are as alike as can be."""
    alike = graded([1, 2, 3, 4] * many, [1, 2, 3, 4] * many)
    read = read_sureness(alike, Question(protocol="SURENESS", settings={"dprime_limit": 3.0}))
    assert read.finding is Finding.UNDECIDED
    assert (read.limit, read.beta) == (None, None)
    assert any("ISO 8588:2017 excludes it" in line for line in read.cannot_tell)
    apart = read_sureness(graded([1] * 30 + [2], [4] * 30 + [3]), Question(protocol="SURENESS"))
    assert (apart.finding, apart.sentence) == (Finding.DIFFERENT, "A difference is perceptible.")


def test_a_not_a_both_samples_each_is_mcnemar():
    rows = a_rows(15, 20, 8, 20, each_once=False)
    read = read_a_not_a(rows, Question(protocol="A_NOT_A"))
    numbers = {row[0]: row[1] for row in read.tables[0][1].rows}
    # hits are assessors 0 to 14, false alarms assessors 0 to 7: 7 discordant, all one way
    assert numbers["p, exact, one-sided"] == pytest.approx(0.5**7, rel=1e-12)
    assert "spread of criteria between assessors" in numbers


def sd_rows(same_same, same, same_different, different, *, each_once=True):
    given = [("AA", "same" if i < same_same else "different") for i in range(same)]
    given += [("AB", "same" if i < same_different else "different") for i in range(different)]
    return rows_of("pair", given, many=None if each_once else same)


@pytest.mark.parametrize(
    ("counts", "limit", "finding"),
    [
        ((28, 40, 12, 40), 2.0, Finding.DIFFERENT),
        ((28, 40, 12, 40), 1.4, Finding.BEYOND_LIMIT),
        ((120, 200, 122, 200), 1.5, Finding.SIMILAR),
        ((130, 200, 105, 200), 3.0, Finding.DIFFERENT_WITHIN_LIMIT),
        ((14, 20, 13, 20), 1.0, Finding.UNDECIDED),
    ],
)
def test_same_different_findings(counts, limit, finding):
    question = Question(protocol="SAME_DIFFERENT", settings={"dprime_limit": limit})
    read = read_same_different(sd_rows(*counts), question)
    numbers = {row[0]: row[1] for row in read.tables[0][1].rows}
    upper = numbers["d-prime, upper limit, one-sided"]
    p = fisher_exact(
        [[counts[0], counts[1] - counts[0]], [counts[2], counts[3] - counts[2]]],
        alternative="greater",
    ).pvalue
    assert read.finding is finding
    lower = numbers["d-prime, lower limit, one-sided"]
    assert lower == same_different(*counts, level=0.9).limits.low
    assert (p <= 0.05) == finding.significant
    assert (lower > limit) == (finding is Finding.BEYOND_LIMIT)
    assert (upper < limit) == (finding in (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT))


def test_same_different_of_the_same_people_is_not_similar():
    question = Question(protocol="SAME_DIFFERENT", settings={"dprime_limit": 1.5})
    read = read_same_different(sd_rows(120, 200, 122, 200, each_once=False), question)
    assert read.finding is Finding.UNDECIDED
    assert any("answers of one person go together" in line for line in read.cannot_tell)


def graded(reference, product_grades, *, each_once=True):
    given = [("A", grade) for grade in reference] + [("B", grade) for grade in product_grades]
    return rows_of("sample", given, many=None if each_once else len(reference))


def test_sureness_one_answer_each_is_the_rank_sum_test():
    reference = [1] * 20 + [2] * 12 + [3] * 6 + [4] * 2
    other = [1] * 6 + [2] * 9 + [3] * 13 + [4] * 12
    read = read_sureness(
        graded(reference, other), Question(settings={"dprime_limit": 1.0}, protocol="SURENESS")
    )
    row = read.tables[0][1].rows[0]
    expected = mannwhitneyu(
        other, reference, alternative="greater", use_continuity=False, method="asymptotic"
    )
    assert row[8] == pytest.approx(expected.pvalue, rel=1e-8)
    assert row[5] == pytest.approx(expected.statistic / 1600)
    assert read.finding is Finding.DIFFERENT


def test_sureness_of_the_same_people_is_the_sign_test():
    reference, other = [1, 1, 2, 2, 3, 1, 2, 1, 1, 2], [2, 3, 2, 4, 4, 2, 1, 4, 2, 3]
    read = read_sureness(
        graded(reference, other, each_once=False),
        Question(settings={"dprime_limit": 1.0}, protocol="SURENESS"),
    )
    # further 8, nearer 1, equal 1
    expected = binomtest(8, 9, 0.5, alternative="greater").pvalue
    assert read.tables[0][1].rows[0][8] == pytest.approx(expected, rel=1e-12)
    assert any("go together" in line for line in read.cannot_tell)
    tables = dict(read.tables)
    rows = {row[0]: row[1:] for row in tables["By assessor"].rows}
    own = sureness_by_assessor(
        [
            [[int(grade == given) for grade in (1, 2, 3, 4)] for given in pair]
            for pair in zip(reference, other, strict=True)
        ]
    ).products[0]
    limits = own.limits.low, own.limits.high
    assert rows["B: d-prime, within an assessor"][:3] == (own.dprime, *limits)
    assert rows["B: d-prime, over assessors"][0] == own.dprime_marginal
    assert rows["B: d-prime, within an assessor, standard error"][0] == own.se
    assert tables["The numbers"].rows[0][2:5] == (own.dprime, *limits)


def test_sureness_of_many_products_adjusts_by_holm_and_names_each():
    rng = np.random.default_rng(3)
    rows = []
    for person in range(60):
        for sample, shift in (("A", 0.0), ("near", 0.1), ("far", 2.2), ("farther", 2.6)):
            grade = int(np.searchsorted([-0.4, 0.6, 1.4], rng.normal(shift))) + 1
            rows.append({"assessor": f"P{person}", "sample": sample, "answer": grade})
    read = read_sureness(rows, Question(settings={"dprime_limit": 1.0}, protocol="SURENESS"))
    by_name = {row[0]: row for row in read.tables[0][1].rows}
    raw = sorted(row[8] for row in by_name.values())
    adjusted = sorted(row[9] for row in by_name.values())
    assert adjusted[0] == pytest.approx(3 * raw[0])
    assert adjusted[1] == pytest.approx(max(3 * raw[0], 2 * raw[1]))
    assert by_name["far"][1] == "Different"
    assert by_name["near"][1] == "Undecided"
    assert "far: different" in read.sentence


SURE = Question(protocol="SURENESS", settings={"dprime_limit": 1.0})


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: read_a_not_a(a_rows(3, 5, 0, 0), Question(pd_limit=0.30)), "A and B both need"),
        (lambda: read_same_different(sd_rows(3, 5, 0, 0), Question(pd_limit=0.30)), "both need"),
        (
            lambda: read_sureness(graded([1, 2], []), Question()),
            "at least one product",
        ),
        (lambda: read_sureness(graded([2, 2], [2, 2]), SURE), "the same grade"),
    ],
)
def test_nothing_to_compare_is_refused(call, message):
    with pytest.raises(ArgumentError, match=message):
        call()


def test_one_assessor_is_not_many():
    question = Question(protocol="SAME_DIFFERENT", settings={"dprime_limit": 1.5})
    rows = [row | {"assessor": "Ada"} for row in sd_rows(40, 60, 40, 60)]
    read = read_same_different(rows, question)
    assert read.finding is Finding.UNDECIDED
    assert read.cannot_tell[0] == "One assessor answered: the finding speaks for that person only."
    alone = read_a_not_a(
        [row | {"assessor": "Ada"} for row in a_rows(6, 6, 1, 6)], Question(pd_limit=0.30)
    )
    assert "that person only" in alone.cannot_tell[0]


def test_answers_the_wrong_way_round_are_not_similar():
    question = Question(protocol="SAME_DIFFERENT", settings={"dprime_limit": 1.5})
    read = read_same_different(sd_rows(4, 30, 26, 30), question)
    assert read.finding is Finding.UNDECIDED
    assert any("wrong way round" in line for line in read.cannot_tell)
    turned = graded([4] * 25 + [3] * 5, [1] * 25 + [2] * 5)
    read = read_sureness(turned, Question(protocol="SURENESS"))
    assert read.finding is Finding.UNDECIDED
    assert any("wrong way round" in line for line in read.cannot_tell)


def test_reference_of_sureness_may_be_written_small():
    rows = [row | {"sample": row["sample"].lower()} for row in graded([1, 2, 1, 1], [3, 4, 4, 2])]
    assert [row[0] for row in read_sureness(rows, SURE).tables[0][1].rows] == ["b"]
