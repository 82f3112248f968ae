"""Methods that are no forced choice: each entry is complete, and settings are checked."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError
from sensory.catalogue.method_columns import METHOD_COLUMNS
from sensory.catalogue.methods import (
    DIFFERENCE_FROM_CONTROL,
    METHODS,
    PROFILE,
    SURENESS,
    attributes_of,
    find_method,
    find_test,
)
from sensory.catalogue.question import Question
from sensory.choices.protocols import PROTOCOLS, TRIANGLE
from sensory.sessions.outcomes import READERS


def test_every_method_has_a_ballot_and_a_reader():
    assert set(METHODS) == set(METHOD_COLUMNS) == set(READERS)
    assert not set(METHODS) & set(PROTOCOLS)


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda one: one.key)
def test_entry_is_complete_and_its_defaults_pass(method):
    assert method.asks.endswith("?") or method.asks.endswith(".")
    assert method.standard
    method.check({one.key: one.default for one in method.settings})
    ballot = METHOD_COLUMNS[method.key]
    names = [rule.name for rule in ballot.rules]
    assert set(ballot.once) <= set(names)
    assert all(rule.meaning for rule in ballot.rules)


def test_find():
    assert find_test("TRIANGLE") is TRIANGLE
    assert find_method("TRIANGLE") is None
    assert find_method("SURENESS") is SURENESS
    with pytest.raises(ArgumentError, match="test 'QUARTET' is not known; possible are TRIANGLE"):
        find_test("QUARTET")
    assert attributes_of(Question()) == ()


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"shoe": 1}, "has no setting 'shoe'"),
        ({"dprime_limit": "much"}, "must be a number from 0.05 to 5; got 'much'"),
        ({"dprime_limit": 9.0}, "got 9.0"),
        ({"dprime_limit": float("nan")}, "got nan"),
        ({"dprime_limit": True}, "got True"),
        ({"grades": "only one"}, "at least two grades"),
        ({"grades": "yes; no; Yes"}, "grade 'Yes' stands twice"),
    ],
)
def test_settings_that_cannot_be_used(settings, message):
    with pytest.raises(ArgumentError, match=message):
        SURENESS.check(settings)


def test_needed_text_is_missed():
    assert SURENESS.missing({"grades": " "}) == [
        "Grades, from the reference's end, separated by semicolons?"
    ]
    assert SURENESS.missing({}) == []


@pytest.mark.parametrize(
    ("method", "settings", "message"),
    [
        (PROFILE, {"scale_low": 10.0, "scale_high": 0.0}, "the scale must go upwards"),
        (PROFILE, {"attributes": "sweet", "margins": "11"}, "as wide as the scale of 0 to 10"),
        (PROFILE, {"attributes": "sweet", "margins": "sour 1"}, "margin 'sour 1' must be one of"),
        (PROFILE, {"attributes": "sweet", "margins": "-1"}, "a number above 0"),
        (PROFILE, {"samples": "a; b", "reference": "c"}, "reference 'c' is none of the samples"),
        (DIFFERENCE_FROM_CONTROL, {"limit": 20.0}, "every batch would pass"),
        (DIFFERENCE_FROM_CONTROL, {"scale_low": -5.0}, "has no setting 'scale_low'"),
    ],
)
def test_settings_that_do_not_fit_each_other(method, settings, message):
    with pytest.raises(ArgumentError, match=message):
        method.check(settings)
