"""The finding of one session in words, and what it says it cannot tell."""

import re

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED, PROTOCOLS, THREE_AFC, TRIANGLE
from sensory.choices.session_finding import session_finding

WIDE = {"alpha": 0.2, "beta": 0.2, "pd_limit": 0.4}


def words(result):
    return " ".join(result.cannot_tell)


@pytest.mark.parametrize(
    ("correct", "trials", "options", "finding", "sentence"),
    [
        (14, 24, {}, "DIFFERENT", "The batch deviates perceptibly from the reference."),
        (22, 66, {}, "SIMILAR", "Any difference is below the agreed limit."),
        (
            13,
            30,
            WIDE,
            "DIFFERENT_WITHIN_LIMIT",
            "A difference is perceptible, and it is below the agreed limit.",
        ),
        (10, 24, {}, "UNDECIDED", "This session cannot tell."),
    ],
)
def test_all_four_findings(correct, trials, options, finding, sentence):
    # The sentences are those of the design notes of this project, section 3.
    result = session_finding(TRIANGLE, correct, trials, **options)
    assert result.finding is Finding(finding)
    assert result.sentence == sentence


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_finding_is_that_of_the_test(protocol):
    tests = choice_test(protocol, range(25), 24)
    for correct in range(25):
        result = session_finding(protocol, correct, 24)
        assert result.test.finding is tests.finding[correct]
        # so few correct that guessing gives them once in a thousand: no similarity then
        strange = binom.cdf(correct, 24, float(protocol.guess)) <= 0.001
        assert result.finding is (Finding.UNDECIDED if strange else result.test.finding)
        assert result.risks.trials == 24


def test_because_gives_the_counts():
    result = session_finding(TRIANGLE, 14, 24)
    assert result.because == (
        "14 of 24 answers were correct; with 24 answers 13 or more would show a difference "
        "and 8 or fewer would show similarity."
    )


def test_because_where_no_count_exists():
    result = session_finding(TRIANGLE, 1, 2)
    assert "no count would show a difference and no count would show similarity" in result.because


def test_because_of_a_two_sided_question_speaks_of_the_commoner_choice():
    result = session_finding(PAIRED, 10, 50, two_sided=True)
    assert result.because.startswith("40 of 50 answers named A, the reference;")


def test_undecided_is_never_the_same_and_names_the_panel():
    result = session_finding(TRIANGLE, 10, 24)
    text = words(result)
    assert "'Not significant' does not mean 'the same'." in text
    assert "A new session planned for 66 assessors (42 more than here)" in text
    assert "raises the risk of a wrong finding" in text


def test_undecided_where_no_panel_would_do():
    text = words(session_finding(TRIANGLE, 10, 30, pd_limit=1e-5))
    assert "No panel of a size that could be assembled" in text
    assert "None" not in text


def test_similar_is_not_identical():
    result = session_finding(TRIANGLE, 22, 66)
    text = words(result)
    assert "It does not say that the samples are identical" in text
    assert f"up to {100 * result.test.pd_upper:.0f} % of the assessors" in text
    assert "one-sided 95 % limit" in text
    assert "The agreed limit of 30 % belongs to the triangle test" in text
    assert f"use the d-prime of {result.test.dprime_limit:.2f}" in text


def test_different_does_not_claim_a_size():
    result = session_finding(TRIANGLE, 20, 24)
    low, high = result.test.pd_limits.low, result.test.pd_limits.high
    text = words(result)
    assert f"between {100 * low:.0f} % and {100 * high:.0f} %" in text
    assert "was not shown" in text


