"""The Serve page: a plan in a click, and what it hands out."""

from __future__ import annotations

import pytest

from sensory import booth_plans, workflow
from sensory.serving.plan import ServingPlan
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
    plan = ServingPlan.from_dict(booth_plans.served_plan(store, "s1"))
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


def test_wrong_people_get_a_sentence(store, url):
    session(store, "suspect_batch")
    app = run("serve", url)
    app.text_area(key="people-s1").set_value("Anna\nanna").run()
    assert not app.exception
    assert "stands twice" in words(app)
