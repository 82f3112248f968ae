"""The page Panel: who needs attention and why, and one assessor in pictures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sensory.panel.attention import SOUND_YEARS
from sensory.panel.history import history
from sensory.panel.months import smallest_now
from sensory.ratings.profile_plan import profile_plan
from sensory.screens.panel_history import _judged
from sensory.store.repository import Repository, open_store

from ..panel.years import Fault, year
from .pages import BY, click, fill, put, run, words
from .test_plan_page import planned_with


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def lived(store: Repository, fault: Fault, *, days: int = 0) -> None:
    """A year of sittings on record that ends so many days ago."""
    sittings = year(np.random.default_rng(3), fault=fault)
    newest = date.fromisoformat(max(sitting.held_on for sitting in sittings))
    back = date.today() - timedelta(days=days) - newest
    with store.action(who=BY, why="invented") as act:
        for sitting in sittings:
            moved = (date.fromisoformat(sitting.held_on) + back).isoformat()
            act.keep_sitting(replace(sitting, held_on=moved))


def test_who_is_reversed_is_named_and_shown(url, store):
    lived(store, Fault(turned=True))
    app = run("people", url, None)
    assert "P10 scores sour the other way round" in words(app)
    assert "P09" not in "\n".join(warning.value for warning in app.warning)
    fill(app, assessor_open="P10")
    assert app.subheader[0].value == "P10"
    assert "P10 scores sour the other way round" in words(app)
    assert "P01" not in words(app)
    assert "Came to 72 of 72 sessions" in words(app)
    app = click(app, "assessor-back")
    assert "Who needs attention?" in words(app)


def test_what_has_nothing_to_do_with_the_panel_leaves_it_as_it_was(url, store):
    """60 assessors and 2,000 sessions take half a second to judge; a tap at a booth none."""
    lived(store, Fault(turned=True))
    _judged.cache_clear()
    run("people", url, None)
    put(store)
    run("people", url, None)
    assert (_judged.cache_info().misses, _judged.cache_info().hits) == (1, 1)
    store.erase_person("P10", who=BY, why="asked for it")
    app = run("people", url, None)
    assert _judged.cache_info().misses == 2
    assert "erased 1 scores sour the other way round" in words(app)
    assert "P10" not in words(app)


def test_a_sound_panel_has_nobody_named_and_says_what_that_means(url, store):
    lived(store, Fault())
    app = run("people", url, None)
    assert "Nobody stands out" in words(app)
    assert "10 assessors, 72 sessions" in words(app)
    assert "who is not named is not shown to be steady" in words(app)
    assert f"of {SOUND_YEARS} simulated years of a sound panel of ten" in words(app)
    assert "Smallest difference from the reference" in words(app)
    months = app.selectbox(key="panel-month").options
    assert months[0] == date.today().isoformat()[:7]
    assert len(months) in (12, 13)
    assert "Panel report, PDF" in [each.proto.label for each in app.get("download_button")]


def test_an_erased_assessor_is_gone_from_the_page(url, store):
    lived(store, Fault(turned=True))
    store.erase_person("P10", who=BY, why="asked for it")
    app = run("people", url, None)
    assert "erased 1 scores sour the other way round" in words(app)
    assert "P10" not in words(app)
    assert "P10" not in str(history(store.sittings()).names)
    assert store.verify() == []


def test_sessions_before_the_period_do_not_count(url, store):
    lived(store, Fault(turned=True), days=400)
    app = run("people", url, None)
    assert "Who needs attention?" not in words(app)


def test_planning_offers_the_scatter_of_the_panel_now(url, store):
    lived(store, Fault())
    app = planned_with(run("plan", url, None), "profile")
    assert app.selectbox(key="plan-earlier").value == "panel"
    assert "Smallest difference that this panel sees now" not in words(app)
    fill(app, plan_margins_panel="sour 1")
    assert "Smallest difference that this panel sees now, with 80 % power: sour" in words(app)
    now = smallest_now(history(store.sittings())).set_index("attribute")
    plan = profile_plan(
        {"sour": tuple(now.loc["sour", ["interaction", "error"]])},
        margins={"sour": 1.0},
        samples=2,
        replicates=1,
    )
    assert plan.says(24) in words(app)
