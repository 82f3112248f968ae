"""The finding of one session in words, and what it says it cannot tell."""

from math import ceil

import numpy as np
import pytest
from scipy.stats import beta, binom

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED, PROTOCOLS, THREE_AFC, TRIANGLE
from sensory.choices.session_finding import session_finding

WIDE = {"alpha": 0.2, "beta": 0.2, "pd_limit": 0.4}


def words(result):
    return " ".join(result.cannot_tell)


FIVE = pytest.mark.parametrize(
    ("correct", "trials", "options", "finding"),
    [
        (14, 24, {}, Finding.DIFFERENT),
        (22, 66, {}, Finding.SIMILAR),
        (13, 30, WIDE, Finding.DIFFERENT_WITHIN_LIMIT),
        (10, 24, {}, Finding.UNDECIDED),
        (22, 24, {}, Finding.BEYOND_LIMIT),
    ],
)


@FIVE
def test_all_five_findings(correct, trials, options, finding):
    result = session_finding(TRIANGLE, correct, trials, **options)
    assert result.finding is finding
    assert result.sentence == finding.sentence
    assert result.cannot_tell[-1].startswith("It speaks of")  # of these samples only


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_finding_is_that_of_the_test(protocol):
    tests = choice_test(protocol, range(25), 24)
    for correct in range(25):
        result = session_finding(protocol, correct, 24)
        assert result.test.finding is tests.finding[correct]
        assert result.finding is result.test.finding
        # so few correct that guessing gives them once in a thousand: no similarity then
        strange = binom.cdf(correct, 24, float(protocol.guess)) <= 0.001
        assert not (strange and result.finding.similar)
        assert result.risks.trials == 24


@pytest.mark.parametrize(
    ("protocol", "counts", "options", "because"),
    [
        (TRIANGLE, (14, 24), {}, "14 of 24 answers were correct; with 24 answers 13 or more would"),
        (TRIANGLE, (14, 24), {}, "18 or more one beyond the limit, and 8 or fewer would"),
        (
            TRIANGLE,
            (1, 2),
            {},
            "no count one beyond the limit, and no count",
        ),
        (PAIRED, (10, 50), {"two_sided": True}, "40 of 50 answers named A;"),
    ],
)
def test_because_gives_the_counts(protocol, counts, options, because):
    assert because in session_finding(protocol, *counts, **options).because


REACHES_DOWN = "interval reaches down to guessing"
TWO_SIDED = {"alpha": 0.2, "two_sided": True}


@pytest.mark.parametrize(
    ("protocol", "counts", "options", "said", "unsaid"),
    [
        # undecided is never the same, and names the panel, if one would do
        (TRIANGLE, (10, 24), {}, ("'Not significant'", "66 assessors (42 more", "raises"), ()),
        (TRIANGLE, (10, 30), {"pd_limit": 1e-5}, ("No panel of a size",), ("None",)),
        # similar is not identical, different has no size
        (TRIANGLE, (22, 66), {}, ("identical", "one-sided 95 %", "30 % belongs to"), ()),
        (TRIANGLE, (14, 24), {}, ("Neither that this is below",), ("named attribute only",)),
        (TRIANGLE, (20, 24), {}, ("known only roughly",), (REACHES_DOWN, "Neither that")),
        (TRIANGLE, (20, 24), {}, ("in which attribute the samples differ",), ()),
        # questions about an attribute
        (PAIRED, (20, 24), {}, ("named attribute only",), ("in which attribute",)),
        (THREE_AFC, (20, 24), {}, ("named attribute only",), ("in which attribute",)),
        # few correct answers are remarked
        # numbers that were planned
        (TRIANGLE, (14, 24), {"planned": 30}, ("30 ballots were planned and 24", "of 24"), ()),
        (TRIANGLE, (14, 24), {"planned": 20}, ("20 ballots were planned and 24", "hang on"), ()),
        (TRIANGLE, (14, 24), {"planned": 24}, (), ("planned and",)),
        (TRIANGLE, (14, 24), {}, (), ("planned and",)),
        # 15 of 30 triangles: design notes of this project, item 19, no outside check
        (TRIANGLE, (15, 30), {}, (REACHES_DOWN,), ()),
        (TRIANGLE, (20, 30), {}, (), (REACHES_DOWN,)),
        (TRIANGLE, (10, 30), {}, (), (REACHES_DOWN,)),
        # significant at 20 % two-sided, and the 95 % interval holds an even split
        (PAIRED, (14, 20), TWO_SIDED, ("Neither that",), ("test is one-sided",)),
    ],
)
def test_what_it_cannot_tell(protocol, counts, options, said, unsaid):
    text = words(session_finding(protocol, *counts, **options))
    assert [part for part in said if part not in text] == []
    assert [part for part in unsaid if part in text] == []


