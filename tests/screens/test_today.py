"""The way through the day: Today, new sessions, settings, step bar, pages without a session."""

from __future__ import annotations

import pytest

from sensory.release import plant_desk
from sensory.release.plant import Defaults
from sensory.sessions import workflow

from .pages import BY, click, fill, keys, put, run, sound, words
from .test_serving_marks_pages import planned

WISH = {"new_product_text": "sloe cordial", "new_reference_0_text": "R 1"}


def test_an_empty_record_offers_a_session_and_invented_data(store, url):
    app = run("today", url, None)
    assert "Nothing is on record yet" in words(app)
    assert {"new-session", "demo-suspect_batch", "demo-year", "demo-panel"} <= keys(app)
    assert "demo-water" not in keys(app)  # those are offered among invented data
    app.button(key="demo-suspect_batch").click().run()
    assert app.session_state["invented"]
    assert store.sessions() == []


def test_today_shows_what_runs_and_one_field_finds_it(store, url):
    put(store, stage="agreed")
    app = run("today", url, None)
    assert "triangle, 24 of 24 ballots" in words(app)
    assert "runs-s1" in keys(app)
    app.text_input(key="find").set_value("p07").run()
    assert "Assessor **P07** · in 1 session" in words(app)
    app.text_input(key="find").set_value("nothing of the kind").run()
    assert "No match" in words(app)


def test_a_new_session_says_what_is_missing_and_has_names_for_everything(store, url):
    app = run("new", url, None)
    click(app, "start-session")
    assert "Choose first: product, batch, reference." in words(app)
    fill(app, new_batches=["SC-1"], **WISH)
    click(app, "start-session")
    (session,) = store.sessions()
    assert session.details.title == "sloe cordial SC-1 against R 1"
    assert [sample.name for sample in session.details.samples] == ["R 1", "sloe cordial SC-1"]
    assert session.details.decides == "the authorised person of the plant"


def test_settings_are_kept_and_a_new_session_begins_with_them(store, url):
    app = fill(run("settings", url, None), set_alpha=0.1, set_if_similar="release")
    click(app, "save-settings")
    assert plant_desk.the_plant(store).defaults == Defaults(alpha=0.1, if_similar="release")
    click(fill(run("new", url, None), new_batches=["SC-1"], **WISH), "start-session")
    question = store.sessions()[0].question
    assert (question.alpha, question.if_similar) == (0.1, "release")


@pytest.mark.parametrize("page", ["question", "serve", "ballots", "finding"])
def test_a_page_without_a_session_leads_to_one(store, url, page):
    put(store, stage="agreed")
    app = run(page, url, "")
    assert app.title[0].value == "Which session?"
    assert {"choose-s1", "choose-new"} <= keys(app)
    click(app, "choose-s1")
    assert app.title[0].value != "Which session?"


def test_a_plan_with_nothing_typed_is_not_ready_and_does_not_close(store, url):
    planned(store, here="s1")
    app = run("ballots", url)
    assert "0 of 24 ballots answered, 3 blank" in words(app).replace("*", "")
    assert app.button(key="close").disabled
    row, texts = next(iter(store.cells("s1").items()))
    workflow.enter_cells(store, "s1", {row: {"answer": texts["code_1"]}}, who=BY)
    app = run("ballots", url)
    assert app.button(key="close").label == "Close with 1 of 24"
    assert app.button(key="close").disabled
    sound(app.checkbox(key="sure-1").check().run())
    assert not app.button(key="close").disabled


def test_regular_assessors_are_ticked_instead_of_typed(store, url):
    put(store, stage="agreed", here="s0")
    put(store, stage="agreed", cells=False)
    app = run("serve", url)
    ticks = next(group for group in app.button_group if group.key == "regulars")
    assert len(ticks.options) == 24
    ticks.set_value(ticks.options[:3] if isinstance(ticks.options[0], str) else ["P01"]).run()
    click(app, "plan-serving")
    assert store.session("s1").serving is not None


def test_the_finding_leads_on_and_a_copy_is_a_new_session(store, url):
    put(store, stage="closed")
    app = run("finding", url)
    click(app, "copy-session")
    new = next(session for session in store.sessions() if session.id != "s1")
    assert not new.agreed
    assert new.question.protocol == store.session("s1").question.protocol
    listed = words(run("sessions", url, None))
    assert "Beyond limit" in listed
    assert "Next: agree the question" in listed