def twice(correct: int, trials: int) -> list[tuple[int, int]]:
    """Half as many assessors as answers, two answers each, as alike as can be."""
    people = trials // 2
    return [(correct // people + (i < correct % people), 2) for i in range(people)]


@pytest.mark.parametrize(
    ("correct", "trials", "options", "finding"),
    [
        (22, 66, {}, "SIMILAR"),
        (13, 30, WIDE, "DIFFERENT_WITHIN_LIMIT"),
        (14, 24, {}, "DIFFERENT"),
        (10, 24, {}, "UNDECIDED"),
    ],
)
def test_replicated_answers_are_judged_by_assessor(correct, trials, options, finding):
    by_assessor = twice(correct, trials)
    result = session_finding(TRIANGLE, correct, trials, **options, by_assessor=by_assessor)
    assert result.replicated.assessors == trials // 2
    assert result.finding is result.replicated.finding is Finding(finding)
    assert "Some assessors answered more than once." in words(result)
    assert "similarity is judged by assessor" in result.because


def test_people_who_differ_widen_the_limit():
    # 22 of 66 either way: all alike, or half always right and the others rarely.
    alike = session_finding(TRIANGLE, 22, 66, by_assessor=twice(22, 66))
    apart = session_finding(TRIANGLE, 22, 66, by_assessor=[(2, 2)] * 11 + [(0, 2)] * 22)
    assert apart.replicated.pd_upper > alike.replicated.pd_upper + 0.1
    assert apart.replicated.p_overdispersion < 0.01


def test_few_people_with_replicates_show_no_similarity():
    result = session_finding(TRIANGLE, 3, 28, by_assessor=[(1, 4)] * 3 + [(0, 4)] * 4)
    assert result.finding is Finding.UNDECIDED
    assert "fewer than 8 assessors" in words(result)
    assert "No panel of a size that could be assembled" not in words(result)


def test_counts_of_the_assessors_have_to_add_up():
    with pytest.raises(ArgumentError, match="adds up to 4 of 6, the session has 5 of 6"):
        session_finding(TRIANGLE, 5, 6, by_assessor=[(2, 2), (1, 2), (1, 2)])
    with pytest.raises(ArgumentError, match="one assessor"):
        session_finding(TRIANGLE, 5, 6, by_assessor=[(5, 6)])


@pytest.mark.parametrize(
    ("protocol", "correct", "trials", "why"),
    [
        (PAIRED, 2, 24, "direction that was not expected"),
        (THREE_AFC, 0, 24, "direction that was not expected"),
        (TRIANGLE, 0, 24, "codes or orders may be swapped"),
    ],
)
def test_fewer_correct_than_guessing_gives_is_no_similarity(protocol, correct, trials, why):
    result = session_finding(protocol, correct, trials)
    assert result.test.finding is Finding.SIMILAR
    assert result.finding is Finding.UNDECIDED
    assert why in words(result)
    assert "Similarity is not concluded from such ballots." in words(result)


def test_somewhat_few_correct_answers_are_remarked_only():
    result = session_finding(TRIANGLE, 3, 24)  # chance 0.035 by guessing
    assert result.finding is Finding.SIMILAR
    assert "Look at the serving plan" in words(result)
    assert "Look at the serving plan" not in words(session_finding(TRIANGLE, 6, 24))


def test_shortfall_against_the_plan():
    short = words(session_finding(TRIANGLE, 14, 24, planned=30))
    assert "30 ballots were planned and 24 answers counted" in short
    assert "the risks shown are those of 24" in short
    for planned in (None, 24):
        assert "planned and" not in words(session_finding(TRIANGLE, 14, 24, planned=planned))
    more = words(session_finding(TRIANGLE, 14, 24, planned=20))
    assert "20 ballots were planned and 24 answers counted" in more
    assert "if the number did not hang on the answers" in more


REACHES_DOWN = "interval reaches down to guessing although the difference is significant"


def test_interval_that_holds_zero_is_explained():
    # 15 of 30 triangles; source: the design notes of this project, conventions, item 19.
    assert REACHES_DOWN in words(session_finding(TRIANGLE, 15, 30))


@pytest.mark.parametrize("correct", [20, 10])
def test_no_such_explanation_where_it_is_not_needed(correct):
    assert REACHES_DOWN not in words(session_finding(TRIANGLE, correct, 30))


def test_a_two_sided_test_is_not_called_one_sided():
    # Significant at 20 % two-sided, and the 95 % interval holds an even split.
    result = session_finding(PAIRED, 14, 20, alpha=0.2, two_sided=True)
    assert result.finding is Finding.DIFFERENT
    assert not re.search("test is one-sided", words(result))


@pytest.mark.parametrize("protocol", [PAIRED, THREE_AFC], ids=repr)
def test_question_about_an_attribute(protocol):
    text = words(session_finding(protocol, 20, 24))
    assert "asks about the named attribute only" in text
    assert "does not say in which attribute" not in text


def test_question_about_the_whole_sample():
    text = words(session_finding(TRIANGLE, 20, 24))
    assert "does not say in which attribute the samples differ" in text
    assert "named attribute only" not in text


def test_every_finding_speaks_of_these_samples_only():
    for correct in (5, 10, 14):
        assert session_finding(TRIANGLE, correct, 24).cannot_tell[-1].startswith("It speaks of")


def test_several_sessions_are_refused():
    with pytest.raises(ArgumentError, match="correct must be one number"):
        session_finding(TRIANGLE, [5, 6], [24, 24])
    with pytest.raises(ArgumentError, match="correct must be one number"):
        session_finding(TRIANGLE, np.array([5, 6]), 24)


@pytest.mark.parametrize("planned", ["thirty", -3, 24.5, float("nan")])
def test_planned_is_a_count(planned):
    with pytest.raises(ArgumentError, match="planned"):
        session_finding(TRIANGLE, 5, 24, planned=planned)


def test_bad_counts_are_refused_as_in_the_test():
    with pytest.raises(ArgumentError, match="correct must not exceed trials"):
        session_finding(TRIANGLE, 30, 24)
