"""Settings of a method on the question page: categories are kept only where they are chosen."""

from __future__ import annotations

import pytest

from sensory.sessions import workflow
from sensory.store.repository import open_store

from .test_pages import DEMO, run, words


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'record.sqlite3'}"


@pytest.fixture
def store(url):
    return open_store(url)


def test_looking_at_an_older_question_adds_nothing_to_it(store, url):
    prepared = workflow.read_prepared(DEMO, "pressing")
    del prepared["cells"]
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    app = run("question", url)
    assert not app.exception
    settings = store.session("s1").question.settings
    assert not {"scale", "categories", "low_word", "high_word"} & set(settings)
    assert settings["scale_high"] == 10.0


@pytest.mark.parametrize(("name", "key"), [("pressing", "PROFILE"),
                                           ("gasket", "DIFFERENCE_FROM_CONTROL")])  # fmt: skip
def test_categories_are_chosen_agreed_and_shown_frozen(store, url, name, key):
    prepared = workflow.read_prepared(DEMO, name)
    del prepared["cells"]
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    app = run("question", url)
    assert f"q-{key}-categories-s1" not in [one.key for one in app.number_input]
    app.radio(key=f"q-{key}-scale-s1").set_value("categories").run()
    assert f"q-{key}-scale_high-s1" not in [one.key for one in app.number_input]
    app.number_input(key=f"q-{key}-categories-s1").set_value(9).run()
    app.text_input(key=f"q-{key}-high_word-s1").set_value("like syrup").run()
    assert not app.exception
    settings = store.session("s1").question.settings
    assert (settings["scale"], settings["categories"]) == ("categories", 9.0)
    assert settings["high_word"] == "like syrup"
    assert "scale_high" not in settings
    assert "low_word" not in settings
    workflow.agree(store, "s1", who="A. Leader")
    frozen = run("question", url)
    assert not frozen.exception
    shown = str([table.value for table in frozen.table])
    assert "categories" in shown
    assert "like syrup" in shown
    assert words(frozen)


def test_back_to_a_line_leaves_no_trace(store, url):
    prepared = workflow.read_prepared(DEMO, "pressing")
    del prepared["cells"]
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    before = run("question", url) and store.session("s1").question
    app = run("question", url)
    app.radio(key="q-PROFILE-scale-s1").set_value("categories").run()
    assert store.session("s1").question != before
    app.radio(key="q-PROFILE-scale-s1").set_value("line").run()
    assert store.session("s1").question == before
