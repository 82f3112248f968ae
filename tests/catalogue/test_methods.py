"""Every test of the catalogue: each entry is complete, and settings are checked."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.standards import STANDARDS
from sensory.catalogue.controlled import DIFFERENCE_FROM_CONTROL
from sensory.catalogue.graded import SURENESS
from sensory.catalogue.kind import KINDS, register
from sensory.catalogue.question import Question
from sensory.catalogue.rated import PROFILE
from sensory.catalogue.tests import TESTS, find_kind, kinds, protocol_of
from sensory.catalogue.yes_no import SAME_DIFFERENT
from sensory.choices.protocols import PROTOCOLS, TRIANGLE


def test_forced_choices_come_first_and_are_the_protocols():
    first = list(TESTS)[: len(PROTOCOLS)]
    assert first == list(PROTOCOLS)
    assert [kind.key for kind in kinds()] == list(TESTS)


@pytest.mark.parametrize("kind", TESTS.values(), ids=repr)
def test_entry_is_complete_and_its_defaults_pass(kind):
    assert kind.asks.endswith("?") or kind.asks.endswith(".")
    assert str(kind.standard)
    stated = [setting for setting in kind.settings if setting.default is not None]
    kind.check({setting.key: setting.default for setting in stated})
    names = [column.name for column in kind.ballot.columns]
    assert set(kind.ballot.once) <= set(names)
    assert all(column.meaning for column in kind.ballot.columns)
    assert kind.serving.compares_two is not kind.by_name


def test_find():
    assert find_kind("TRIANGLE").protocol is protocol_of("triangle") is TRIANGLE
    assert find_kind(TRIANGLE) is find_kind("Triangle")
    assert find_kind("A - not A").protocol is None
    assert find_kind(SURENESS) is SURENESS
    with pytest.raises(ArgumentError, match="test 'QUARTET' is not known; possible are TRIANGLE"):
        find_kind("QUARTET")
    with pytest.raises(ArgumentError, match="ranking is no forced choice"):
        protocol_of("RANKING")
    assert find_kind("TRIANGLE").attributes(Question(pd_limit=0.30)) == ()


def test_a_key_or_name_stands_once_in_the_catalogue():
    with pytest.raises(ArgumentError, match="there is a test PROFILE or profile already"):
        register(PROFILE)
    assert KINDS["PROFILE"] is PROFILE


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"shoe": 1}, "has no setting 'shoe'"),
        ({"grades": "only one"}, "at least two grades"),
        ({"grades": "yes; no; Yes"}, "grade 'Yes' stands twice"),
    ],
)
def test_settings_that_cannot_be_used(settings, message):
    with pytest.raises(ArgumentError, match=message):
        SURENESS.check(settings)


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        ("much", "must be a number from 0.05 to 5; got 'much'"),
        (9.0, "got 9.0"),
        (float("nan"), "got nan"),
        (True, "got True"),
    ],
)
def test_limits_that_cannot_be_used(limit, message):
    with pytest.raises(ArgumentError, match=message):
        SAME_DIFFERENT.check({"dprime_limit": limit})


def test_a_limit_agreed_for_a_graded_test_of_old_is_shown_and_judges_nothing():
    old = {"grades": "A; not A", "dprime_limit": 1.0}
    SURENESS.check(old)
    shown = dict(SURENESS.agreed_settings(old))
    assert shown["Limit agreed, which this test does not judge: d-prime"] == 1.0
    assert len(SURENESS.agreed_settings({"grades": "A; not A"})) == 1
    assert not SURENESS.has_setting("dprime_limit")


def test_no_test_after_a_standard_that_excludes_similarity_concludes_it():
    """Scope of ISO 8588:2017; one rule for A - not A with grades and without."""
    after = [kind for kind in KINDS.values() if "ISO 8588" in str(kind.standard)]
    assert {kind.key for kind in after} == {"A_NOT_A", "SURENESS"}
    assert not STANDARDS["ISO 8588"].similarity
    assert not any(kind.similarity for kind in after)
    assert sum(not standard.similarity for standard in STANDARDS.values()) == 1


def test_needed_text_is_missed():
    assert SURENESS.missing(Question(settings={"grades": " "})) == [
        "Grades, from the reference's end, separated by semicolons?"
    ]
    assert SURENESS.missing(Question()) == []
    assert SAME_DIFFERENT.missing(Question()) == ["Agreed limit: d-prime?"]
    assert find_kind("TRIANGLE").missing(Question()) == ["Agreed limit: which share may notice?"]


def test_a_limit_that_nobody_agreed_is_not_made_up():
    with pytest.raises(RecordError, match="No limit is agreed"):
        _ = Question().limit
    with pytest.raises(RecordError, match="Agreed limit: d-prime: nobody has agreed one"):
        SAME_DIFFERENT.agreed_number({}, "dprime_limit")


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
