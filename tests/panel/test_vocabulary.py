"""The words of a product: in versions, on ballots and papers, and frozen with a question."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.attributes import DefinedAttribute, ReferenceStandard, Vocabulary
from sensory.panel.vocabulary_desk import (
    asked_standards,
    define,
    remove_word,
    standard_made,
    the_words,
    versions,
)
from sensory.release.new_sessions import Wish, start_session
from sensory.report.serving_sheets import ballots_pdf, preparation_pdf
from sensory.serving.cups import to_serve
from sensory.sessions import booths
from sensory.sessions.workflow import agree
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import open_store

from ..report.shared import pages_of
from ..sessions.shared import BY, at_booths, waiting

PRODUCT = "apple press"
BASE = ReferenceStandard(
    name="sour base",
    recipe="citric acid, 1.2 g in 1 l of water",
    intensity=5,
    low=4.5,
    high=5.5,
    allergens="milk",
)
SOUR = DefinedAttribute(
    attribute="Sour",
    definition="the basic taste of citric acid",
    assess="take a sip, 5 s in the mouth",
    high_word="as lemon juice",
    standards=(BASE,),
)
WHY = {"who": BY, "why": "agreed with the panel"}


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    yield opened
    opened.close()


@pytest.fixture
def words(store):
    return define(store, PRODUCT, SOUR, **WHY)


def settings(words, **changed):
    return {"attributes": "sour; cooked", "reference": "reference", "margins": "", **changed}


def profile(store, words, **settings_):
    """A profile at booths whose question uses these words."""
    return at_booths(
        store, "PROFILE", settings=settings(words, **settings_), vocabulary=words.for_question()
    )


def test_each_change_is_a_version_and_a_standard_made_anew_is_none(store, words):
    assert (words.version, words.low, words.high) == (1, 0, 10)
    made = standard_made(
        store, PRODUCT, "sour", "Sour base", made_on="2026-11-02", usable_until="2026-11-09", who=BY
    )
    assert made.version == 1
    assert [each.lacks("2026-11-10") for each in made.standards] == [
        "sour base was usable until 2026-11-09"
    ]
    second = define(store, PRODUCT, replace(SOUR, definition="as citric acid"), **WHY)
    assert second.version == 2
    assert second.standards == made.standards  # it stays as it was, with its days
    third = define(store, PRODUCT, DefinedAttribute(attribute="cooked", definition="jam"), **WHY)
    assert remove_word(store, PRODUCT, "Sour", **WHY).attributes == third.attributes[1:]
    kept = [(each.version, len(each.attributes)) for each, _ in versions(store, third)]
    assert kept == [(4, 1), (3, 2), (2, 1), (1, 1)]
    assert store.verify() == []


def test_what_cannot_be_is_refused(store, words):
    with pytest.raises(RecordError, match="leaves the scale"):
        define(store, PRODUCT, SOUR, low=0, high=5, **WHY)
    with pytest.raises(RecordError, match="Say why"):
        define(store, PRODUCT, SOUR, who=BY, why=" ")
    with pytest.raises(RecordError, match="none of the words"):
        remove_word(store, PRODUCT, "salty", **WHY)
    with pytest.raises(RecordError, match="allergens of sour base"):
        replace(BASE, allergens="")
    with pytest.raises(RecordError, match="within its range"):
        replace(BASE, intensity=6)
    assert the_words(store, PRODUCT) == words


def test_a_booth_shows_what_is_meant_and_tells_what_the_standards_hold(store, words):
    _, _, tokens = profile(store, words)
    assert booths.visit(store, tokens["Anna"]).allergens == "milk; sulphites"
    booths.consent(store, tokens["Anna"])
    sour, cooked = waiting(store, tokens["Anna"]).asked
    assert sour.about == (
        "the basic taste of citric acid",
        "How to assess: take a sip, 5 s in the mouth",
        "Reference standard sour base: 5, accepted from 4.5 to 5.5, on a scale of 0 to 10. "
        "It contains: milk.",
    )
    assert (sour.anchors, sour.ends) == ((0.5,), ("none", "as lemon juice"))
    assert (cooked.about, cooked.anchors) == ((), ())


def test_an_old_profile_keeps_its_version_also_in_its_archive(store, words, tmp_path):
    session_id, _, tokens = profile(store, words)
    define(store, PRODUCT, replace(SOUR, definition="something else"), **WHY)
    booths.consent(store, tokens["Anna"])
    assert waiting(store, tokens["Anna"]).asked[0].about[0] == SOUR.definition
    kept = store.session(session_id)
    assert kept.question.vocabulary == words
    assert kept.digest == kept.question.digest
    elsewhere = open_store(f"sqlite:///{tmp_path}/other.sqlite3")
    import_archive(elsewhere, archive_session(store, session_id), **WHY)
    assert elsewhere.session(session_id).question == kept.question
    elsewhere.close()


def test_papers_say_what_is_meant_and_the_kitchen_how_standards_are_made(store, words):
    session_id, plan, _ = profile(store, words)
    session, lines = store.session(session_id), to_serve(store.cells(session_id))
    question, details = session.question, session.details
    kitchen = " ".join(pages_of(preparation_pdf(plan, details, question=question)))
    assert "citric acid, 1.2 g in 1 l of water" in kitchen
    assert "2026-11-09" not in kitchen
    assert [each.lacks("2026-11-03") for each in asked_standards(store, question)] == [
        "sour base is not made yet"
    ]
    days = {"made_on": "2026-11-02", "usable_until": "2026-11-09"}
    standard_made(store, PRODUCT, "sour", "sour base", **days, who=BY)
    dated = asked_standards(store, question)
    assert [each.lacks("2026-11-03") for each in dated] == [""]
    kitchen = preparation_pdf(plan, details, question=question, standards=dated)
    assert "2026-11-02 2026-11-09" in " ".join(pages_of(kitchen))
    kitchen = " ".join(pages_of(kitchen))
    assert "5 (4.5 to 5.5)" in kitchen
    ballots = pages_of(ballots_pdf(lines, question, details, "de", plan=plan))
    assert "So wird beurteilt: take a sip" in ballots[0]
    assert "as lemon juice" in ballots[0]


def test_a_question_on_another_scale_is_not_agreed(store, words):
    session_id, _, _ = at_booths(store, "PROFILE")
    asked = replace(
        store.session(session_id),
        id="1" * 32,
        agreed_at="",
        serving=None,
        question=replace(
            store.session(session_id).question,
            vocabulary=words,
            settings=settings(words, scale_high=15.0),
        ),
    )
    with store.action(who=BY, why="test") as act:
        act.add(asked, {})
    with pytest.raises(RecordError, match="scores from 0 to 15"):
        agree(store, asked.id, who=BY)


def test_a_new_profile_of_the_product_takes_its_words(store, words):
    wish = Wish(product=PRODUCT, batches=("AP-1",), reference="AP-0", test="PROFILE", people=8,
                decides="quality manager")  # fmt: skip
    question = start_session(store, wish, who=BY).question
    assert question.vocabulary == words
    assert question.settings["attributes"] == "Sour"
    other = start_session(store, replace(wish, product="sloe cordial"), who=BY).question
    assert other.vocabulary is None
    assert "vocabulary" not in other.to_dict()


def test_words_come_back_from_plain_data_as_they_were(words):
    assert Vocabulary.from_dict(words.to_dict()) == words
