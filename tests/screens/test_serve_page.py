"""The Serve page: a plan in a click, and what it hands out."""

from __future__ import annotations

import pytest

from sensory.sessions import booth_plans, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.sessions.serving import Breaks
from sensory.store.repository import open_store

from .test_pages import DEMO, run, words


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'record.sqlite3'}"


@pytest.fixture
def store(url):
    return open_store(url)


def session(store, name, *, agreed=True, cells=False):
    prepared = workflow.read_prepared(DEMO, name)
    if not cells:
        del prepared["cells"]
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    if agreed:
        workflow.agree(store, "s1", who="A. Leader")


def test_question_comes_first(store, url):
    session(store, "suspect_batch", agreed=False)
    app = run("serve", url)
    assert "The question comes first" in words(app)
    assert not any(button.key == "plan-serving" for button in app.button)


def test_session_with_ballots_takes_no_plan(store, url):
    session(store, "suspect_batch", cells=True)
    assert "has ballots already" in words(run("serve", url))


def test_plan_is_put_on_record_with_names_and_a_seed(store, url):
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("Anna\nBo\nCleo").run()
    app.button(key="plan-serving").click().run()
    assert not app.exception
    plan = booth_plans.served_plan(store, "s1")
    assert plan.assessors == ("Anna", "Bo", "Cleo")
    assert f"seed {plan.seed}" in words(app)
    assert {texts["assessor"] for texts in store.cells("s1").values()} == {"Anna", "Bo", "Cleo"}


def test_samples_of_a_profile_come_from_the_page(store, url):
    session(store, "pressing")
    app = run("serve", url)
    assert app.text_area(key="samples-s1").value == "reference"
    app.text_area(key="samples-s1").set_value("reference\nnew press\nother press").run()
    app.text_area(key="people-s1").set_value("4").run()
    app.button(key="plan-serving").click().run()
    assert len(store.cells("s1")) == 12
    assert not any(button.key == "open-booths" for button in app.button)
    assert "have to be declared first" in words(app)
    for at in range(3):
        app.text_input(key=f"allergens-s1-{at}").set_value("none" if at else "sulphites")
    app.button(key="declare-allergens").click().run()
    app.button(key="open-booths").click().run()
    assert "0 of 12 ballots" in words(app).replace("*", "")
    assert len(app.session_state["links-s1"]) == 4


def test_open_booths_offer_new_links_only_once_asked(store, url):
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("Anna\nBo").run()
    app.button(key="plan-serving").click().run()
    declared(store, app)
    app.button(key="open-booths").click().run()
    assert not app.exception
    links, booths = app.session_state["links-s1"], store.session("s1").serving.booths
    assert list(links) == ["Anna", "Bo"]
    shown = next(one.value for one in app.table if "link" in one.value.columns)
    assert set(shown["link"]) == set(links.values())
    assert "open-booths" not in {button.key for button in app.button}
    assert app.button(key="new-links").disabled

    def useless():
        return next(box for box in app.checkbox if box.key.startswith("useless-"))

    assert useless().label == "The old links become useless"
    useless().check().run()
    app.button(key="new-links").click().run()
    assert not app.exception
    assert not set(store.session("s1").serving.booths) & set(booths)
    assert not set(app.session_state["links-s1"].values()) & set(links.values())
    assert not useless().value
    assert app.button(key="new-links").disabled
    useless().check().run()
    booth_plans.open_booths(store, "s1", who="A. Leader")  # meanwhile, in another window
    booths = store.session("s1").serving.booths
    app.button(key="new-links").click().run()
    assert store.session("s1").serving.booths == booths


def test_wrong_people_get_a_sentence(store, url):
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("Anna\nanna").run()
    assert not app.exception
    assert "stands twice" in words(app)


def arrange(app, **typed):
    """Fill fields of the expander by the beginning of their key."""
    for name, value in typed.items():
        field = next(one for one in [*app.selectbox, *app.text_input, *app.number_input, *app.radio]
                     if one.key.startswith(f"{name}-"))  # fmt: skip
        field.set_value(value)
        app.run()
        assert not app.exception
    return app


def on_record(store, app):
    app.button(key="plan-serving").click().run()
    assert not app.exception
    return booth_plans.served_plan(store, "s1")


def declared(store, app):
    """Declare what the description of the session leaves open."""
    texts = dict.fromkeys(served_samples(store.session("s1")), "none")
    exclusions.declare_allergens(store, "s1", texts, who="A. Leader")
    return app.run()


def test_defaults_are_one_sitting_without_anything(store, url):
    session(store, "suspect_batch")
    plan = on_record(store, run("serve", url))
    assert (plan.design.sittings, plan.design.warm_up) == (1, "")
    assert store.session("s1").serving.breaks is None


