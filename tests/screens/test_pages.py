"""Every page, started in each state of a session; the record is real."""

from __future__ import annotations

import pytest

from sensory.base.findings import Finding
from sensory.sessions import workflow

from .pages import BY, click, keys, put, run, sound, words


@pytest.mark.parametrize("page", ["question", "ballots", "finding"])
@pytest.mark.parametrize("session", ["", "nobody-knows-it"])
def test_page_without_a_session_points_to_the_list(page, session, store, url):
    app = run(page, url, session)
    assert "session" in app.info[0].value


def test_sessions_lists_a_damaged_session_as_damaged_and_the_others_as_they_are(store, url):
    put(store)
    other = put(store, "new_supplier", here="s2")
    with store._engine.begin() as connection:
        connection.exec_driver_sql("UPDATE sessions SET details = '[1' WHERE id = 's1'")
    app = run("sessions", url, None)
    assert "damaged and cannot be opened" in app.error[0].value
    assert other.details.title in words(app)
    assert "is not what the journal says" in words(click(app, "verify"))


def test_finding_is_hidden_until_the_ballots_are_closed(store, url):
    put(store, stage="agreed")
    assert "deviates" not in words(run("finding", url))
    workflow.close(store, "s1", who=BY)
    assert Finding.BEYOND_LIMIT.sentence in words(run("finding", url))


def test_what_is_typed_in_the_question_is_on_record_after_the_run(store, url):
    put(store)
    app = run("question", url)
    app.text_input(key="q-decision-s1").set_value("Whether line 2 starts again").run()
    app.number_input(key="q-beta-s1").set_value(0.1).run()
    stored = store.session("s1").question
    assert stored.decision == "Whether line 2 starts again"
    assert stored.beta == 0.1


def test_limit_given_as_dprime_is_kept_as_a_share_of_this_test(store, url):
    put(store)
    app = run("question", url)
    app.radio(key="q-unit-s1").set_value("d-prime, for any test").run()
    sound(app.number_input(key="q-limit-TRIANGLE-s1-d").set_value(1.0).run())
    # d-prime 1 in a triangle is 41.8 % correct (Ennis 1993, from memory): pd = (.418-1/3)/(2/3)
    assert store.session("s1").question.pd_limit == pytest.approx(0.127, abs=0.001)


def test_a_no_to_a_caution_is_recorded_and_blocks(store, url):
    put(store)
    app = run("question", url)
    app.radio(key="q-caution-cleared-s1").set_value("no").run()
    assert "not tasted until cleared" in words(app)
    assert store.session("s1").cautions["cleared"] is False
    assert any("cautions" in entry.content["changed"] for entry in store.entries("s1")[1:])
    click(app, "agree")
    assert "every caution" in app.error[0].value
    assert not store.session("s1").agreed


def test_two_sided_paired_question_can_be_asked(store, url):
    put(store)
    app = run("question", url)
    app.selectbox(key="q-protocol-s1").set_value("paired comparison").run()
    app.text_input(key="q-attribute-s1").set_value("sweetness").run()
    app.selectbox(key="q-target-3-s1").set_value("not known beforehand: two-sided").run()
    question = store.session("s1").question
    assert (question.protocol, question.two_sided, question.attribute) == (
        "PAIRED", True, "sweetness",
    )  # fmt: skip
    sound(app.selectbox(key="q-protocol-s1").set_value("triangle").run())
    assert not store.session("s1").question.two_sided


def test_faults_stand_in_the_words_of_the_ballots_page(store, url):
    put(store, "mistakes", "agreed")
    app = run("ballots", url)
    assert "**6 errors** to fix" in words(app)
    assert app.button(key="close").disabled


def test_reopening_needs_a_reason(store, url):
    put(store, stage="closed")
    app = run("finding", url)
    click(app, "reopen")
    assert "Say why" in app.error[0].value
    assert store.session("s1").closed


def test_comments_stand_on_the_finding_without_names(url, store):
    put(store, stage="agreed")
    workflow.enter_cells(store, "s1", {2: {"comment": "smells of *rubber*"}}, who=BY)
    workflow.close(store, "s1", who=BY)
    app = run("finding", url)
    frames = [grid.value for grid in app.dataframe if "comment" in grid.value]
    assert "smells of *rubber*" in frames[-1]["comment"].tolist()
    assert set(frames[-1].columns) == {"sample or order", "comment"}


def test_spellings_of_one_person_are_merged_with_one_click(store, url):
    put(store, "pressing")
    name = store.cells("s1")[2]["assessor"]
    rows = [row for row, texts in store.cells("s1").items() if texts["assessor"] == name]
    other = f"{name[0]}.{name[1:]}"
    workflow.enter_cells(store, "s1", {rows[0]: {"assessor": other}}, who=BY)
    app = run("ballots", url)
    assert f"**{name} and {other}** look like one person in several spellings." in words(app)
    click(app, "merge-0")
    assert store.cells("s1")[rows[0]]["assessor"] == name
    assert "look like one person" not in words(run("ballots", url))
    assert "one person in 2 spellings" in store.entries("s1")[-1].why


def test_what_is_missing_stands_at_its_field_and_allergens_are_asked_once(store, url):
    put(store)
    app = run("question", url)
    assert "Still open" not in words(app)
    app.text_input(key="q-decision-s1").set_value("").run()
    assert "▲ missing] What depends on the answer?" in words(app)
    assert "Still open: 1 in What and why" in words(app)
    assert len([field for field in app.text_input if "allergens" in field.key]) == 2
    app.text_input(key="q-B-allergens-s1").set_value("milk").run()
    assert store.session("s1").details.samples[1].allergens == "milk"


def test_older_sessions_are_shown_a_dozen_more_at_a_time(store, url):
    ids = [f"s{number:02}" for number in range(14)]
    for here in ids:
        put(store, cells=False, here=here)
    app = run("sessions", url, None)
    assert len({f"open-{here}" for here in ids} & keys(app)) == 12
    click(app, "sessions-more")
    assert {f"open-{here}" for here in ids} < keys(app)
    assert "sessions-more" not in keys(app)
