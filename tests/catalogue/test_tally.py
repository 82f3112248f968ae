"""Counts over checked ballots."""

from __future__ import annotations

import pytest

from sensory.catalogue.choice_ballot import ChoiceBallot, Tally, tally


def ballot(assessor: str, *, correct: bool | None, **other) -> ChoiceBallot:
    given = {
        "session": "",
        "replicate": 1,
        "protocol": "TRIANGLE",
        "order": "ABB",
        "codes": ("412", "837", "265"),
        "answer": () if correct is None else ("412",) if correct else ("837",),
        "guess": False,
        "comment": "",
    }
    return ChoiceBallot(assessor=assessor, correct=correct, **{**given, **other})


def test_nothing_counted():
    assert tally([]) == Tally(
        correct=0, trials=0, missing=0, guesses=0, assessors=0, by_assessor=(), orders={}
    )


def test_counts():
    counted = tally(
        [
            ballot("P01", correct=True, order="BAB"),
            ballot("P02", correct=False, guess=True),
            ballot("P03", correct=True, guess=True),
        ]
    )
    assert counted == Tally(
        correct=2,
        trials=3,
        missing=0,
        guesses=2,
        assessors=3,
        by_assessor=((1, 1), (0, 1), (1, 1)),
        orders={"ABB": 2, "BAB": 1},
    )


def test_missing_answer_is_never_counted_as_wrong():
    answered = [ballot("P01", correct=True), ballot("P02", correct=False)]
    absent = [ballot(f"P1{i}", correct=None, guess=True) for i in range(5)]
    with_absent, without = tally(answered + absent), tally(answered)
    assert (with_absent.correct, with_absent.trials) == (without.correct, without.trials) == (1, 2)
    assert with_absent.missing == 5
    assert with_absent.guesses == 0
    assert with_absent.assessors == 2


def test_orders_are_counted_as_served_even_without_an_answer():
    assert tally([ballot("P01", correct=None, order="BBA")]).orders == {"BBA": 1}


@pytest.mark.parametrize(
    ("first", "second", "replicated"),
    [
        ("P01", "P02", False),
        ("P01", "P01", True),
        ("Anna Berg", " anna  BERG", True),
    ],
)
def test_replicated_when_a_person_answered_twice(first, second, replicated):
    counted = tally([ballot(first, correct=True), ballot(second, correct=True, replicate=2)])
    assert counted.replicated is replicated
    assert counted.assessors == 2 - replicated


def test_second_ballot_without_an_answer_is_no_replicate():
    counted = tally([ballot("P01", correct=True), ballot("P01", correct=None, replicate=2)])
    assert not counted.replicated


def test_any_iterable_is_counted_once():
    assert tally(ballot(f"P{i}", correct=i < 2) for i in range(5)).correct == 2
