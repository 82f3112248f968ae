"""The limit on screen: empty until given, asked for again above half, refused while missing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.question import Question
from sensory.sessions import workflow

from .pages import BY, click, put, run, sound, words


def without(store, name="suspect_batch", **question):
    """A session whose question has no limit."""
    session = put(store, name, cells=False)
    asked = replace(session.question, pd_limit=None, **question)
    return workflow.describe(store, "s1", question=asked, who="t")


def test_a_new_question_has_no_limit():
    assert Question().pd_limit is None


def test_the_field_is_empty_with_help_beside_it(store, url):
    without(store)
    app = run("question", url)
    assert app.number_input(key="q-limit-TRIANGLE-s1-pd").value is None
    assert "No limit yet" in words(app)
    # 20 + 80/3, 30 + 70/3, 50 + 50/3 of 100: who notices, and a third of who guesses.
    for notice, right in ((20, 47), (30, 53), (50, 67)):
        assert f"of 100 assessors {notice} notice" in words(app)
        assert f"{right} right answers" in words(app)


def test_freezing_without_a_limit_is_refused_at_the_field(store, url):
    without(store)
    app = run("question", url)
    assert "Agreed limit: which share may notice?" in words(app)
    click(app, "agree")
    assert "which share may notice?" in app.error[0].value
    assert not store.session("s1").agreed
    with pytest.raises(RecordError, match="Agreed limit"):
        workflow.agree(store, "s1", who=BY)


def test_a_given_limit_is_kept_and_told_in_the_other_tests(store, url):
    without(store)
    app = run("question", url)
    sound(app.number_input(key="q-limit-TRIANGLE-s1-pd").set_value(0.2).run())
    assert store.session("s1").question.pd_limit == 0.2
    assert "about 47 of 100 answers right" in words(app)
    assert "duo-trio" in words(app)


def test_more_than_half_is_asked_again_in_words(store, url):
    without(store)
    app = run("question", url)
    app.number_input(key="q-limit-TRIANGLE-s1-pd").set_value(0.6).run()
    assert app.button(key="agree").disabled
    app.checkbox(key="q-half-0.600-s1").check().run()
    click(app, "agree")
    assert store.session("s1").question.limit == 0.6
    assert store.session("s1").agreed


@pytest.mark.parametrize(
    ("name", "key"),
    [("new_thickener", "dprime_limit"), ("gasket", "limit")],
)
def test_limits_of_other_tests_are_empty_too(store, url, name, key):
    session = put(store, name, cells=False)
    settings = {each: now for each, now in session.question.settings.items() if each != key}
    workflow.describe(store, "s1", question=replace(session.question, settings=settings), who="t")
    app = run("question", url)
    field = app.number_input(key=f"q-{session.question.protocol}-{key}-s1")
    assert field.value is None
    assert "No limit yet" in words(app)
    with pytest.raises(RecordError, match="limit"):
        workflow.agree(store, "s1", who=BY)
    sound(field.set_value(1.5).run())
    assert store.session("s1").question.settings[key] == 1.5
