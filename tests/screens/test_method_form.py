"""Settings of a method on the question page: categories are kept only where they are chosen."""

from __future__ import annotations

import pytest

from sensory.catalogue.tests import find_kind
from sensory.sessions import workflow

from .pages import BY, put, run, sound, words


def test_looking_at_an_older_question_adds_nothing_to_it(store, url):
    put(store, "pressing", cells=False)
    run("question", url)
    settings = store.session("s1").question.settings
    assert not {"scale", "categories", "low_word", "high_word"} & set(settings)
    assert settings["scale_high"] == 10.0


@pytest.mark.parametrize(("name", "key"), [("pressing", "PROFILE"),
                                           ("gasket", "DIFFERENCE_FROM_CONTROL")])  # fmt: skip
def test_categories_are_chosen_agreed_and_shown_frozen(store, url, name, key):
    put(store, name, cells=False)
    app = run("question", url)
    assert f"q-{key}-categories-s1" not in [field.key for field in app.number_input]
    app.radio(key=f"q-{key}-scale-s1").set_value("categories").run()
    assert f"q-{key}-scale_high-s1" not in [field.key for field in app.number_input]
    app.number_input(key=f"q-{key}-categories-s1").set_value(9).run()
    sound(app.text_input(key=f"q-{key}-high_word-s1").set_value("like syrup").run())
    settings = store.session("s1").question.settings
    assert (settings["scale"], settings["categories"]) == ("categories", 9.0)
    assert settings["high_word"] == "like syrup"
    assert not {"scale_high", "low_word"} & set(settings)
    workflow.agree(store, "s1", who=BY)
    shown = str([table.value for table in run("question", url).table])
    assert "categories" in shown
    assert "like syrup" in shown


def test_the_reference_is_chosen_among_the_samples_on_the_ballots(store, url):
    put(store, "pressing")
    app = run("question", url)
    box = app.selectbox(key="q-PROFILE-reference-s1")
    assert box.options == ["reference", "new press", "old press, warm"]
    sound(box.set_value("new press").run())
    assert store.session("s1").question.settings["reference"] == "new press"


def test_back_to_a_line_leaves_no_trace(store, url):
    put(store, "pressing", cells=False)
    app = run("question", url)
    before = store.session("s1").question
    app.radio(key="q-PROFILE-scale-s1").set_value("categories").run()
    assert store.session("s1").question != before
    app.radio(key="q-PROFILE-scale-s1").set_value("line").run()
    assert store.session("s1").question == before


def test_the_question_of_a_ranking_says_how_many_ballots_a_pair_takes(store, url):
    put(store, "aftertaste", cells=False)
    session = store.session("s1")
    assert session.question.protocol == "RANKING"
    for line in find_kind("RANKING").planning(session.question):
        assert line in words(run("question", url))