def test_sittings_warm_up_and_the_button_of_the_next_sitting(store, url):
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("3").run()
    app.number_input(key="times-s1").set_value(3).run()
    sittings = next(one for one in app.selectbox if one.key.startswith("sittings-"))
    assert sittings.options == ["1", "2", "3"]
    plan = on_record(store, arrange(app, sittings=2, **{"warm-up": "plain syrup"}))
    assert (plan.design.sittings, plan.design.warm_up) == (2, "plain syrup")
    assert store.session("s1").serving.breaks == Breaks(minutes=0, started=1)
    assert "Missing: plain syrup" in words(app)
    declared(store, app)
    assert "Sitting 1 of 2" in words(app)
    assert "Not done yet: P01, P02, P03." in words(app)
    assert app.button(key="start-sitting-2").disabled
    exclusions.not_today(store, "s1", "P03", who="A. Leader")
    app.run()
    assert "Not done yet: P01, P02." in words(app)
    app.checkbox(key="start-before-2").check().run()
    app.button(key="start-sitting-2").click().run()
    assert not app.exception
    assert store.session("s1").serving.breaks.started == 2
    assert "Sitting 2 of 2" in words(app)
    assert not [button for button in app.button if button.key.startswith("start-sitting")]


def test_one_sitting_says_how_there_are_two_and_other_ballots_are_warned_of(store, url):
    session(store, "suspect_batch")  # agreed for 24 ballots
    app = run("serve", url)
    only = "for two sittings serve each twice"
    assert only in words(app)
    assert not app.warning
    app.number_input(key="times-s1").set_value(2).run()
    assert only not in words(app)
    assert "This plan is for 48 ballots; the question was agreed for 24." in app.warning[0].value
    app.text_area(key="people-s1").set_value("12").run()
    assert not app.warning
    app.text_area(key="people-s1").set_value("Anna").run()
    app.number_input(key="times-s1").set_value(1).run()
    assert "This plan is for 1 ballot; the question" in app.warning[0].value
    on_record(store, app)  # a warning, no refusal


def test_a_profile_counts_a_ballot_line_for_each_cup(store, url):
    session(store, "pressing")  # agreed for 60 ballots
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("reference\nnew press\nother press").run()
    assert "serve each twice" not in words(app)  # cups of one set go into three sittings
    app.text_area(key="people-s1").set_value("20").run()
    assert not app.warning
    app.text_area(key="people-s1").set_value("60").run()
    assert "This plan is for 180 ballots" in app.warning[0].value


def test_a_ranking_is_not_sent_to_a_second_serving_that_is_refused(store, url):
    session(store, "aftertaste")
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("sugar\nblend 1\nblend 2").run()
    assert "a set is tasted at once" in words(app)
    assert "serve each twice" not in words(app)
    app.number_input(key="times-s1").set_value(2).run()
    assert not app.exception
    assert "a table of rankings holds one" in app.error[0].value
    assert not [button for button in app.button if button.key == "plan-serving"]


def test_a_break_may_last_some_minutes(store, url):
    session(store, "pressing")
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("reference\nnew press\nother press").run()
    app.text_area(key="people-s1").set_value("4").run()
    plan = on_record(store, arrange(app, sittings=3, **{"break": "a time is over", "minutes": 20}))
    assert plan.design.sittings == 3
    assert store.session("s1").serving.breaks == Breaks(minutes=20, started=1)
    assert "at least 20 min" in words(declared(store, app))
    assert not [button for button in app.button if button.key.startswith("start-sitting")]


def test_incomplete_blocks_offer_the_numbers_that_are_whole_designs(store, url):
    session(store, "pressing")
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("\n".join(["reference", *"bcdefg"])).run()
    app.text_area(key="people-s1").set_value("10").run()
    arrange(app, size=3)
    panel = next(one for one in app.selectbox if one.key.startswith("panel-"))
    assert panel.options == ["7", "14", "21", "28", "35"]
    assert panel.value == 14
    plan = on_record(store, app)
    assert len(plan.assessors) == 14
    assert (plan.design.set_size, plan.design.together) == (3, 1)
    assert len(store.cells("s1")) == 42


def test_names_that_are_no_whole_design_get_a_sentence_beside_the_choice(store, url):
    session(store, "pressing")
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("\n".join(["reference", *"bcdefg"])).run()
    app.text_area(key="people-s1").set_value("\n".join(f"Guest {n}" for n in range(8))).run()
    arrange(app, size=3)
    assert "8 assessors are no whole design; 7 or 14 are" in words(app)
    assert not [button for button in app.button if button.key == "plan-serving"]
    arrange(app, sets=7)  # each assessor alone is a whole design
    assert len(on_record(store, app).assessors) == 8


def test_ranking_takes_blocks_and_keeps_one_set(store, url):
    session(store, "aftertaste")
    app = run("serve", url)
    app.text_area(key="samples-s1").set_value("\n".join(["sugar", *"bcd"])).run()
    app.text_area(key="people-s1").set_value("8").run()
    arrange(app, size=2)
    assert not [one for one in app.number_input if one.key.startswith("sets-")]
    assert len(on_record(store, app).assessors) == 12


def test_names_in_the_grid_of_the_plan_are_shown_as_they_are(store, url):
    """The grid draws texts; the table of evenness reads markup."""
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("Bo_1 (new)\nCleo").run()
    app.button(key="plan-serving").click().run()
    assert not app.exception
    grid = next(one.value for one in app.dataframe if "position" in one.value.columns)
    assert set(grid["assessor"]) == {"Bo_1 (new)", "Cleo"}
