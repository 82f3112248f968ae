"""The register on the page Panel, and who is proposed on the page Serving."""

from __future__ import annotations

import pytest

from sensory.panel.assessors import Role
from sensory.panel.register import enter_assessor, qualify, the_register
from sensory.store.repository import open_store

from .pages import BY, click, fill, put, run, submit, words


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def test_an_assessor_is_added_and_changed(url, store):
    app = run("people", url, None)
    assert "No assessor is in the register yet" in words(app)
    submit(app, "assessor-add", assessor_name="Ada Holm", assessor_panel="day shift")
    (ada,) = the_register(store)
    assert (ada.person, ada.role_in("day shift")) == ("Ada Holm", Role.CANDIDATE)
    fill(app, assessor_chosen=ada.key)
    submit(app, "assessor-save", **{f"qualified-{ada.key}": "quince; soon"})
    assert "qualified for quince since must be a date" in words(app)
    typed = {
        f"panels-{ada.key}": "day shift; assessor\nnight shift; expert",
        f"qualified-{ada.key}": "quince; 2026-02-01; 2026-03-01",
        f"not-{ada.key}": "sloe cordial",
    }
    submit(app, "assessor-save", **typed)
    (ada,) = the_register(store)
    assert ada.role_in("night shift") is Role.EXPERT
    assert ada.not_these == ("sloe cordial",)
    assert "Ada Holm: the qualification for quince ended on 2026-03-01" in words(app)


def test_regular_assessors_are_taken_into_the_register(url, store):
    put(store, stage="agreed", here="s0")
    app = click(run("people", url, None), "take-regulars")
    assert len(the_register(store)) == 24
    assert "take-regulars" not in {button.key for button in app.button}


def test_the_plan_takes_those_who_are_proposed(url, store):
    put(store, stage="agreed", cells=False)
    for name in ("Ada", "Bo", "Cy"):
        member = enter_assessor(store, name, panel="day shift", role=Role.ASSESSOR, who=BY)
        if name != "Cy":
            qualify(store, member, "quince", since="2020-01-01", who=BY)
    app = fill(run("serve", url), **{"qualified-s1": "quince"})
    ticks = next(group for group in app.button_group if group.key == "invited-s1")
    assert ticks.options == ["Ada", "Bo"]
    assert "Cy: not qualified for quince" in words(app)
    ticks.set_value(["Ada", "Bo"]).run()
    click(app, "plan-serving")
    assert {texts["assessor"] for texts in store.cells("s1").values()} == {"Ada", "Bo"}