def test_limits_in_words_are_those_of_the_test():
    similar, different = session_finding(TRIANGLE, 22, 66), session_finding(TRIANGLE, 20, 24)
    assert f"at most {ceil(100 * similar.test.pd_upper)} % of the assessors" in words(similar)
    assert f"d-prime of {similar.test.dprime_limit:.2f}" in words(similar)
    low, high = different.test.pd_limits.low, different.test.pd_limits.high
    assert f"between {100 * low:.0f} % and {100 * high:.0f} %" in words(different)


def twice(correct: int, trials: int) -> list[tuple[int, int]]:
    """Half as many assessors as answers, two answers each, as alike as can be."""
    people = trials // 2
    return [(correct // people + (i < correct % people), 2) for i in range(people)]


@FIVE
def test_replicated_answers_are_judged_by_assessor(correct, trials, options, finding):
    by_assessor = twice(correct, trials)
    result = session_finding(TRIANGLE, correct, trials, **options, by_assessor=by_assessor)
    assert result.replicated.assessors == trials // 2
    assert result.finding is result.replicated.finding is finding
    assert "answered more than once" in words(result)
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
    assert result.test.p_similarity <= 0.05
    assert result.finding is result.test.finding is Finding.UNDECIDED
    (warning,) = result.warnings
    assert why in warning
    assert "not concluded from such ballots" in warning
    assert "warning from 0.05 down, withheld from 0.001 down" in warning


@pytest.mark.parametrize("n", [20, 24, 66])
@pytest.mark.parametrize("protocol", [TRIANGLE, PAIRED], ids=repr)
def test_few_correct_answers_are_warned_of_and_then_withheld(protocol, n):
    """Chances by scipy; the warning stands beside a finding, and both faces follow one rule."""
    for correct in range(n):
        result = session_finding(protocol, correct, n)
        chance = binom.cdf(correct, n, float(protocol.guess))
        assert bool(result.warnings) == (chance <= 0.05)
        assert result.finding is choice_test(protocol, correct, n).finding
        if chance <= 0.001:
            assert not result.finding.similar
        elif chance <= 0.05 and binom.cdf(correct, n, float(protocol.pc_at(0.3))) <= 0.05:
            assert result.finding is Finding.SIMILAR
            assert "finding stands with this warning" in result.warnings[0]


@pytest.mark.parametrize(("correct", "trials"), [(3, 24), (7, 24), (15, 66), (21, 66)])
def test_no_bound_is_below_that_of_a_panel_that_guesses(correct, trials):
    """Fewer than guessing gives is no evidence for fewer distinguishers: never '0 %'.

    Second route: the limit of the count that guessing gives, by scipy's beta distribution.
    """
    said = session_finding(TRIANGLE, correct, trials).cannot_tell[0]
    guessed = trials // 3
    pc = beta.ppf(0.95, guessed + 1, trials - guessed)
    assert f"below guessing ({correct} correct, guessing gives about {guessed})" in said
    assert f"at most {ceil(100 * (pc - 1 / 3) / (2 / 3))} % of the assessors" in said
    assert " 0 %" not in said


NAMED = [
    (20, 66, "Any difference in sweetness is below the agreed limit."),
    (26, 66, "Any difference in sweetness is below the agreed limit."),
    (32, 66, "A difference in sweetness is perceptible; whether it is within the agreed limit"),
    (50, 66, "The difference in sweetness is larger than the agreed limit."),
]


@pytest.mark.parametrize(("correct", "trials", "sentence"), NAMED)
def test_a_named_attribute_is_not_the_product(correct, trials, sentence):
    result = session_finding(THREE_AFC, correct, trials, attribute="sweetness")
    assert result.sentence.startswith(sentence)
    assert "similarity in sweetness is not similarity of the product" in words(result)
    assert "d-prime" not in words(result)  # none is offered for another test
    plain = session_finding(TRIANGLE, correct, trials, attribute="sweetness")
    assert "sweetness" not in plain.sentence + words(plain)


def test_the_conversion_says_what_it_assumes():
    assert "assumes that what is perceived scatters normally" in words(
        session_finding(TRIANGLE, 22, 66)
    )


def test_no_batch_and_no_reference_where_none_is_tested():
    for protocol in (TRIANGLE, PAIRED, THREE_AFC):
        for correct in (9, 15, 22, 32, 60):
            for two_sided in (False, protocol.reversible):
                result = session_finding(protocol, correct, 66, two_sided=two_sided)
                text = " ".join((result.sentence, result.because, words(result), *result.warnings))
                assert "batch" not in text
                assert "reference" not in text


@pytest.mark.parametrize(
    ("correct", "trials", "options", "message"),
    [
        ([5, 6], [24, 24], {}, "correct must be one number"),
        (np.array([5, 6]), 24, {}, "correct must be one number"),
        (30, 24, {}, "correct must not exceed trials"),
        *((5, 24, {"planned": planned}, "planned") for planned in ("x", -3, 24.5, float("nan"))),
    ],
)
def test_bad_counts_are_refused(correct, trials, options, message):
    with pytest.raises(ArgumentError, match=message):
        session_finding(TRIANGLE, correct, trials, **options)
