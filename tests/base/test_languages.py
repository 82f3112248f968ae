"""Every language has every word, with the same places to fill."""

from __future__ import annotations

import re

import pytest

from sensory.base.errors import ArgumentError
from sensory.base.languages import ballot_words, languages
from sensory.catalogue.tests import TESTS
from sensory.choices.protocols import PROTOCOLS

PLACES = re.compile(r"\{(\w+)\}")


def flat(words, above=""):
    for key, value in words.items():
        if isinstance(value, dict):
            yield from flat(value, f"{above}{key}.")
        else:
            yield above + key, value


def test_the_four_languages_are_there():
    assert set(languages()) >= {"en", "de", "fr", "es"}


@pytest.mark.parametrize("language", languages())
def test_every_language_has_the_words_of_english(language):
    english, other = dict(flat(ballot_words("en"))), dict(flat(ballot_words(language)))
    assert set(other) == set(english)
    for key, text in other.items():
        assert text.strip(), key
        assert set(PLACES.findall(text)) == set(PLACES.findall(english[key])), key


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("kind", TESTS.values(), ids=repr)
def test_every_test_is_asked_in_every_language(kind, language):
    english, other = kind.words["en"], kind.words[language]
    for name in ("asks", "in_categories"):
        said, wanted = getattr(other, name), getattr(english, name)
        assert bool(said.strip()) is bool(wanted)
        assert set(PLACES.findall(said)) == set(PLACES.findall(wanted))
    if language != "en":
        assert set(kind.choices) - {"A"} <= set(other.answers)


def test_english_asks_what_the_protocols_ask():
    for key, protocol in PROTOCOLS.items():
        if not protocol.asks_attribute and protocol.picks == 1:
            assert TESTS[key].words["en"].asks == protocol.asks


@pytest.mark.parametrize("language", ["xx", "", "../en", "en/"])
def test_unknown_language_is_refused(language):
    with pytest.raises(ArgumentError, match="language must be one of de, en, es, fr"):
        ballot_words(language)
