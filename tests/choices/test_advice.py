"""Which method serves which question: every situation has an answer with its reasons."""

from __future__ import annotations

from itertools import product

import pytest

from sensory.base.errors import ArgumentError
from sensory.choices.advice import QUESTIONS, Situation, advise
from sensory.choices.protocols import PROTOCOLS

NAMES = ("carry_over", "homogeneous", "looks_alike", "reference_known", "scarce", "maskable")
NAMES += ("trained",)
BY_EYE = ("tetrad", "triangle", "duo-trio", "two-out-of-five", "same-different")
SITUATIONS = [
    Situation(question=question, people=people, **dict(zip(NAMES, flags, strict=True)))
    for question in QUESTIONS
    for people in (8, 24, 80)
    for flags in product((False, True), repeat=len(NAMES))
]


def test_every_situation_gets_a_possible_method_with_a_reason():
    for situation in SITUATIONS:
        best = advise(situation)[0]
        assert best.possible, situation
        assert best.reasons, situation


def test_impossible_methods_stand_last_and_say_why():
    for situation in SITUATIONS:
        possible = [one.possible for one in advise(situation)]
        assert possible == sorted(possible, reverse=True)
        assert all(one.against for one in advise(situation) if not one.possible)


def test_every_protocol_is_advised_upon_once():
    keys = [one.protocol for one in advise(SITUATIONS[0]) if one.protocol]
    assert sorted(keys) == sorted(PROTOCOLS)


@pytest.mark.parametrize(
    ("situation", "method", "possible"),
    [
        # ISO 8588:2017, scope: not for similarity.
        (Situation(question="similar", people=60), "A - not A", False),
        # A named attribute is asked about in paired comparison and 3-AFC only
        # (ISO 5495:2005, ISO 13301:2018, scopes).
        (Situation(question="different", people=60), "paired comparison", False),
        (Situation(question="more", people=60), "triangle", False),
        (Situation(question="more", people=60), "3-AFC", True),
        # Strong carry-over rules out five tastings (common practice, no source).
        (Situation(question="different", people=10, carry_over=True), "two-out-of-five", False),
    ],
)
def test_scopes_of_the_standards(situation, method, possible):
    found = {one.method: one for one in advise(situation)}
    assert found[method].possible is possible


def test_lingering_flavour_prefers_fewer_tastings():
    for question in ("different", "more"):
        calm = advise(Situation(question=question, people=30))[0]
        lingering = advise(Situation(question=question, people=30, carry_over=True))[0]
        assert lingering.tasted <= calm.tasted


def test_unknown_question_and_no_people_are_refused():
    with pytest.raises(ArgumentError, match="question must be one of different, similar"):
        advise(Situation(question="better", people=3))
    with pytest.raises(ArgumentError, match="people must be at least 1; got 0"):
        advise(Situation(question="different", people=0))


def test_samples_that_look_different_do_not_go_into_a_plain_test_of_any_difference():
    for situation in SITUATIONS:
        if not situation.looks_alike:
            by_eye = [one for one in advise(situation) if one.method in BY_EYE and one.possible]
            assert situation.maskable or not by_eye, situation
            assert all(one.condition == "looks masked" for one in by_eye), situation


def test_untrained_assessors_are_not_sent_to_a_scale():
    for situation in SITUATIONS:
        scaled = [one for one in advise(situation) if one.method in
                  ("difference from control", "profile")]  # fmt: skip
        assert situation.trained or not any(one.possible for one in scaled), situation


@pytest.mark.parametrize(
    ("question", "more", "method", "condition"),
    [
        # Common practice, no source: mask the looks, or ask about attributes.
        ("similar", {"looks_alike": False, "maskable": True}, "triangle", "looks masked"),
        ("similar", {"looks_alike": False, "trained": True}, "profile", ""),
        ("similar", {"looks_alike": False}, "paired comparison", ""),
        # Single samples bear differing looks: ISO 8588:2017, scope (from memory).
        ("different", {"looks_alike": False}, "A - not A", ""),
        ("size", {}, "triangle", ""),
        ("size", {"trained": True}, "difference from control", ""),
    ],
)
def test_looks_and_training_decide_the_method(question, more, method, condition):
    best = advise(Situation(question=question, people=60, **more))[0]
    assert (best.method, best.condition) == (method, condition)
