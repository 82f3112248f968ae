"""The page on which words are defined, the question that takes them, the booth that shows them."""

from __future__ import annotations

import pytest

from sensory.catalogue.attributes import DefinedAttribute, Vocabulary
from sensory.panel.vocabulary_desk import define
from sensory.release.product_desk import enter_product
from sensory.store.repository import open_store

from ..sessions.shared import BY, seat
from .pages import booth, click, fill, put, run, words

PRODUCT = "sloe cordial"


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def test_a_word_is_defined_with_its_standard_and_the_standard_is_made(url, store):
    enter_product(store, PRODUCT, who=BY)
    assert "None is defined yet" in words(run("product", url, None))
    app = run("words", url, None)
    key = f"{PRODUCT}-a new word-0"
    typed = {
        f"word-name-{key}": "sour",
        f"word-means-{key}": "as citric acid",
        f"word-standards-{key}": "sour base; citric acid, 1.2 g in 1 l of water; 5",
        f"word-why-{key}": "first list",
    }
    click(fill(app, **{name.replace("-", "_"): text for name, text in typed.items()}), "word-save")
    assert "Reference standards, line 1" in words(app)
    line = "sour base; citric acid, 1.2 g in 1 l of water; 5; 4.5 to 5.5; none"
    app.text_area(key=f"word-standards-{key}").set_value(line).run()
    click(app, "word-save")
    assert "Version 1" in words(app)
    assert list(app.table[1].value["today"]) == ["⚠ not usable"]
    click(app, "made-record")
    assert list(app.table[1].value["today"]) == ["✓ usable"]
    kept = store.noun(Vocabulary, PRODUCT)
    assert (kept.version, kept.standards[0].intensity) == (1, 5.0)
    assert "Version 1: sour" in words(run("product", url, None))


def test_the_question_offers_the_words_and_takes_the_version(url, store):
    sour = DefinedAttribute(attribute="sour", definition="as citric acid")
    known = define(store, PRODUCT, sour, who=BY, why="first list")
    put(store, "pressing", stage="open", cells=False)
    app = run("question", url)
    app.selectbox(key="q-vocabulary-s1").set_value(known.words).run()
    assert store.session("s1").question.vocabulary == known.for_question()
    app.selectbox(key="q-vocabulary-s1").set_value(None).run()
    assert store.session("s1").question.vocabulary is None


def test_the_booth_shows_definition_and_standard(url, store):
    sour = DefinedAttribute(attribute="sour", definition="as citric acid", assess="sip slowly")
    known = define(store, PRODUCT, sour, who=BY, why="first list").for_question()
    _, token = seat(store, "PROFILE", vocabulary=known)
    app = booth(url, token)
    assert "as citric acid" in words(app)
    assert "How to assess: sip slowly" in words(app)
