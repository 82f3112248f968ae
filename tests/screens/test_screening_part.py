"""A candidate's triangles on the page Panel, from the first set to the letter; the rules."""

from __future__ import annotations

from collections import Counter

import pytest

from sensory.panel.assessors import Role
from sensory.panel.qualification import series_taken, the_screening_rules
from sensory.panel.register import enter_assessor, the_register
from sensory.panel.series import Series
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import open_store

from .pages import BY, click, fill, keys, run, submit, words


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def odd(cups) -> str:
    many = Counter(cup.sample for cup in cups)
    return next(cup.code for cup in cups if many[cup.sample] == 1)


def answered(app, taken, first: int, last: int):
    given = {
        f"answer-{taken.key[:8]}-{at}": odd(taken.cups[at - 1]) for at in range(first, last + 1)
    }
    return submit(app, f"answer-{taken.key}", **given)


def test_a_candidate_becomes_an_assessor_and_gets_a_letter(url, store):
    ada = enter_assessor(store, "Ada Holm", panel="day shift", who=BY)
    app = fill(run("people", url, None), screening_open=ada.key)
    assert "day shift: candidate." in words(app)
    assert "passes with a chance of 3.8 %" in words(app)
    assert "common practice, no source" in words(app)
    assert app.button(key="series-begin").disabled
    fill(app, **{"series-samples-triangles": "water; water\nsour; "})
    assert "takes two samples; got 1 sample" in words(app)
    yes = {f"series-{caution.key}": True for caution in CAUTIONS}
    fill(
        app, **{"series-samples-triangles": "water; water\nsour; citric acid, 0.4 g in 1 l"}, **yes
    )
    app = click(app, "series-begin")
    (taken,) = series_taken(store, ada)
    assert taken.samples[1].made == "citric acid, 0.4 g in 1 l"
    app = answered(app, taken, 1, 6)
    assert "6 of 6 triangle tests right: between the lines, serve another." in words(app)
    assert f"end-{taken.key}" not in keys(app)
    app = answered(app, taken, 7, 7)
    assert "the upper line is reached" in app.success[0].value
    app = click(app, f"end-{taken.key}")
    assert series_taken(store, ada)[0].ending == "passed"
    fill(app, decide_role=Role.ASSESSOR, series_kind=Series.TRIANGLES)
    assert "This would be try 2" in words(app)
    app = click(app, "decide-record")
    (ada,) = the_register(store)
    assert ada.role_in("day shift") is Role.ASSESSOR
    assert ada.requalify_by > ada.decisions[0].decided_on
    assert f"day shift: assessor. Screen again by {ada.requalify_by}." in words(app)
    assert "Letter, PDF" in [each.proto.label for each in app.get("download_button")]


def test_the_plant_changes_its_rules_and_what_cannot_be_changes_nothing(url, store):
    app = run("settings", url, None)
    assert "common practice, no source" in words(app)
    fill(app, screening_unfit=0.7)
    app = click(app, "screening-save")
    assert "unfit must lie from guessing" in words(app)
    assert the_screening_rules(store).unfit == 0.40
    fill(app, screening_unfit=0.45, screening_most=40)
    click(app, "screening-save")
    assert (the_screening_rules(store).unfit, the_screening_rules(store).most) == (0.45, 40)
