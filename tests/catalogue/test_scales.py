"""Response scales: what is agreed, what old questions mean, and what a finding says of it."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError
from sensory.base.languages import ballot_words, languages
from sensory.catalogue.checking import check_lines
from sensory.catalogue.controlled import DIFFERENCE_FROM_CONTROL
from sensory.catalogue.question import Question
from sensory.catalogue.rated import PROFILE
from sensory.catalogue.scales import MOST_CATEGORIES, agreed_scale, equal_steps
from sensory.catalogue.tests import TESTS

TEN = {"scale": "categories", "categories": 10.0}
SCORED = (PROFILE, DIFFERENCE_FROM_CONTROL)


def test_a_question_that_says_nothing_of_it_has_a_line():
    scale = agreed_scale({})
    assert (scale.low, scale.high, scale.categories) == (0.0, 10.0, ())
    assert equal_steps({}) == ()


def test_digest_of_an_old_question_is_the_same():
    # Computed by the program before there were categories.
    old = Question(
        protocol="PROFILE",
        pd_limit=0.30,
        settings={"attributes": "sweet; sour", "reference": "reference", "scale_high": 15.0},
    )
    assert old.digest == "4bd4434e84ea4ddc29a0eed34801460e6d4af4bead5af94f04a1f1370fb82975"


@pytest.mark.parametrize(
    ("settings", "categories"),
    [
        (TEN, tuple(range(10))),
        (TEN | {"scale_low": 1.0, "categories": 9}, tuple(range(1, 10))),
        (TEN | {"scale_low": -3.0, "categories": 7.0}, (-3, -2, -1, 0, 1, 2, 3)),
        (TEN | {"scale_high": 9.0}, tuple(range(10))),
        ({"scale": "categories"}, tuple(range(10))),
    ],
)
def test_categories_are_whole_numbers_from_the_lowest_score(settings, categories):
    scale = agreed_scale(settings)
    assert scale.categories == categories
    assert (scale.low, scale.high) == (categories[0], categories[-1])
    PROFILE.check(settings)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"scale": "boxes"}, "Response scale must be 'line' or 'categories'; got 'boxes'"),
        (TEN | {"scale_high": 10.0}, "10 categories from 0 end at 9; the highest score is 10"),
        (TEN | {"scale_low": 0.5}, "begin at a whole number; the lowest score is 0.5"),
        (TEN | {"categories": 1}, "must be a number from 2 to 16; got 1"),
        (TEN | {"categories": MOST_CATEGORIES + 1}, "must be a number from 2 to 16; got 17"),
        (TEN | {"categories": 7.5}, "must be a whole number; got 7.5"),
        (TEN | {"attributes": "sweet", "margins": "9"}, "as wide as the scale of 0 to 9"),
    ],
)
def test_scales_that_cannot_be_agreed(settings, message):
    with pytest.raises(ArgumentError, match=message):
        PROFILE.check(settings)


def test_only_methods_with_scores_have_a_scale():
    with_scale = [one for one in TESTS.values() if any(s.key == "scale" for s in one.settings)]
    assert with_scale == list(SCORED)
    assert all(one.answer in ("score", "scores") for one in with_scale)


def test_what_was_agreed_is_listed_only_where_it_means_something():
    line = dict(PROFILE.agreed_settings({"attributes": "sweet"}))
    assert line["Highest score of the scale"] == 10.0
    assert not [label for label in line if "ategor" in label or "Response" in label]
    chosen = dict(PROFILE.agreed_settings(TEN | {"low_word": "flat"}))
    assert chosen["Response scale"] == "categories"
    assert chosen["Number of categories, one point apart"] == 10.0
    assert "flat" in chosen.values()
    assert "Highest score of the scale" not in chosen


@pytest.mark.parametrize("language", languages())
def test_ends_are_the_usual_words_or_those_agreed(language):
    words = ballot_words(language)
    assert agreed_scale(TEN).ends("sweet", words) == (words["scale_low"], words["scale_high"])
    assert agreed_scale(TEN).ends("", words) == (words["far_low"], words["far_high"])
    own = agreed_scale(TEN | {"high_word": " like syrup "})
    assert own.ends("sweet", words) == (words["scale_low"], "like syrup")


def test_ballot_of_categories_does_not_speak_of_a_line():
    line = PROFILE.asked(Question(protocol="PROFILE"), "en")
    assert line == "Mark on each line how strong this is."
    assert "line" not in PROFILE.asked(Question(protocol="PROFILE", settings=TEN), "en")
    far = DIFFERENCE_FROM_CONTROL.asked(Question(pd_limit=0.30, settings=TEN), "en")
    assert far == DIFFERENCE_FROM_CONTROL.words["en"].asks


@pytest.mark.parametrize(("text", "sound"), [
    ("0", True), ("9", True), ("3.0", True), ("4,0", True), ("10", False), ("3.5", False),
    ("-1", False), ("3,25", False),
])  # fmt: skip
@pytest.mark.parametrize("method", SCORED, ids=lambda one: one.key)
def test_scores_that_are_no_category_are_named_with_row_and_column(method, text, sound):
    column = "sweet" if method is PROFILE else "score"
    settings = TEN | ({"attributes": "sweet"} if method is PROFILE else {})
    cells = {
        1: {"assessor": "Anna", "sample": "reference", "replicate": "1", column: "4"},
        2: {"assessor": "Anna", "sample": "b 118", "replicate": "1", column: text},
    }
    found = check_lines(cells, method, Question(pd_limit=0.30, settings=settings))
    assert bool(found.blocking) is not sound
    assert len(found.rows) == (2 if sound else 1)
    for fault in found.blocking:
        assert (fault.row, fault.column, fault.value, fault.rule) == (
            2,
            column,
            text,
            "no category",
        )
        assert fault.problem == f"{text} is none of the 10 categories 0 to 9."
        assert "whole number" in fault.advice
    if "." in text and not sound:
        line = {key: value for key, value in settings.items() if key not in TEN}
        assert not check_lines(cells, method, Question(pd_limit=0.30, settings=line)).blocking


def test_a_finding_says_that_steps_are_taken_as_equal():
    (said,) = equal_steps(TEN | {"scale_low": 1.0})
    assert "10 categories from 1 to 10" in said
    assert "equal steps" in said
    assert "ISO 4121:2003" in said
