"""The page on which words are defined, the question that takes them, the booth that shows them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError
from sensory.catalogue.attributes import DefinedAttribute, Vocabulary
from sensory.panel.vocabulary_desk import define
from sensory.ratings.ticked import ticked_words
from sensory.release.product_desk import enter_product
from sensory.sessions import workflow
from sensory.sessions.tick_file import read_ticks
from sensory.store.repository import open_store

from ..panel.test_vocabulary import SOUR
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
        f"word-name-{key}-": "sour",
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
    here, token = seat(store, "PROFILE", vocabulary=known)
    app = booth(url, token)
    assert "as citric acid" in words(app)
    assert "How to assess: sip slowly" in words(app)
    assert "Reference standards, see Products" not in words(run("serve", url, here))


def test_serving_warns_of_standards_that_cannot_be_used(url, store):
    known = define(store, PRODUCT, SOUR, who=BY, why="first list").for_question()
    here, _ = seat(store, "PROFILE", vocabulary=known)
    assert "see Products: sour base is not made yet." in words(run("serve", url, here))


def test_a_candidate_of_comments_becomes_a_word(url, store):
    enter_product(store, PRODUCT, who=BY)
    put(store, "suspect_batch", stage="agreed")
    session = store.session("s1")
    details = replace(session.details, title=f"{PRODUCT} SC-4 against SR-1")
    workflow.describe(store, "s1", details=details, who=BY)
    first, second = sorted(store.cells("s1"))[:2]
    workflow.enter_cells(
        store, "s1", {first: {"comment": "very jammy"}, second: {"comment": "Jammy"}}, who=BY
    )
    workflow.close(store, "s1", who=BY)
    app = run("words", url, None)
    assert "comments of 1 session." in words(app)
    assert app.table[0].value.iloc[0]["word"] == "jammy"
    app.selectbox(key="candidate").set_value("jammy").run()
    click(app, "candidate-take")
    key = f"{PRODUCT}-a new word-0"
    assert app.text_input(key=f"word-name-{key}-jammy").value == "jammy"
    app.text_input(key=f"word-means-{key}").set_value("as cooked fruit").run()
    app.text_input(key=f"word-why-{key}").set_value("from comments").run()
    click(app, "word-save")
    assert [each.attribute for each in store.noun(Vocabulary, PRODUCT).attributes] == ["jammy"]


def test_a_ticked_list_of_a_file_is_read_and_a_wrong_cell_is_named():
    rows = [f"P{n},{s},{'x' if s == 'B' else ''},x" for n in range(8) for s in "AB"]
    lines = "\n".join(["assessor,sample,jammy,sweet", *rows]).encode()
    result = ticked_words(read_ticks(lines))
    assert result.tell_apart == ("jammy",)
    with pytest.raises(ArgumentError, match="jammy, row 3: 'maybe' is neither"):
        read_ticks(lines.replace(b"P0,B,x", b"P0,B,maybe"))


def test_the_words_of_a_product_go_into_the_list_to_tick_and_back_as_candidates(url, store):
    enter_product(store, "raspberry cordial", who=BY)
    jammy = DefinedAttribute(attribute="Jammy", definition="as cooked fruit")
    resinous = DefinedAttribute(attribute="resinous", definition="as pine")
    define(store, "raspberry cordial", jammy, who=BY, why="first list")
    known = define(store, "raspberry cordial", resinous, who=BY, why="another")
    here = put(store, "words", stage="open", cells=False).id
    app = run("question", url, here)
    app.selectbox(key=f"words-of-{here}").set_value(known.words).run()
    listed = store.session(here).question.settings["words"]
    assert listed.endswith("; flowery; resinous")  # 'Jammy' stood there already
    put(store, "words", stage="closed", here="s2")
    app = run("words", url, None)
    assert "'cooked' tells the samples apart" in words(app)
    assert {"cooked", "flowery"} < set(app.selectbox(key="candidate").options)
